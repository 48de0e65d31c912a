package answer

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"trivet/measure"
	"trivet/stats"
)

// Redefined is the evidence when the response is defined otherwise: the same
// cooks, analysis, level and margin. It tells how far a verdict hangs on the
// definition and never changes it; the checks are not made again.
type Redefined struct {
	Definition string `json:"definition"`
	Short      string `json:"short"` // "within 3 K"
	Says       string `json:"says"`  // "the share within 3 K instead of 5 K"
	Pieces     int    `json:"n"`
	Blocks     int    `json:"n_blocks"`
	// Missing is how many cooks with the response cannot be read so, and Why
	// the reason of the first.
	Missing int    `json:"missing,omitempty"`
	Why     string `json:"why,omitempty"`
	// Estimate and Wide are on the scale of the evidence; nil where there is
	// no comparison.
	Estimate *float64  `json:"estimate"`
	SE       float64   `json:"se,omitempty"`
	Wide     *Interval `json:"wide"`
	Narrow   *Interval `json:"narrow"`
	// Raw is what the intervals say, "" where there are too few blocks; Same
	// tells whether that is what the response's own intervals say.
	Raw  Verdict `json:"raw_verdict"`
	Same bool    `json:"same"`
}

// others makes the comparison again by each other definition of the response.
func (e *evaluation) others() {
	ev := e.evidence
	if ev == nil || e.compareAgain == nil {
		return
	}
	by := map[string]map[string]measure.Other{} // definition, then cook
	for _, c := range e.cooks {
		for _, o := range c.Result.Others {
			if o.Response != e.question.Response {
				continue
			}
			if by[o.Definition] == nil {
				by[o.Definition] = make(map[string]measure.Other, len(e.cooks))
			}
			by[o.Definition][c.Cook.ID+"\x00"+c.Cook.Label] = o
		}
	}
	for _, d := range measure.Definitions(e.question.Response) {
		if values := by[d.ID]; values != nil {
			ev.Others = append(ev.Others, e.redefined(d, values))
		}
	}
}

// redefined compares by one other definition.
func (e *evaluation) redefined(d measure.Definition, values map[string]measure.Other) Redefined {
	out := Redefined{Definition: d.ID, Short: d.Short, Says: d.Says}
	t := stats.Table{ResponseName: e.compared.ResponseName}
	for _, c := range e.compared.Covariates {
		t.Covariates = append(t.Covariates, stats.Covariate{Name: c.Name})
	}
	for i, v := range e.values {
		o, ok := values[v.cook.ID+"\x00"+v.cook.Label]
		if ok && o.Why == "" && e.evidence.Ratio && o.Value <= 0 {
			o.Why = "a ratio compares logarithms, and the value is at or below 0"
		}
		if !ok || o.Why != "" {
			out.Missing++
			if out.Why == "" {
				out.Why = o.Why
			}
			continue
		}
		t.Response = append(t.Response, o.Value)
		t.Treatment = append(t.Treatment, v.cook.Treatment)
		t.Block = append(t.Block, v.cook.Block)
		for k := range t.Covariates {
			t.Covariates[k].Values = append(t.Covariates[k].Values, e.compared.Covariates[k].Values[i])
		}
	}
	out.Pieces, out.Blocks = t.Len(), len(labels(t.Block))
	if out.Blocks < 2 {
		return out
	}
	x := e.compareAgain(t)
	if x == nil || math.IsNaN(x.estimate) {
		return out
	}
	n := out.Blocks
	if e.rule != nil && e.rule.mode == "group-sequential" {
		n = e.evidence.Blocks // the look's own level
	}
	wide, narrow := e.intervals(*x, n, e.evidence.Level)
	out.Estimate, out.SE, out.Wide, out.Narrow = &x.estimate, x.se, &wide, &narrow
	if out.Blocks < minBlocksForVerdict || x.df < minErrorDF {
		return out
	}
	out.Raw = Judge(wide, narrow, e.delta, e.finding.Claim)
	out.Same = out.Raw == e.finding.RawVerdict
	return out
}

// Compared are the other definitions under which there is something to compare.
func (ev *Evidence) Compared() []Redefined {
	return slices.DeleteFunc(slices.Clone(ev.Others), func(r Redefined) bool { return r.Estimate == nil || r.Wide == nil })
}

// Turned is the code another definition gives in the printed form where it is
// another one, else "".
func (r Redefined) Turned() string {
	if r.Same || r.Raw == "" {
		return ""
	}
	return r.Raw.Printed()
}

// Redefined words what another definition gives: "With the share within 3 K
// instead of 5 K: 22.1 points higher (95 %: 20.0 to 24.2); the verdict stays".
func (w Words) Redefined(f *Finding, r Redefined) string {
	out := "With " + r.Says + ": "
	if r.Estimate == nil || r.Wide == nil {
		out += "nothing to compare"
		if r.Missing > 0 {
			out += fmt.Sprintf(", %s cannot be read so", cooksOf(r.Missing))
		}
		if r.Why != "" {
			out += " (" + r.Why + ")"
		}
		return out
	}
	way := "higher"
	if *r.Estimate < 0 {
		way = "lower"
	}
	// Two digits of the interval's half width, as in the finding's sentence.
	u := (r.Wide.High - r.Wide.Low) / 2
	interval := "no interval"
	if math.IsInf(u, 0) || math.IsNaN(u) {
		u = r.SE
	} else {
		interval = percent(1-f.Evidence.Level) + ": " + w.Range(f, *r.Wide, u)
	}
	out += fmt.Sprintf("%s %s (%s)", strings.TrimPrefix(w.Difference(f, *r.Estimate, u), "−"), way, interval)
	if r.Missing > 0 {
		out += fmt.Sprintf(", without %s that cannot be read so", cooksOf(r.Missing))
	}
	held := f.RawVerdict.Settled() && f.Verdict != nil && *f.Verdict != f.RawVerdict
	switch {
	case r.Raw == "":
		return out + "; too few blocks for a verdict"
	case r.Same && f.Verdict != nil && !held:
		return out + "; the verdict stays"
	case r.Same:
		return out + "; the numbers say the same"
	case f.Verdict == nil || held:
		return out + fmt.Sprintf("; the numbers would say “%s”", r.Raw.Printed())
	}
	return out + fmt.Sprintf("; the verdict would be “%s”", r.Raw.Printed())
}

func cooksOf(n int) string {
	if n == 1 {
		return "1 cook"
	}
	return fmt.Sprintf("%d cooks", n)
}
