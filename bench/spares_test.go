package bench

import (
	"slices"
	"strings"
	"testing"
	"time"

	"trivet/fault"
	"trivet/study"
)

// A spare waits until a cook of its own block is void, and then takes that
// cook's treatment; a log of it before that is refused with the reason.
func TestASpareTakesThePlaceOfAVoidCook(t *testing.T) {
	at := time.Date(2026, 3, 3, 9, 0, 0, 0, time.UTC)
	rec := &Record{Study: &study.Study{ID: "chops", Pieces: []study.Piece{
		{Label: "L01-a", Block: "L01"}, {Label: "L01-b", Block: "L01"}, {Label: "L01-c", Block: "L01", Spare: true},
		{Label: "L02-c", Block: "L02", Spare: true}}}}
	cook := func(label, treatment string, role study.Role) study.Cook {
		return study.Cook{Label: label, Piece: label, Block: label[:3], Treatment: treatment, Role: role, VoidedAt: at}
	}
	rec.Cooks = []study.Cook{cook("L01-a", "early", study.Planned), cook("L01-b", "late", study.Planned)}

	if got := openSpares(rec); len(got) != 0 {
		t.Errorf("nothing is void and spares are open: %+v", got)
	}
	_, err := cookFor(rec, LoadRequest{Cook: "L01-c", Now: at})
	if f := fault.As(err); f == nil || f.Code != "spare-waits" || !strings.Contains(f.Message, "block L01") {
		t.Errorf("a spare of a whole block: %v", err)
	}

	rec.Cooks[1].Role = study.Void
	c, err := cookFor(rec, LoadRequest{Name: "L01-c_late.csv", Now: at})
	if err != nil {
		t.Fatal(err)
	}
	if c.Role != study.Spare || c.Treatment != "late" || c.Block != "L01" || c.Piece != "L01-c" || c.ID == "" {
		t.Errorf("the spare is cooked as %+v", c)
	}
	if got := Labels(rec); !slices.Equal(got, []string{"L01-a", "L01-b", "L01-c"}) {
		t.Errorf("logs may go to %q", got)
	}
	if _, err = cookFor(rec, LoadRequest{Cook: "L02-c", Now: at}); err == nil {
		t.Error("a spare of another block replaced a void cook")
	}

	rec.Cooks = append(rec.Cooks, *c) // it was cooked: nothing is left to replace
	if got := openSpares(rec); len(got) != 0 {
		t.Errorf("spares are open after the void cook was replaced: %+v", got)
	}
}
