package web

import (
	"context"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"trivet/bench"
	"trivet/tasting"
)

// Whatever a form holds, a plan read from it is refused with a sentence or
// can be dealt from: nothing panics.
func FuzzPlanForm(f *testing.F) {
	nb := newNotebook(f, filepath.Join(f.TempDir(), "kitchen.trivet"))
	defer nb.Close()
	rec, err := nb.Record(context.Background(), "salted-early-or-late")
	if err != nil {
		f.Fatal(err)
	}
	f.Add("title=x&method=triangle&products=a%0Ab&assessors=6&alpha=0.05&pd=0.3&aim=difference")
	f.Add("title=x&method=rated&products=a%0Ab%0Ac&people=P1:milk%0AP2&attributes=salty&pieces=x,1,a%0Ay,1,b,probed&portions=3")
	f.Add("title=x&method=tetrad&products=a&rounds=1e9&alpha=NaN&beta=Inf&dprime=-0&at_once=0.5")
	f.Fuzz(func(t *testing.T, query string) {
		in, err := url.ParseQuery(query)
		if err != nil {
			t.Skip()
		}
		plan, err := readPlan(in, rec)
		if err != nil {
			if strings.TrimSpace(err.Error()) == "" {
				t.Error("an error without words")
			}
			return
		}
		if n := len(plan.Setup.Assessors); n < 1 || n > maxAssessors {
			t.Errorf("%d assessors", n)
		}
		if len(plan.Setup.Assessors)*plan.Setup.Rounds > 200 {
			return // dealing these is tried elsewhere, and takes long
		}
		if _, _, err := tasting.Deal(plan.Setup, strings.Repeat("ab", 32)); err != nil && strings.TrimSpace(err.Error()) == "" {
			t.Error("an error without words")
		}
	})
}

// Whatever arrives at a ballot's address, what is read from it names codes
// and values that its tray has.
func FuzzBallotForm(f *testing.F) {
	var tastings []*bench.Tasting
	for i, m := range tasting.Methods() {
		plan := trianglePlan(2, 1)
		plan.Setup.Method = m.Describe().Name
		doc, _, _, _, err := tasting.NewDocument(plan.Setup, tasting.Rule{Alpha: 0.05}, []string{"salty"}, time.Unix(0, 0), fixedRandom(byte(i)))
		if err != nil {
			f.Fatal(err)
		}
		tastings = append(tastings, &bench.Tasting{Document: doc})
	}
	const id = "id=4f8b1f5e-7e0c-4d0e-9f55-0c8f5d0f4a11"
	for i, query := range []string{"&choice=CODE", "&choice=CODE&choice=CODE", "&response=A&sureness=9", "&rank-CODE=1", "&value-0-CODE=-3", "&value-1-CODE=1e3&comment=x", "&check-CODE=salty&check-CODE=mild", "&words-CODE=fine"} {
		f.Add(uint8(i), id+query)
	}
	f.Fuzz(func(t *testing.T, which uint8, body string) {
		ta := tastings[int(which)%len(tastings)]
		tray := ta.Document.Session.Trays[0]
		in, err := url.ParseQuery(strings.ReplaceAll(body, "CODE", tray.Codes[0]))
		if err != nil {
			t.Skip()
		}
		in.Set("set", tray.Set)
		a, form, err := readAnswer(in, ta, tray.Assessor)
		if err != nil {
			if strings.TrimSpace(err.Error()) == "" {
				t.Error("an error without words")
			}
			return
		}
		if form == nil || a.Sureness < 0 || a.Sureness > len(tasting.SurenessWords()) {
			t.Errorf("taken: %+v", a)
		}
		for code, rank := range a.Ranks {
			if !slices.Contains(tray.Codes, code) || rank < 1 || rank > float64(len(tray.Codes)) {
				t.Errorf("rank %g of %q", rank, code)
			}
		}
		for name, values := range a.Values {
			for code, v := range values {
				if !slices.Contains(tray.Codes, code) || v < 0 || v > 100 {
					t.Errorf("%s of %q is %g", name, code, v)
				}
			}
		}
	})
}
