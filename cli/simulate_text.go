package cli

import (
	"fmt"
	"regexp"
	"strings"
	"text/tabwriter"

	"trivet/doneness"
	"trivet/heat"
	"trivet/quantity"
)

// system returns the units that amounts are printed in.
func (e *Env) system() quantity.System {
	if e.Fahrenheit() {
		return quantity.Customary
	}
	return quantity.Metric
}

// temperature prints a temperature in the person's unit.
func (e *Env) temperature(c float64) string {
	return quantity.FormatTemperature(quantity.Celsius(c), e.system())
}

// difference prints a difference of temperatures in the person's unit.
func (e *Env) difference(k float64) string {
	return quantity.FormatDifference(quantity.Kelvins(k), e.system())
}

func span(s float64) string { return quantity.FormatDuration(quantity.Seconds(s)) }

func simulateText(env *Env, s *simulated) {
	env.Printf("%s: %s\n\n", s.cook.Name, env.pieceText(s.cook.Spec.Piece))
	t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
	for _, e := range fewTurns(s.res.Events) {
		if e.Kind == "" {
			fmt.Fprintf(t, "  …\t\t%s\n", e.What)
			continue
		}
		fmt.Fprintf(t, "  %s\tcore %s\t%s\n", quantity.FormatSpan(quantity.Seconds(e.TimeS)), env.temperature(s.coreAt(e.TimeS)), env.inUnits(e.What))
	}
	t.Flush()
	env.Printf("\n")
	summaryText(env, s)
	momentsText(env, s)
	ledgerText(env, s)
	if s.samples != nil {
		samplesText(env, s.samples)
	}
	env.PrintNotes(s.notes)
	cautionText(env, s)
}

var celsiusInText = regexp.MustCompile(`-?\d+(\.\d+)? °C`)

// inUnits rewrites the temperatures of a sentence, which the model writes in
// °C, in the person's unit.
func (e *Env) inUnits(text string) string {
	if !e.Fahrenheit() {
		return text
	}
	return celsiusInText.ReplaceAllStringFunc(text, func(t string) string {
		c, err := quantity.ParseTemperature(t)
		if err != nil {
			return t
		}
		return quantity.FormatTemperature(c, quantity.Customary)
	})
}

// fewTurns shortens a run of more than eight turns to its first and last
// three; an event without a kind stands for those left out.
func fewTurns(all []heat.Event) []heat.Event {
	var out []heat.Event
	for i := 0; i < len(all); {
		j := i
		for j < len(all) && all[j].Kind == heat.Turned {
			j++
		}
		switch run := all[i:j]; {
		case len(run) > 8:
			out = append(out, run[:3]...)
			out = append(out, heat.Event{What: fmt.Sprintf("%d more turns", len(run)-6)})
			out = append(out, run[len(run)-3:]...)
		case len(run) > 0:
			out = append(out, run...)
		default:
			out = append(out, all[i])
			j++
		}
		i = j
	}
	return out
}

func (e *Env) pieceText(p heat.Piece) string {
	size := quantity.FormatLength(quantity.Metres(p.ThicknessM), e.system()) + " thick"
	if p.Shape == heat.Disc {
		size += ", " + quantity.FormatLength(quantity.Metres(p.DiameterM), e.system()) + " across"
	}
	what := p.Food
	switch {
	case what == "" && p.Composition != nil:
		what = "by its composition"
	case what == "":
		what = "a material of its own"
	}
	start := e.temperature(p.StartC)
	if len(p.StartProfile) > 0 {
		start = "a measured profile"
	}
	return fmt.Sprintf("%s, a %s %s, from %s", what, p.Shape, size, start)
}

func summaryText(env *Env, s *simulated) {
	u := s.res.Summary
	end := endOf(s.res)
	say := func(format string, args ...any) { env.Printf("%s", wrapped("", fmt.Sprintf(format, args...), 78)) }
	when := "at the end"
	if u.PullTimeS != nil && u.CoreAtPullC != nil {
		when = "at the pull"
		line := fmt.Sprintf("Pulled after %s with the core at %s.", span(*u.PullTimeS), env.temperature(*u.CoreAtPullC))
		if u.CarryoverK != nil && u.CorePeakC != nil && u.TimeToPeakS != nil {
			line += fmt.Sprintf(" It goes on to %s, %s more, %s after the pull.", env.temperature(*u.CorePeakC), strings.TrimPrefix(env.difference(*u.CarryoverK), "+"), span(*u.TimeToPeakS))
		}
		say("%s", line)
	} else {
		say("Ends after %s with the core at %s.", span(end), env.temperature(s.coreAt(end)))
	}
	band := strings.TrimPrefix(env.difference(u.EvenBandK), "+")
	say("%.0f %% of the thickness lies within %s of the core %s. The surface is at %s at the end.", u.EvenSharePct, band, when, env.temperature(u.SurfaceAtEndC))
	if s.cook.Spec.Moisture.On {
		say("It loses %.1f %% of its mass: %.1f %% drips, %.1f %% evaporates and %.1f %% boils off.", u.LossPct, u.DripPct, u.EvaporatedPct, u.BoiledPct)
	}
}

func momentsText(env *Env, s *simulated) {
	if len(s.moments) == 0 {
		return
	}
	env.Printf("\n")
	t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
	for _, m := range s.moments {
		row := "  core " + m.word + "\t" + env.temperature(s.coreAt(m.timeS))
		if s.model.HasMuscle() {
			row += "\t" + s.model.Words(m.core)
		}
		fmt.Fprintln(t, row)
	}
	t.Flush()
	last := s.moments[len(s.moments)-1]
	env.Printf("  faces %s: A %s, B %s\n", last.word, s.browned(last.done.FaceA), s.browned(last.done.FaceB))
	env.Printf("%s", wrapped("  ", doneness.BrowningCaution+" "+doneness.ColourCaution, 78))
}

// browned says how a face has browned.
func (s *simulated) browned(st doneness.State) string {
	c := s.model.Changes(st)
	return c[len(c)-1].Says
}

func ledgerText(env *Env, s *simulated) {
	l, unit, scale := s.res.LedgerJ, "kJ", 1e-3
	if l == nil {
		l, unit = s.res.LedgerM, "kJ/m²"
	}
	if l == nil {
		return
	}
	env.Printf("\nWhere the heat went, %s\n", unit)
	for _, r := range []struct {
		name string
		v    float64
	}{
		{"in by the bottom face", l.Bottom.In}, {"in by the top face", l.Top.In}, {"in by the rim", l.Rim.In},
		{"out with evaporated water", -l.Evaporation}, {"out with boiled water", -l.Boiling}, {"out with drip", -l.Drip}, {"kept", -l.Stored},
	} {
		if r.v != 0 {
			env.Printf("%10s  %s\n", strings.Replace(fmt.Sprintf("%.1f", r.v*scale), "-", "−", 1), r.name)
		}
	}
}

// responseNames are the words for sampled responses.
var responseNames = map[string]string{
	"pull_time_s": "time to the pull", "core_at_pull_c": "core at the pull", "core_peak_c": "core at its peak", "carryover_k": "carryover",
	"time_to_peak_s": "time from pull to peak", "surface_at_end_c": "surface at the end", "even_share_pct": "even share",
	"loss_pct": "loss", "drip_pct": "drip", "evaporated_pct": "evaporated", "boiled_pct": "boiled off",
}

func samplesText(env *Env, m *heat.Samples) {
	env.Printf("\n%d sampled cooks, seed %d: middle and 90 %% of them\n", m.N-m.Failed, m.Seed)
	t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
	for _, r := range m.Responses {
		show := func(v float64) string { return env.responseValue(r.ID, v) }
		by := ""
		if len(r.Drivers) > 0 {
			by = fmt.Sprintf("mostly by %s (rank correlation %+.2f)", r.Drivers[0].Field, r.Drivers[0].Rho)
		}
		fmt.Fprintf(t, "  %s\t%s\t%s … %s\t%s\n", responseNames[r.ID], show(r.Median), show(r.Low), show(r.High), by)
	}
	t.Flush()
}

// responseValue prints a response by the unit that its name ends in.
func (e *Env) responseValue(id string, v float64) string {
	switch {
	case strings.HasSuffix(id, "_c"):
		return e.temperature(v)
	case strings.HasSuffix(id, "_k"):
		return e.difference(v)
	case strings.HasSuffix(id, "_s"):
		return span(v)
	}
	return fmt.Sprintf("%.1f %%", v)
}

func cautionText(env *Env, s *simulated) {
	if len(s.caution) == 0 {
		return
	}
	env.Printf("\n")
	if s.minimum != nil {
		env.Printf("%s", wrapped("", fmt.Sprintf("The coldest point is predicted to reach %s; %s. A prediction is not a measurement.",
			env.temperature(s.coldestPeakC()), s.minimum.Describe()), 78))
	}
	for _, c := range s.caution {
		env.Printf("%s", wrapped("", c.Title+": "+c.Text, 78))
	}
}
