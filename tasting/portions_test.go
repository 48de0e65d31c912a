package tasting

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"trivet/fault"
)

func TestBudgetOfATriangle(t *testing.T) {
	// 60 tasters in blocks of 6; a block uses 9 portions of each product, a
	// loin chop gives 10: one block of tasters a pair of chops.
	s := Supply{Method: Triangle{}, Assessors: 60, PortionsAPiece: 10, Before: []string{"mass after the rest"}}
	b, err := s.Budget()
	if err != nil {
		t.Fatal(err)
	}
	if b.Sets != 60 || b.SetsAWave != 6 || b.Waves != 10 || b.PiecesAProduct != 10 || b.CupsAProduct != 90 || b.PortionsAWave != 9 || b.ServeByMinutes != nil {
		t.Errorf("%+v", b)
	}
	if len(b.BeforeTheKnife) != 1 || b.LikeSamplesFrom != "one piece" {
		t.Errorf("%+v", b)
	}
}

// What the budget orders is what the deal can serve, whatever the seed.
func TestBudgetIsEnoughForTheDeal(t *testing.T) {
	for _, tc := range []struct {
		method    string
		assessors int
		portions  int
		apart     bool
	}{{"triangle", 60, 10, false}, {"triangle", 25, 7, false}, {"duo-trio", 24, 12, false}, {"tetrad", 18, 9, true}, {"2-afc", 31, 8, false}, {"same-different", 22, 9, true}} {
		m, _ := Lookup(tc.method)
		apiece := 1
		if tc.apart {
			apiece = 2
		}
		b, err := Supply{Method: m, Assessors: tc.assessors, PortionsAPiece: tc.portions, PiecesABlock: apiece, LikeApart: tc.apart}.Budget()
		if err != nil {
			t.Fatal(err)
		}
		var waves []Wave
		for w := range b.Waves {
			var pieces [][]string
			for p := range 2 {
				var labels []string
				for i := range apiece {
					labels = append(labels, fmt.Sprintf("w%d-%d-%d", w, p, i))
				}
				pieces = append(pieces, labels)
			}
			waves = append(waves, Wave{Block: fmt.Sprint("B", w), Pieces: pieces, Portions: tc.portions, Sets: b.SetsAWave})
		}
		for seed := range 20 {
			s, _ := NewSeed(fixedRandom(byte(seed)))
			if _, _, err := Deal(Setup{Method: tc.method, Products: twoWays(), Assessors: panel(tc.assessors), Waves: waves, LikeApart: tc.apart}, s); err != nil {
				t.Errorf("%s, %d assessors, seed %d: %v", tc.method, tc.assessors, seed, err)
			}
		}
	}
}

func TestBudgetWithinTheHoldingLimit(t *testing.T) {
	s := Supply{Method: Triangle{}, Assessors: 24, PortionsAPiece: 40, HoldMinutes: 12, CarveMinutes: 4, ServeMinutes: 4, AtOnce: 4}
	b, err := s.Budget()
	if err != nil {
		t.Fatal(err)
	}
	// After carving, 8 minutes are left: groups go out at 0, 4 and 8, four
	// assessors each.
	if b.SetsAWave != 12 || b.Waves != 2 || *b.ServeByMinutes != 12 {
		t.Errorf("%+v", b)
	}
	s.CarveMinutes = 13
	if _, err := s.Budget(); fault.As(err) == nil || fault.As(err).Code != "hold-short" {
		t.Errorf("%v", err)
	}
	s.CarveMinutes, s.PortionsAPiece = 4, 1
	if _, err := s.Budget(); fault.As(err) == nil || fault.As(err).Code != "portions-short" {
		t.Errorf("%v", err)
	}
}

// Whatever limits a wave, its portions come out of the pieces it has.
func TestBudgetNeverPromisesMoreThanAPieceGives(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := Supply{
			Method: rapid.SampledFrom(choices()).Draw(rt, "method"), Assessors: rapid.IntRange(1, 90).Draw(rt, "assessors"),
			PortionsAPiece: rapid.IntRange(1, 30).Draw(rt, "portions"), Spare: rapid.SampledFrom([]float64{0, .1, .25}).Draw(rt, "spare"),
			HoldMinutes: rapid.SampledFrom([]float64{0, 15, 40}).Draw(rt, "hold"), CarveMinutes: 5, ServeMinutes: rapid.Float64Range(0, 9).Draw(rt, "serve"),
			AtOnce: rapid.IntRange(1, 4).Draw(rt, "at once"), PiecesABlock: rapid.IntRange(1, 2).Draw(rt, "pieces"),
		}
		b, err := s.Budget()
		if err != nil {
			if fault.As(err).Code != "portions-short" {
				rt.Fatal(err)
			}
			return
		}
		if b.PortionsAWave > s.PortionsAPiece*s.PiecesABlock || b.SetsAWave < 1 || b.Waves*b.SetsAWave < b.Sets || b.CupsAProduct > b.Waves*b.PortionsAWave {
			rt.Fatalf("%+v from %+v", b, s)
		}
	})
}

func TestOnePairOfPiecesIsSaid(t *testing.T) {
	b, err := Supply{Method: Triangle{}, Assessors: 6, PortionsAPiece: 20, Probed: true}.Budget()
	if err != nil {
		t.Fatal(err)
	}
	text := fmt.Sprint(b.Notes)
	for _, want := range []string{"one pair of pieces", "unprobed twin"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in %s", want, text)
		}
	}
}

func TestWavesTakeUnprobedTwins(t *testing.T) {
	pieces := []PieceForTasting{
		{"L01a", "L01", "sear-last", true}, {"L01a2", "L01", "sear-last", false}, {"L01b", "L01", "sear-first", true}, {"L01b2", "L01", "sear-first", false},
		{"L02a", "L02", "sear-last", true}, {"L02b", "L02", "sear-first", false}, {"L03a", "L03", "sear-last", false},
	}
	waves, notes := WavesOf(twoWays(), pieces, 10)
	if len(waves) != 2 || waves[0].Pieces[0][0] != "L01a2" || waves[0].Pieces[1][0] != "L01b2" || waves[1].Pieces[0][0] != "L02a" {
		t.Errorf("%+v", waves)
	}
	if len(notes) != 2 || notes[0].Code != "probed" || notes[1].Code != "block-incomplete" {
		t.Errorf("%+v", notes)
	}
}

func TestScheduleMarksTraysPastTheLimit(t *testing.T) {
	key := deal(t, Setup{Method: "triangle", Products: twoWays(), Assessors: panel(6)}, 1)
	// A triangle takes 3×30 + 2×45 = 180 s, then 180 s of rest: trays go out
	// at 5, 11, 17, 23 … minutes; with 20 minutes, 17 + 3 is just in time.
	tt, err := Schedule(key.ForServer(), Pace{HoldMinutes: 20})
	if err != nil {
		t.Fatal(err)
	}
	var late []int
	for _, tr := range tt.Waves[0].Trays {
		if tr.TooLate {
			late = append(late, tr.Tray)
		}
	}
	if fmt.Sprint(late) != "[4 5 6]" || tt.Waves[0].Trays[2].OutAt != 17 || tt.Minutes != 38 {
		t.Errorf("late %v, %+v", late, tt)
	}
	if tt.Notes[0].Code != "too-late" {
		t.Errorf("%v", tt.Notes)
	}
}
