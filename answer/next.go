package answer

import (
	"fmt"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/study"
)

// blocksIn counts the blocks that have a cook of every compared treatment.
func blocksIn(in Input) int {
	have := map[string]map[string]bool{}
	for _, c := range in.Cooks {
		if c.Cook.Role == study.Pilot || c.Cook.Role == study.Void {
			continue
		}
		if have[c.Cook.Block] == nil {
			have[c.Cook.Block] = map[string]bool{}
		}
		have[c.Cook.Block][c.Cook.Treatment] = true
	}
	n := 0
	for _, ts := range have {
		if len(ts) >= min(2, len(in.Study.Treatments)) {
			n++
		}
	}
	return n
}

// atLook keeps the blocks of the last planned look that was reached: what
// came after it waits for the next.
func atLook(in *Input) []fault.Note {
	n := blocksIn(*in)
	if in.AfterBlock > 0 {
		n = min(n, in.AfterBlock)
	}
	last, next := 0, 0
	for _, l := range in.Study.Risk.Looks {
		if l <= n {
			last = l
		} else if next == 0 {
			next = l
		}
	}
	switch {
	case last == n || n == 0:
		return nil
	case last == 0:
		return []fault.Note{fault.Notef("before-first-look", "%d blocks are in and the first planned look is at %d: no interval is given before it", n, next)}
	}
	in.AfterBlock = last
	if next == 0 {
		return []fault.Note{fault.Notef("after-last-look", "the last planned look was at %d blocks; the %d further blocks are kept and not counted", last, n-last)}
	}
	return []fault.Note{fault.Notef("between-looks", "the look at %d blocks is shown; the %d further blocks wait for the look at %d", last, n-last, next)}
}

// next says whether to stop or go on.
func next(in Input, a *Answer) Next {
	var open []string
	var more []string
	asked := 0
	for _, f := range a.Findings {
		if f.Tasting != nil || f.Response == "" {
			continue
		}
		asked++
		v := f.would()
		if f.Verdict != nil {
			v = *f.Verdict
		}
		if !v.Settled() {
			open = append(open, f.Question)
			if f.Evidence != nil && f.Evidence.More != nil && f.Evidence.More.Text != "" {
				more = append(more, f.Question+": "+strings.TrimSuffix(f.Evidence.More.Text, "."))
			}
		}
	}
	n, planned := blocksIn(in), in.Study.Blocks.Count
	if in.AfterBlock > 0 {
		n = min(n, in.AfterBlock)
	}
	mode := in.Study.Risk.Mode
	looking := mode == "sequential" || mode == "group-sequential"
	switch {
	case asked == 0:
		return Next{"go-on", "no question rests on a measured response"}
	case n < minBlocksForVerdict:
		return Next{"go-on", fmt.Sprintf("%d blocks are in; %d are the least for a verdict", n, minBlocksForVerdict)}
	case looking && len(open) == 0:
		return Next{"stop", fmt.Sprintf("every question is settled after %d blocks: you may stop", n)}
	case !looking && n < planned:
		return Next{"go-on", fmt.Sprintf("%d of %d planned blocks are in; a fixed plan is answered at its end", n, planned)}
	case !looking && len(open) == 0:
		return Next{"stop", "the planned blocks are in and every question is settled"}
	}
	text := "not settled: " + strings.Join(open, ", ")
	if len(more) == 1 && len(open) == 1 {
		_, alone, _ := strings.Cut(more[0], ": ")
		text += ". " + alone
	} else if len(more) > 0 {
		text += ". " + strings.Join(more, "; ")
	}
	if mode == "group-sequential" {
		if i := slices.IndexFunc(in.Study.Risk.Looks, func(l int) bool { return l > n }); i >= 0 {
			text += fmt.Sprintf(". The next look is at %d blocks", in.Study.Risk.Looks[i])
		} else {
			return Next{"stop", text + ". The last planned look has been taken"}
		}
	}
	if n >= planned && planned > 0 && mode == "" || n >= planned && mode == "fixed" {
		return Next{"stop", text + ". The planned blocks are in; more of them switch to the interval for continued looking"}
	}
	return Next{"go-on", text}
}

// unasked notes readings that are recorded and belong to no sealed question.
func unasked(in Input) []fault.Note {
	var names []string
	for _, d := range in.Study.Readings {
		if !slices.ContainsFunc(in.Study.Questions, func(q study.Question) bool { return q.Response == d.ID }) {
			names = append(names, d.ID)
		}
	}
	if len(names) == 0 {
		return nil
	}
	return []fault.Note{fault.Notef("exploratory", "%d readings are recorded that no question asks about (%s): whatever they show was picked afterwards and is exploratory", len(names), strings.Join(names, ", "))}
}

func countList(n []int) string {
	var parts []string
	for _, x := range n {
		parts = append(parts, fmt.Sprint(x))
	}
	return strings.Join(parts, ", ")
}
