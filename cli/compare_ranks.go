package cli

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"trivet/answer"
	"trivet/fault"
	"trivet/stats"
)

// rankOptions are the flags of second opinions on a comparison.
type rankOptions struct{ wilcoxon, welch, influence bool }

// ranksJSON is a comparison by ranks, with unequal scatter, and without each
// block.
type ranksJSON struct {
	Wilcoxon  []wilcoxonJSON  `json:"wilcoxon,omitempty"`
	Welch     []welchJSON     `json:"welch,omitempty"`
	WelchTest *testJSON       `json:"welch_test,omitempty"` // of more than two treatments
	Influence []influenceJSON `json:"influence,omitempty"`
}

type wilcoxonJSON struct {
	Treatment string   `json:"treatment"`
	Control   string   `json:"control"`
	Blocks    int      `json:"blocks"`
	Nonzero   int      `json:"nonzero"`
	V         float64  `json:"v"`
	P         float64  `json:"p_value"` // exact, two-sided
	Estimate  float64  `json:"estimate"`
	CILow     *float64 `json:"ci_low"` // null when the blocks are too few
	CIHigh    *float64 `json:"ci_high"`
	Level     float64  `json:"ci_level"` // the level reached
}

type welchJSON struct {
	Treatment string `json:"treatment"`
	Control   string `json:"control"`
	lineJSON
	P *float64 `json:"p_value"`
}

// influenceJSON is one contrast without each block in turn.
type influenceJSON struct {
	Treatment string          `json:"treatment"`
	Control   string          `json:"control"`
	Without   []leftBlockJSON `json:"without"`
	Outlying  []string        `json:"outlying"` // flagged, never deleted
	Changes   []string        `json:"changes"`  // blocks without which the reading would be another
	limit     bool            // there is a margin to read against
}

type leftBlockJSON struct {
	Block      string   `json:"block"`
	Difference *float64 `json:"difference"` // the block's own; null when it lacks a treatment
	lineJSON
	Reading string `json:"reading,omitempty"` // of the intervals, against the margin
}

// compareRanks computes the second opinions asked for.
func compareRanks(c *stats.Comparison, o compareOptions) (*ranksJSON, error) {
	if !o.ranks.wilcoxon && !o.ranks.welch && !o.ranks.influence {
		return nil, nil
	}
	out := &ranksJSON{}
	var err error
	if o.ranks.wilcoxon {
		if out.Wilcoxon, err = signedRanks(c); err != nil {
			return nil, err
		}
	}
	if o.ranks.welch {
		if err = out.welch(c, o); err != nil {
			return nil, err
		}
	}
	if o.ranks.influence {
		if out.Influence, err = influences(c); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func signedRanks(c *stats.Comparison) ([]wilcoxonJSON, error) {
	if c.NBlocks == 0 {
		return nil, fault.BadUsage("wilcoxon-blocks", "signed ranks are of block differences, and the table has no blocks").
			WithFix("name them with --block; for independent pieces take --welch")
	}
	var out []wilcoxonJSON
	for i, k := range c.Contrasts {
		d := c.DifferenceValues(i)
		if len(d) == 0 {
			return nil, fault.New("wilcoxon-blocks", "no block has both %s and %s", k.Treatment, k.Control).WithFix("leave --wilcoxon out")
		}
		t := stats.SignedRank(d)
		ci := t.Interval(1 - c.Alpha)
		out = append(out, wilcoxonJSON{k.Treatment, k.Control, t.N, t.M, t.V, t.P(stats.Either), t.Estimate, number(ci.Low), number(ci.High), ci.Level})
	}
	return out, nil
}

func (x *ranksJSON) welch(c *stats.Comparison, o compareOptions) error {
	if c.NBlocks > 0 {
		return fault.BadUsage("welch-blocks", "Welch's comparison is of independent pieces, and these stand in blocks").
			WithFix("leave --welch out: differences inside blocks need no equal scatter between treatments; or take --wilcoxon")
	}
	if len(o.Options.Also)+len(o.fields.Covariates) > 0 {
		return fault.BadUsage("welch-effects", "Welch's comparison has no further effects").WithFix("leave --also and --covariate out")
	}
	for _, k := range c.Contrasts {
		l, err := stats.Welch(c.Values(k.Treatment), c.Values(k.Control))
		if err != nil {
			return err
		}
		p := stats.Contrast{Estimate: l.Estimate, SE: l.SE, DF: l.DF}.OneSidedP(stats.Either, 0)
		x.Welch = append(x.Welch, welchJSON{k.Treatment, k.Control, line(l, c.Alpha), number(p)})
	}
	if len(c.Treatments) > 2 {
		var groups [][]float64
		for _, t := range c.Treatments {
			groups = append(groups, c.Values(t))
		}
		f, err := stats.WelchANOVA(groups)
		if err != nil {
			return err
		}
		t := test(f)
		t.Term = o.fields.Treatment
		x.WelchTest = &t
	}
	return nil
}

// influences reads every contrast without each block, the way the whole is
// read.
func influences(c *stats.Comparison) ([]influenceJSON, error) {
	left := c.LeaveOneOut()
	if left == nil {
		return nil, fault.BadUsage("influence-blocks", "influence is what one block does to the answer, and the table has no blocks").WithFix("name them with --block")
	}
	out := make([]influenceJSON, len(c.Contrasts))
	for i, k := range c.Contrasts {
		own := map[string]float64{}
		for _, d := range c.Differences(i) {
			own[d.Block] = d.Difference
		}
		x := influenceJSON{Treatment: k.Treatment, Control: k.Control, Outlying: c.OutlyingBlocks(i), Changes: []string{}, Without: []leftBlockJSON{}, limit: c.Margin > 0}
		if x.Outlying == nil {
			x.Outlying = []string{}
		}
		for _, l := range left {
			less := *c
			less.NBlocks, less.Contrasts = c.NBlocks-1, slices.Clone(l.Contrasts)
			answer.Bare(&less)
			w := less.Contrasts[i]
			b := leftBlockJSON{Block: l.Block, lineJSON: line(stats.Linear{Estimate: w.Estimate, SE: w.SE, DF: w.DF}, c.Alpha), Reading: w.RawVerdict}
			if d, ok := own[l.Block]; ok {
				b.Difference = number(d)
			}
			if b.Estimate == nil || b.SE == nil {
				b.Reading = ""
			} else if reads(c, w) != reads(c, k) {
				x.Changes = append(x.Changes, l.Block)
			}
			x.Without = append(x.Without, b)
		}
		out[i] = x
	}
	return out, nil
}

// reads is what a contrast's intervals say: the verdict against the margin,
// or without one which side of zero the interval lies on.
func reads(c *stats.Comparison, k stats.Contrast) string {
	if c.Margin > 0 {
		return k.RawVerdict
	}
	switch i := k.Interval(1 - c.Alpha); {
	case i.Low > 0:
		return "above"
	case i.High < 0:
		return "below"
	}
	return "open"
}

// print puts the parts under the comparison.
func (x *ranksJSON) print(env *Env, c *stats.Comparison) {
	if x == nil {
		return
	}
	show, unit := func(v float64) float64 { return v }, ""
	if c.LogScale {
		show, unit = func(v float64) float64 { return 100 * math.Expm1(v) }, " %"
	}
	for _, w := range x.Wilcoxon {
		env.Printf("\nSigned ranks of %d block differences, %s − %s (Wilcoxon, exact): V %g of %d that are not zero, p %s.\n", w.Blocks, w.Treatment, w.Control, w.V, w.Nonzero, short(&w.P))
		if w.CILow == nil || w.CIHigh == nil {
			env.Printf("  Hodges–Lehmann estimate %s%s; the blocks are too few for an interval at %s.\n", decimals(show(w.Estimate), math.Abs(show(w.Estimate))/10), unit, percentOf(1-c.Alpha))
			continue
		}
		u := (show(*w.CIHigh) - show(*w.CILow)) / 4 // near two standard errors each side
		env.Printf("  Hodges–Lehmann estimate %s%s, %s interval %s to %s%s.\n", decimals(show(w.Estimate), u), unit, percentOf(w.Level), decimals(show(*w.CILow), u), decimals(show(*w.CIHigh), u), unit)
	}
	if len(x.Welch) > 0 {
		env.Printf("\nWithout assuming equal scatter (Welch):\n")
		t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
		fmt.Fprintf(t, "  treatment\tminus\tdifference%s\t%s interval\tse\tdf\tp\n", unit, percentOf(1-c.Alpha))
		for _, w := range x.Welch {
			fmt.Fprintf(t, "  %s\t%s\t%s\t%s\n", w.Treatment, w.Control, w.text(show), short(w.P))
		}
		t.Flush()
		if f := x.WelchTest; f != nil {
			env.Printf("  All alike: F(%g, %s) = %s, p %s.\n", f.NumDF, short(f.DenDF), short(f.F), short(f.P))
		}
	}
	for _, i := range x.Influence {
		env.Printf("\nEach block left out, %s − %s:\n", i.Treatment, i.Control)
		t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
		head := fmt.Sprintf("  without\tits difference\tthen%s\t%s interval\tse\tdf", unit, percentOf(1-c.Alpha))
		if i.limit {
			head += "\twould be"
		}
		fmt.Fprintln(t, head)
		for _, b := range i.Without {
			own := "–"
			if b.Difference != nil {
				u := math.Abs(*b.Difference) / 100
				if b.SE != nil {
					u = math.Abs(show(*b.Difference+*b.SE) - show(*b.Difference))
				}
				own = decimals(show(*b.Difference), u)
			}
			row := "  " + b.Block + "\t" + own + "\t" + b.text(show)
			if i.limit && b.Reading != "" {
				row += "\t" + answer.Verdict(b.Reading).Printed()
			}
			fmt.Fprintln(t, row)
		}
		t.Flush()
		switch {
		case len(i.Changes) == 0:
			env.Printf("  No single block changes what the intervals say.\n")
		default:
			which := named(i.Changes)
			if len(i.Changes) > 1 {
				which = "any one of " + which
			}
			env.Printf("%s", wrapped("  ", fmt.Sprintf("Without %s the intervals would say something else: the answer hangs on it.", which), 78))
		}
		if len(i.Outlying) > 0 {
			env.Printf("%s", wrapped("  ", fmt.Sprintf("Far from the others: %s (beyond %g robust SDs of the median difference). Look for a cause in the record. Nothing is dropped: a block is left out only for a reason that would have counted whatever its result.", named(i.Outlying), stats.OutlierLimit), 78))
		}
	}
}

// named lists blocks in words.
func named(blocks []string) string {
	if len(blocks) == 1 {
		return "block " + blocks[0]
	}
	last := len(blocks) - 1
	return "blocks " + strings.Join(blocks[:last], ", ") + " and " + blocks[last]
}
