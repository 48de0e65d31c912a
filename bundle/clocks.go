package bundle

import (
	"slices"
	"time"

	"trivet/measure"
	"trivet/study"
	"trivet/trace"
)

// clockTable is in packages with corrected clocks alone, so that one without
// is the same bytes as it ever was.
var clockTable = table[part[study.ClockFix]]{
	name: "clocks", title: "Clocks", about: "Corrections of the clocks of logs and marks, oldest first. " +
		"The newest of a clock that was not undone stands: a time t of the clock becomes t + offset_us + (t − anchor_us) × rate. Samples and marks in this package are as they were recorded.",
	foreignKeys: ofCook,
	columns: cookColumns(
		text("id", "UUID of the correction", func(r *part[study.ClockFix]) *string { return &r.is.ID }),
		text("clock", `whose times are mapped: SHA-256 of a log, or "marks" for what a person entered`, func(r *part[study.ClockFix]) *string { return &r.is.Clock }),
		text("to", "the clock they are mapped onto, itself corrected by what stands for it; empty: the cook's own", func(r *part[study.ClockFix]) *string { return &r.is.To }),
		integer("anchor_us", "time of the clock from which the drift counts", func(r *part[study.ClockFix]) *int64 { return &r.is.AnchorUS }).unit("us"),
		integer("offset_us", "what is added there", func(r *part[study.ClockFix]) *int64 { return &r.is.OffsetUS }).unit("us"),
		number("rate", "drift: what is added for each unit of time from there", func(r *part[study.ClockFix]) *float64 { return &r.is.Rate }),
		yesNo("elapsed", "whether mapped times count from the start of a log; otherwise since 1970-01-01 UTC", func(r *part[study.ClockFix]) *bool { return &r.is.Elapsed }),
		text("method", "marks, turns, signal, or set by hand", func(r *part[study.ClockFix]) *string { return &r.is.Method }),
		integer("points", "events or stretches it rests on", func(r *part[study.ClockFix]) *int { return &r.is.Points }),
		number("rms_us", "residual: root mean square distance of the points", func(r *part[study.ClockFix]) *float64 { return &r.is.RMSUS }).unit("us"),
		integer("worst_us", "largest distance", func(r *part[study.ClockFix]) *int64 { return &r.is.WorstUS }).unit("us"),
		integer("mid_us", "time of the clock at which the offset is known best", func(r *part[study.ClockFix]) *int64 { return &r.is.MidUS }).unit("us"),
		number("offset_u_us", "standard uncertainty of a time mapped there", func(r *part[study.ClockFix]) *float64 { return &r.is.OffsetUUS }).unit("us"),
		number("rate_u", "standard uncertainty of the rate", func(r *part[study.ClockFix]) *float64 { return &r.is.RateU }),
		text("note", "what is doubtful about it", func(r *part[study.ClockFix]) *string { return &r.is.Note }),
		text("by", "who set it", func(r *part[study.ClockFix]) *string { return &r.is.By }),
		instant("at", "when", func(r *part[study.ClockFix]) *time.Time { return &r.is.At }),
		text("undone_by", "who undid it", func(r *part[study.ClockFix]) *string { return &r.is.UndoneBy }),
		instant("undone_at", "when it was undone; empty: it was not", func(r *part[study.ClockFix]) *time.Time { return &r.is.UndoneAt }),
	),
}

// clocks writes the corrections of every cook.
func (w *writer) clocks(from source) error {
	rows := partsOf(from.rec, func(k *study.Cook) []study.ClockFix { return k.Clocks })
	if len(rows) == 0 {
		return nil
	}
	return putTable(w, &clockTable, rows)
}

// clocks deals the corrections to their cooks.
func (p *Package) clocks(cooks map[string]*study.Cook) error {
	if p.sums[clockTable.path()] == "" {
		return nil
	}
	return eachPart(p, &clockTable, cooks, func(k *study.Cook, f study.ClockFix) { k.Clocks = append(k.Clocks, f) })
}

// formatOf is the version of the layout that a record needs: a reader that
// does not know of clocks would get other answers from one with corrections.
func formatOf(cooks []study.Cook) int {
	for _, k := range cooks {
		if len(k.Clocks) > 0 {
			return FormatVersion
		}
	}
	return formatWithoutClocks
}

// correctedSeconds are the times of samples from heat on with the clock of
// their log corrected, µs; nil where that changes nothing.
func correctedSeconds(k *study.Cook, t *trace.Trace) []int64 {
	if !k.ZeroSet || len(k.Clocks) == 0 {
		return nil
	}
	in, notes := measure.OneClock(measure.Input{Cook: *k, Traces: []trace.Trace{*t}})
	if len(notes) == 0 || in.Traces[0].Elapsed != (in.Cook.ZeroUS < elapsedBelowUS) {
		return nil
	}
	out := slices.Clone(in.Traces[0].TimesUS)
	for i := range out {
		out[i] -= in.Cook.ZeroUS
	}
	return out
}

// elapsedBelowUS tells a time since a log began from one of day: no log runs
// for 30 years.
const elapsedBelowUS = 30 * 365 * 24 * 3600 * 1e6
