package cli

import (
	"context"
	"fmt"

	"trivet/bench"
	"trivet/fault"
	"trivet/measure"
)

// suggestClock tells how the clock of a log just loaded fits those the cook
// had: what correction it would take, and how well that is known. Nothing is
// corrected. It is nil for the first log of a cook.
func suggestClock(ctx context.Context, env *Env, nb bench.Notebook, studyID string, got *bench.Loaded) (any, error) {
	if len(got.Cook.Logs) < 2 {
		return nil, nil
	}
	tell := func(format string, args ...any) {
		if !env.JSON {
			env.Printf(format, args...)
		}
	}
	rec, err := nb.Record(ctx, studyID)
	if err != nil {
		return nil, err
	}
	in, err := bench.CookInput(ctx, nb, rec, got.Cook)
	if err != nil {
		return nil, err
	}
	fix, why := bench.SuggestClock(in, got.Log.SHA256)
	if fix == nil {
		if f := fault.As(why); f != nil {
			tell("  its clock could not be compared with the cook's others: %s\n", f.Message)
			return map[string]any{"why_not": f.Message}, nil
		}
		return nil, why
	}
	c, err := bench.FindClock(bench.Clocks(in, nil), fix.Clock)
	if err != nil {
		return nil, err
	}
	onto := measure.ClockName(got.Cook, fix.To)
	rests := fmt.Sprintf("residual %s s", tidy(fix.RMSUS/1e6))
	if fix.Points < 2 {
		rests = "from one comparison, without a residual"
	}
	agrees := bench.Agrees(*fix, c.FromUS, c.ToUS)
	if agrees {
		tell("  its clock agrees with that of %s: %s, %s, by %s\n", onto, measure.FixWords(*fix), rests, fix.Method)
	} else {
		tell("  its clock differs from that of %s: %s, %s, by %s\n", onto, measure.FixWords(*fix), rests, fix.Method)
	}
	if to, err := bench.FindClock(bench.Clocks(in, nil), fix.To); err == nil {
		tell("  take it with: trivet clock %s %s --align %s --to %s --yes\n", studyID, got.Cook.Label, clockArg(c), clockArg(to))
	}
	return map[string]any{"suggested": fixJSON(got.Cook, *fix), "agrees": agrees}, nil
}
