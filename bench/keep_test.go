package bench

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"trivet/study"
)

// A document imported again says what it says; what was recorded beside it
// since stays.
func TestKeepRecorded(t *testing.T) {
	mark := func(id string, atS int64) study.Mark { return study.Mark{ID: id, Kind: study.Turn, AtUS: atS * 1e6} }
	log := study.LogRef{File: "a.csv", SHA256: "aa"}
	loaded := study.LogRef{File: "b.csv", SHA256: "bb"}
	late := study.Deviation{What: "burner turned down"}
	for _, tc := range []struct {
		name                   string
		base, known, doc, want study.Cook
	}{
		{name: "a log loaded since",
			base: study.Cook{}, known: study.Cook{Logs: []study.LogRef{loaded}}, doc: study.Cook{},
			want: study.Cook{Logs: []study.LogRef{loaded}}},
		{name: "a log the document named before and no longer does",
			base: study.Cook{Logs: []study.LogRef{{File: "a.csv"}}}, known: study.Cook{Logs: []study.LogRef{log, loaded}}, doc: study.Cook{},
			want: study.Cook{Logs: []study.LogRef{loaded}}},
		{name: "the loaded log is now named by the document",
			known: study.Cook{Logs: []study.LogRef{loaded}}, doc: study.Cook{Logs: []study.LogRef{{File: "logs/b.csv", SHA256: "bb"}}},
			want: study.Cook{Logs: []study.LogRef{{File: "logs/b.csv", SHA256: "bb"}}}},
		{name: "a mark corrected by hand, one taken out, one made at the stove",
			base:  study.Cook{Marks: []study.Mark{mark("d1", 60), mark("d2", 120)}},
			known: study.Cook{Marks: []study.Mark{mark("d1", 60), mark("d2", 120), mark("stove", 90)}},
			doc:   study.Cook{Marks: []study.Mark{mark("d1", 61)}},
			want:  study.Cook{Marks: []study.Mark{mark("d1", 61), mark("stove", 90)}}},
		{name: "heat on given while loading",
			known: study.Cook{ZeroUS: 30e6, ZeroSet: true}, want: study.Cook{ZeroUS: 30e6, ZeroSet: true}},
		{name: "heat on corrected by hand",
			base: study.Cook{ZeroUS: 30e6, ZeroSet: true}, known: study.Cook{ZeroUS: 30e6, ZeroSet: true}, doc: study.Cook{ZeroUS: 40e6, ZeroSet: true},
			want: study.Cook{ZeroUS: 40e6, ZeroSet: true}},
		{name: "made void at the stove",
			base:  study.Cook{Role: study.Planned},
			known: study.Cook{Role: study.Void, VoidRule: "probe-slip", VoidWhy: "slipped"},
			doc:   study.Cook{Role: study.Planned},
			want:  study.Cook{Role: study.Void, VoidRule: "probe-slip", VoidWhy: "slipped"}},
		{name: "made void by hand",
			base: study.Cook{Role: study.Planned}, known: study.Cook{Role: study.Planned}, doc: study.Cook{Role: study.Void, VoidRule: "pan-cold"},
			want: study.Cook{Role: study.Void, VoidRule: "pan-cold"}},
		{name: "a deviation noted since",
			known: study.Cook{Deviations: []study.Deviation{late}}, want: study.Cook{Deviations: []study.Deviation{late}}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if d := cmp.Diff(tc.want, keepRecorded(tc.doc, tc.base, tc.known)); d != "" {
				t.Errorf("want -, got +\n%s", d)
			}
		})
	}
}
