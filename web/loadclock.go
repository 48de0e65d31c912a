package web

import (
	"net/http"

	"trivet/bench"
	"trivet/fault"
	"trivet/measure"
	"trivet/tasting"
)

// clockOffer is how the clock of a log just loaded fits those the cook had.
// Nothing is corrected before somebody takes it.
type clockOffer struct {
	ID, Label string // study and cook
	Compared  *comparedClocks
	MayTake   bool
}

// offerClock compares the clock of a log just loaded; nil for the first log of
// a cook. What stands in the way of comparing is told and stops nothing.
func (d *Desk) offerClock(r *http.Request, study string, got *bench.Loaded) *clockOffer {
	if len(got.Cook.Logs) < 2 {
		return nil
	}
	clock := got.Log.SHA256
	out := &clockOffer{ID: study, Label: got.Cook.Label, MayTake: d.roleOf(r) == tasting.Lead,
		Compared: &comparedClocks{Clock: clock, Name: measure.ClockName(got.Cook, clock)}}
	rec, err := d.nb.Record(r.Context(), study)
	if err != nil {
		out.Compared.Error = d.s.publicFault(err)
		return out
	}
	in, err := bench.CookInput(r.Context(), d.nb, rec, got.Cook)
	if err != nil {
		out.Compared.Error = d.s.publicFault(err)
		return out
	}
	fix, why := bench.SuggestClock(in, clock)
	switch {
	case fix != nil:
		out.Compared = comparedOf(in, bench.Clocks(in, nil), *fix)
	case fault.As(why) != nil:
		out.Compared.Error = d.s.publicFault(why)
	default:
		return nil // corrected already
	}
	return out
}

func (v *loadView) offer(c *clockOffer) {
	if c != nil {
		v.Clocks = append(v.Clocks, *c)
	}
}
