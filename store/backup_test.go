package store

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// filled returns a notebook with something in every table.
func filled(t testing.TB) *Notebook {
	t.Helper()
	ctx := context.Background()
	n := withCook(t)
	raw := rawOf("log.csv", []byte(strings.Repeat("1,2,3\r\n", 100)))
	must(t, n.PutStudy(ctx, &study.Study{ID: "s", Title: "S"}, []byte("study: S\n"), map[string][]byte{"cooks/a.yaml": []byte("a")}))
	must(t, n.PutTraces(ctx, "s", "k", []trace.Trace{{Channel: trace.Channel{ID: "core"}, Quantum: 0.1, TimesUS: []int64{1}, Counts: []int64{2}, Source: raw.SHA256}}, []bench.RawFile{raw}))
	must(t, n.AppendSamples(ctx, "s", "k", []trace.Trace{{Channel: trace.Channel{ID: "pan"}, Quantum: 0.1, TimesUS: []int64{1}, Counts: []int64{2}}}))
	must(t, n.PutCook(ctx, "s", study.Cook{ID: "k2", Label: "L02", Marks: []study.Mark{{ID: "m"}}, Weighings: []study.Weighing{{ID: "w", MassG: 0.1}},
		Readings: []study.Reading{{ID: "r", Values: []float64{1e-300, 0.1}}}, Deviations: []study.Deviation{{What: "late"}}, Logs: []study.LogRef{{File: "log.csv"}}}))
	must(t, n.PutSeal(ctx, "s", study.Seal{Hash: "h", Canonical: []byte("{}"), At: noon}, study.Event{Kind: study.EventSealed, What: "sealed"}))
	must(t, n.PutResponses(ctx, "s", []bench.StoredResponse{{CookID: "k", Response: "carryover"}}))
	must(t, n.PutFinding(ctx, "s", bench.StoredFinding{Body: []byte("{}")}))
	must(t, n.OpenSession(ctx, "s", Session{ID: "t", Commitment: "c", LockedKey: []byte("locked")}))
	must(t, n.AddBallot(ctx, "s", "t", Ballot{ID: "b", Assessor: "A7"}))
	return n
}

func TestBackupAndRestore(t *testing.T) {
	ctx := context.Background()
	n := filled(t)
	want, err := n.Record(ctx, "s")
	must(t, err)
	to := filepath.Join(t.TempDir(), "copy.trivet")
	c, err := n.Backup(ctx, to)
	must(t, err)
	for table, rows := range c.Rows {
		var k int64
		must(t, n.read.QueryRow(`SELECT count(*) FROM "`+table+`"`).Scan(&k))
		if k != rows || rows == 0 {
			t.Errorf("table %s has %d rows, its copy %d", table, k, rows)
		}
	}
	if len(c.Rows) < 18 {
		t.Errorf("only %d tables were copied", len(c.Rows))
	}
	again, err := Verify(ctx, to)
	must(t, err)
	if d := cmp.Diff(c, again); d != "" {
		t.Error(d)
	}
	_, err = n.Backup(ctx, to)
	wantCode(t, err, "notebook-exists")

	// The notebook goes on, then is found to be lost.
	must(t, n.AppendEvents(ctx, "s", study.Event{What: "later"}))
	path := n.Path()
	_, err = Restore(ctx, to, path, false, noon)
	wantCode(t, err, "notebook-exists")
	_, err = Restore(ctx, to, path, true, noon)
	wantCode(t, err, "notebook-locked") // this process has it open
	must(t, n.Close())
	got, err := Restore(ctx, to, path, true, noon)
	must(t, err)
	if got.SHA256 != c.SHA256 {
		t.Error("restored something else")
	}
	n, err = Open(ctx, path, Options{})
	must(t, err)
	rec, err := n.Record(ctx, "s")
	must(t, err)
	if d := cmp.Diff(want, rec); d != "" {
		t.Errorf("restored record differs:\n%s", d)
	}
	must(t, n.Close())
	aside, err := Open(ctx, path+".before-20260501T100000Z", Options{ReadOnly: true})
	must(t, err)
	defer aside.Close()
	rec, err = aside.Record(ctx, "s")
	must(t, err)
	if len(rec.Events) != len(want.Events)+1 {
		t.Error("what was written after the backup is not in the notebook set aside")
	}
}

func TestChangedBackupIsFound(t *testing.T) {
	ctx := context.Background()
	n := filled(t)
	for _, c := range []struct {
		name   string
		code   fault.Code
		change func(b []byte) []byte
	}{
		{"cut off", "notebook-corrupt", func(b []byte) []byte { return b[:len(b)-4096] }},
		{"one byte of content", "backup-hash", func(b []byte) []byte {
			return []byte(strings.Replace(string(b), "study: S\n", "study: T\n", 1))
		}},
		{"another file", "notebook-corrupt", func([]byte) []byte { return []byte("not a backup at all") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			to := filepath.Join(t.TempDir(), "copy")
			_, err := n.Backup(ctx, to)
			must(t, err)
			b, err := os.ReadFile(to)
			must(t, err)
			must(t, os.WriteFile(to, c.change(b), 0o600))
			_, err = Restore(ctx, to, filepath.Join(t.TempDir(), "restored"), false, noon)
			wantCode(t, err, c.code)
		})
	}
}

// A backup made while another process writes is a state that was.
func TestBackupBesideAWriter(t *testing.T) {
	ctx := context.Background()
	n := newNotebook(t)
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, nil, nil))
	cmd := child(t, "add-cooks", n.Path(), "a", "60")
	must(t, cmd.Start())
	for i := 0; ; i++ {
		to := fmt.Sprintf("%s.copy%d", n.Path(), i)
		if _, err := n.Backup(ctx, to); err != nil {
			if e := fault.As(err); e == nil || e.Code != "notebook-locked" {
				t.Fatal(err)
			}
		} else {
			c, err := Open(ctx, to, Options{ReadOnly: true})
			must(t, err)
			rec, err := c.Record(ctx, "s")
			must(t, err)
			must(t, c.VerifyHistory(ctx, "s"))
			if len(rec.Cooks) != len(rec.Events) {
				t.Errorf("the copy has %d cooks and %d events", len(rec.Cooks), len(rec.Events))
			}
			must(t, c.Close())
		}
		if rec, err := n.Record(ctx, "s"); err != nil || len(rec.Cooks) == 60 {
			must(t, err)
			break
		}
	}
	must(t, cmd.Wait())
}

func TestImportIsLosslessAndHarmlessTwice(t *testing.T) {
	from, to := newNotebook(t), newNotebook(t)
	ctx := context.Background()
	serial := 0
	rapid.Check(t, func(rt *rapid.T) {
		serial++
		s := anyStudy.Draw(rt, "study")
		s.ID = fmt.Sprint("study-", serial)
		check := func(err error) {
			if err != nil {
				rt.Fatal(err)
			}
		}
		check(from.PutStudy(ctx, &s, rapid.SliceOf(rapid.Byte()).Draw(rt, "document"), anyCookFiles.Draw(rt, "files"),
			rapid.SliceOfN(anyEvent, 0, 2).Draw(rt, "events")...))
		traces := map[string][]trace.Trace{}
		var raws []bench.RawFile
		for i := range rapid.IntRange(0, 2).Draw(rt, "cooks") {
			k := cookOf(rt, i)
			check(from.PutCook(ctx, s.ID, k))
			raw := anyRaw.Draw(rt, "raw")
			raws = append(raws, raw)
			traces[k.ID] = []trace.Trace{traceOf(rt, raw.SHA256)}
			check(from.PutTraces(ctx, s.ID, k.ID, traces[k.ID], []bench.RawFile{raw}))
		}
		if rapid.Bool().Draw(rt, "sealed") {
			check(from.PutSeal(ctx, s.ID, study.Seal{Hash: "h", Canonical: []byte("{}"), At: noon}))
		}
		rec, err := from.Record(ctx, s.ID)
		check(err)
		for range 2 {
			check(to.PutImported(ctx, rec, traces, raws))
			got, err := to.Record(ctx, s.ID)
			check(err)
			if d := cmp.Diff(rec, got, unchanged); d != "" {
				rt.Fatalf("the record changed:\n%s", d)
			}
			for _, k := range rec.Cooks {
				samples, err := to.Traces(ctx, s.ID, k.ID)
				check(err)
				if d := cmp.Diff(traces[k.ID], samples, unchanged); d != "" {
					rt.Fatalf("samples changed:\n%s", d)
				}
			}
		}
		check(to.VerifyHistory(ctx, s.ID))
	})
}

func TestImportRefusesWhatDiffers(t *testing.T) {
	ctx := context.Background()
	n := filled(t)
	read := func() (*bench.Record, map[string][]trace.Trace) {
		rec, err := n.Record(ctx, "s")
		must(t, err)
		traces := map[string][]trace.Trace{}
		for _, k := range rec.Cooks {
			traces[k.ID], err = n.Traces(ctx, "s", k.ID)
			must(t, err)
		}
		return rec, traces
	}
	must(t, n.FinishSamples(ctx, "s", "k"))
	for _, c := range []struct {
		name, says string
		code       fault.Code
		change     func(r *bench.Record, traces map[string][]trace.Trace)
	}{
		{"the document", "document differs", "id-conflict", func(r *bench.Record, _ map[string][]trace.Trace) { r.Document = []byte("other") }},
		{"a cook file", "cook files differ", "id-conflict", func(r *bench.Record, _ map[string][]trace.Trace) { r.CookFiles["cooks/a.yaml"] = nil }},
		{"the seal", "seal differs", "id-conflict", func(r *bench.Record, _ map[string][]trace.Trace) { r.Seal = nil }},
		{"a mass", "cook k2 differs", "id-conflict", func(r *bench.Record, _ map[string][]trace.Trace) { r.Cooks[1].Weighings[0].MassG = 0.2 }},
		{"a sample", "samples of cook k differ", "id-conflict", func(_ *bench.Record, traces map[string][]trace.Trace) { traces["k"][0].Counts[0] = 3 }},
		{"a shorter history", "history differs", "id-conflict", func(r *bench.Record, _ map[string][]trace.Trace) { r.Events = nil }},
		{"a rewritten history", "", "history-broken", func(r *bench.Record, _ map[string][]trace.Trace) { r.Events[0].What = "nothing" }},
		{"the same cook in another study", "", "id-conflict", func(r *bench.Record, _ map[string][]trace.Trace) {
			s := *r.Study
			s.ID, r.Study, r.Events = "copy", &s, nil
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rec, traces := read()
			must(t, n.PutImported(ctx, rec, traces, nil)) // unchanged: nothing to do
			c.change(rec, traces)
			err := n.PutImported(ctx, rec, traces, nil)
			wantCode(t, err, c.code)
			if !strings.Contains(fault.As(err).Message, c.says) {
				t.Errorf("message %q does not name %q", fault.As(err).Message, c.says)
			}
			if _, err := n.Record(ctx, "copy"); err == nil {
				t.Error("half an import stayed")
			}
		})
	}
}

// A study written by a version with other fields is parsed again from its
// document.
func TestStudyIsParsedAnewWhenItsShapeChanged(t *testing.T) {
	ctx := context.Background()
	n := newNotebook(t)
	document := []byte("study: Butter or oil\nclaim: {says: Butter browns faster}\n")
	parsed, err := study.Parse("study.yaml", document)
	if err != nil && parsed.Title == "" {
		t.Fatal(err)
	}
	must(t, n.PutStudy(ctx, parsed, document, nil))
	_, err = n.write.Exec(`UPDATE study SET shape = 'older', parsed = x'7b7d'`)
	must(t, err)
	rec, err := n.Record(ctx, parsed.ID)
	must(t, err)
	if d := cmp.Diff(parsed, rec.Study, unchanged); d != "" {
		t.Error(d)
	}
}

func TestStudyJSONKeepsTypes(t *testing.T) {
	for _, v := range []any{uint64(1 << 63), int64(-1 << 63), 1.0, -0.5, 1e300, 5e-324, "1", true, nil,
		[]any{uint64(1), 1.0}, map[string]any{"a": []any{map[string]any{"<b>": int64(-2)}}}} {
		b, err := json.Marshal(freeValue{v})
		must(t, err)
		var got freeValue
		must(t, json.Unmarshal(b, &got))
		if d := cmp.Diff(v, got.value); d != "" {
			t.Errorf("%s: %s", b, d)
		}
	}
}
