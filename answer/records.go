package answer

import (
	"fmt"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/measure"
	"trivet/stats"
)

// recordDoubt is one kind of doubt about the records of a question's cooks.
type recordDoubt struct {
	code   fault.Code
	breach bool     // outside what the study said it would hold
	says   []string // "L07: the pan was …", one a cook
}

// recordDoubts gathers what the quality reports of both treatments' cooks say
// that bears on the response, and compares again without the blocks
// concerned.
func (e *evaluation) recordDoubts() {
	breached, doubted := map[string]bool{}, map[string]bool{}
	typed := map[string]bool{}
	for _, v := range e.values {
		typed[v.cook.Label] = v.response.Typed
	}
	for _, c := range e.cooks {
		if c.Cook.Treatment != e.finding.Treatment && c.Cook.Treatment != e.finding.Control {
			continue
		}
		for _, f := range c.Findings {
			// A mass that grew is judged by its own check.
			if f.Severity == measure.QualityNote || f.Code == "mass-gained" || !f.Touches(e.question.Response, typed[c.Cook.Label]) {
				continue
			}
			breach := f.Severity == measure.QualityBreach
			i := slices.IndexFunc(e.doubts, func(d recordDoubt) bool { return d.code == f.Code && d.breach == breach })
			if i < 0 {
				i = len(e.doubts)
				e.doubts = append(e.doubts, recordDoubt{code: f.Code, breach: breach})
			}
			e.doubts[i].says = append(e.doubts[i].says, c.Cook.Label+": "+f.Text)
			if breach {
				breached[c.Cook.Block] = true
			}
			doubted[c.Cook.Block] = true
		}
	}
	e.unbreached, e.undoubted = e.leaveOut(breached), e.leaveOut(doubted)
}

// leaveOut compares without some blocks; nil when there are none to leave out
// or too few left.
func (e *evaluation) leaveOut(blocks map[string]bool) *blocksLeft {
	if len(blocks) == 0 || e.compareAgain == nil {
		return nil
	}
	t := without(e.compared, func(b string) bool { return blocks[b] })
	n := len(labels(t.Block))
	if n < minBlocksForVerdict {
		return nil
	}
	x := e.compareAgain(t)
	if x == nil || x.df < minErrorDF {
		return nil
	}
	return &blocksLeft{n, *x}
}

// blocksLeft is the effect on what remains when blocks are left out.
type blocksLeft struct {
	blocks int
	effect effect
}

// checkRecords judges the doubts about the cooks' records. A breach fails
// unless the same code stands without the blocks concerned, where it stays in
// doubt; a doubt alone never fails.
func (e *evaluation) checkRecords(verdict Verdict, a float64) {
	for _, d := range e.doubts {
		left, state := e.undoubted, Doubtful
		if d.breach {
			left, state = e.unbreached, Failed
		}
		text := listed(d.says)
		if verdict.Settled() {
			raw, known := e.rawOf(left, a)
			switch {
			case !known:
				text += "; too few blocks are left to tell whether the verdict holds without them"
			case raw == verdict:
				state = Doubtful
				text += "; without the blocks concerned the verdict is the same"
			case raw.Settled():
				text += fmt.Sprintf("; without the blocks concerned it would be “%s”", raw.Printed())
			default:
				text += "; without the blocks concerned the question would not be settled"
			}
		}
		e.finding.Checks = append(e.finding.Checks, Check{d.code, state, text})
	}
}

// rawOf is the code that the intervals give without some blocks.
func (e *evaluation) rawOf(l *blocksLeft, a float64) (Verdict, bool) {
	if l == nil {
		return "", false
	}
	n := l.blocks
	if e.rule != nil && e.rule.mode == "group-sequential" {
		n = e.evidence.Blocks // the look's own level
	}
	wide, narrow := e.intervals(l.effect, n, a)
	raw := Judge(wide, narrow, e.delta, e.finding.Claim)
	if (raw == TooSmall || raw == NoDifference) && l.blocks < minBlocksForInside {
		raw = Unsettled
	}
	return raw, true
}

// listed names the first cooks in full and counts the others.
func listed(says []string) string {
	const named = 3
	if more := len(says) - named; more > 1 {
		return fmt.Sprintf("%s; and so in %d more cooks", strings.Join(says[:named], "; "), more)
	}
	return strings.Join(says, "; ")
}

// without returns a table without some blocks.
func without(t stats.Table, drop func(block string) bool) stats.Table {
	less := stats.Table{ResponseName: t.ResponseName}
	for _, c := range t.Covariates {
		less.Covariates = append(less.Covariates, stats.Covariate{Name: c.Name})
	}
	for i, b := range t.Block {
		if drop(b) {
			continue
		}
		less.Response = append(less.Response, t.Response[i])
		less.Treatment = append(less.Treatment, t.Treatment[i])
		less.Block = append(less.Block, b)
		for k := range t.Covariates {
			less.Covariates[k].Values = append(less.Covariates[k].Values, t.Covariates[k].Values[i])
		}
	}
	return less
}
