package measure

import (
	"fmt"
	"slices"

	"trivet/study"
)

// What is doubtful of an alignment; our choice, no source.
const (
	clockUDoubtS   = 2.0 // expanded uncertainty at heat on or off heat
	clockRMSDoubtS = 2.0 // residual
)

// fixes reports the corrections of clocks that stand, with how well they are
// known, and logs whose clocks nobody compared.
func (q *qualityCheck) fixes() {
	c := q.in.Cook
	var logs []string
	for _, t := range q.in.Traces {
		if t.Source != "" && !slices.Contains(logs, t.Source) {
			logs = append(logs, t.Source)
		}
	}
	var roots []string
	for _, clock := range append(logs, study.MarksClock) {
		f, ok := c.Standing(clock)
		if ok {
			q.fix(clock, f)
		}
		if clock == study.MarksClock {
			continue
		}
		root := clock
		if path := c.ClockPath(clock); len(path) > 0 {
			root = path[len(path)-1].To
		}
		if root == "" || slices.Contains(roots, root) {
			continue
		}
		if roots = append(roots, root); len(roots) > 1 {
			q.add(Finding{Code: "clock-unaligned", Severity: QualityDoubt, Clock: clock},
				"nobody compared the clock of %s with that of %s: align them, or set 0 s by hand where they agree", ClockName(c, clock), ClockName(c, logs[0]))
		}
	}
}

func (q *qualityCheck) fix(clock string, f study.ClockFix) {
	worst := 0.0
	for _, at := range []int64{q.from, q.pull} {
		if at == 0 && at == q.pull {
			continue
		}
		// The time on the corrected clock itself.
		for _, p := range slices.Backward(q.in.Cook.ClockPath(clock)) {
			at = alignment(p).Inverse().Apply(at)
		}
		worst = max(worst, 2*f.UUS(at)/1e6)
	}
	out := Finding{Code: "clock-corrected", Severity: QualityNote, Value: worst, Clock: clock}
	text := "the clock of %s is corrected: %s (%s), known to ±%s s between heat on and off heat"
	if f.Points > 1 {
		text += "; residual " + twoDigits(max(f.RMSUS/1e6, 1e-3)) + " s"
	}
	if worst > clockUDoubtS || f.RMSUS/1e6 > clockRMSDoubtS {
		out.Code, out.Severity = "clock-unsure", QualityDoubt
	}
	if f.Note != "" {
		text += "; " + f.Note
	}
	q.add(out, "%s", fmt.Sprintf(text, ClockName(q.in.Cook, clock), FixWords(f), methodWords(f.Method), twoDigits(max(worst, 1e-3))))
}

func methodWords(method string) string {
	if method == "set" {
		return "set by hand"
	}
	return "by " + method
}
