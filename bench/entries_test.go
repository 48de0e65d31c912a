package bench_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// oneCook is a notebook of one cook: enough to change entries of.
type oneCook struct {
	bench.Notebook
	cook   study.Cook
	events []study.Event
}

func (n *oneCook) PutCook(_ context.Context, _ string, c study.Cook, events ...study.Event) error {
	n.cook, n.events = c, append(n.events, events...)
	return nil
}

// Whatever is changed can be put back from the history, and what somebody
// changed since cannot.
func TestEveryChangeOfAnEntryCanBeUndone(t *testing.T) {
	ctx := context.Background()
	now := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	raw := study.Weighing{ID: "w1", Stage: study.Raw, MassG: 250}
	heavier := raw
	heavier.MassG = 260
	shear := study.Reading{ID: "r1", Response: "shear", Kind: study.Number, Unit: "N", Values: []float64{31, 29}}
	trashed := study.Photo{ID: "p1", SHA256: "ab", Alt: "a chop", AddedAt: now, TrashedAt: now.In(time.FixedZone("", 3600))}
	shown := trashed
	shown.TrashedAt = time.Time{}
	door := study.Deviation{AtUS: 4e8, What: "door open"}
	why := study.Deviation{AtUS: 4e8, What: "door open", Why: "a cable was caught"}
	turn := study.Mark{ID: "m1", Kind: study.Turn, AtUS: 1e8}
	void := bench.Standing{Role: study.Void, VoidRule: "slip", VoidWhy: "the probe slipped", VoidedAt: now}
	begin := study.Cook{ID: "c1", Label: "L01", Role: study.Planned, Weighings: []study.Weighing{raw}, Deviations: []study.Deviation{door}, Photos: []study.Photo{shown}}
	for name, ch := range map[string]bench.Change{
		"a weighing corrected":   {Before: &bench.Entry{Weighing: &raw}, After: &bench.Entry{Weighing: &heavier}},
		"a weighing taken out":   {Before: &bench.Entry{Weighing: &raw}},
		"a reading added":        {After: &bench.Entry{Reading: &shear}},
		"a deviation explained":  {Before: &bench.Entry{Deviation: &door}, After: &bench.Entry{Deviation: &why}},
		"a mark added":           {After: &bench.Entry{Mark: &turn}},
		"made void":              {Before: &bench.Entry{Standing: &bench.Standing{Role: study.Planned}}, After: &bench.Entry{Standing: &void}},
		"a photo into the trash": {Before: &bench.Entry{Photo: &shown}, After: &bench.Entry{Photo: &trashed}},
	} {
		t.Run(name, func(t *testing.T) {
			n := &oneCook{cook: begin}
			if err := bench.Apply(ctx, n, "s", begin, ch, name, now); err != nil {
				t.Fatal(err)
			}
			if cmp.Equal(begin, n.cook, cmpopts.EquateEmpty()) {
				t.Fatal("nothing changed")
			}
			if f := fault.As(bench.Apply(ctx, n, "s", n.cook, ch, name, now)); f == nil || f.Code != "edited-meanwhile" {
				t.Errorf("the same change again: %v", f)
			}
			past := bench.Changes(n.events, n.cook)
			if len(past) != 1 || !past[0].CanUndo || past[0].Event.What != name {
				t.Fatalf("the history tells %+v", past)
			}
			if err := bench.Apply(ctx, n, "s", n.cook, past[0].Undone(), "undo", now); err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(begin, n.cook, cmpopts.EquateEmpty()); d != "" {
				t.Errorf("after undoing (-before +after):\n%s", d)
			}
			past = bench.Changes(n.events, n.cook)
			if len(past) != 2 || !past[0].CanUndo || past[1].CanUndo {
				t.Errorf("after undoing, the undoing alone can be undone: %+v", past)
			}
		})
	}
}

// Several changes are made together or not at all, and each is told, and taken
// back, by itself.
func TestSeveralChangesAtOnce(t *testing.T) {
	ctx, now := context.Background(), time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	begin := study.Cook{ID: "c1", Label: "L01"}
	turn, raw := study.Mark{ID: "m1", Kind: study.Turn, AtUS: 1e8}, study.Weighing{ID: "w1", Stage: study.Raw, MassG: 250}
	both := []bench.Told{{Change: bench.Change{After: &bench.Entry{Mark: &turn}}, What: "a turn"}, {Change: bench.Change{After: &bench.Entry{Weighing: &raw}}, What: "a weighing"}}
	n := &oneCook{cook: begin}
	if err := bench.ApplyAll(ctx, n, "s", begin, both, now); err != nil || len(n.events) != 2 || len(n.cook.Marks) != 1 || len(n.cook.Weighings) != 1 {
		t.Fatalf("%v: %+v", err, n)
	}
	past := bench.Changes(n.events, n.cook)
	if len(past) != 2 || past[1].Event.What != "a turn" || !past[1].CanUndo {
		t.Fatalf("the history tells %+v", past)
	}
	if err := bench.Apply(ctx, n, "s", n.cook, past[1].Undone(), "undo", now); err != nil || len(n.cook.Marks) != 0 || len(n.cook.Weighings) != 1 {
		t.Errorf("%v: %+v", err, n.cook)
	}
	before := len(n.events)
	if f := fault.As(bench.ApplyAll(ctx, n, "s", n.cook, both, now)); f == nil || f.Code != "edited-meanwhile" || len(n.events) != before || len(n.cook.Marks) != 0 {
		t.Errorf("one of two cannot be made: %v, %+v", f, n.cook)
	}
}
