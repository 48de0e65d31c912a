package bundle

import (
	"time"

	"trivet/study"
	"trivet/trace"
)

// The tables of a package. Those of the record (cooks to history) hold it
// whole; those of the plan (lots, pieces, treatments, tastings) repeat what
// study.yaml says, for readers with a spreadsheet, and are not read back.

var ofCook = []ForeignKey{to("cook_id", "cooks", "id")}

var cookTable = table[study.Cook]{
	name: "cooks", title: "Cooks", about: "One row for each cook: one piece under one treatment.",
	primaryKey: []string{"id"},
	columns: []column[study.Cook]{
		text("id", "UUID of the cook", func(k *study.Cook) *string { return &k.ID }).required().unique(),
		text("cook", "label of the cook, unique in the study", func(k *study.Cook) *string { return &k.Label }),
		text("block", "where the piece came from; treatments are compared within a block", func(k *study.Cook) *string { return &k.Block }),
		text("piece", "label of the piece", func(k *study.Cook) *string { return &k.Piece }),
		text("treatment", "id of the treatment", func(k *study.Cook) *string { return &k.Treatment }),
		oneOf(text("role", "what the cook counts as; a void cook was removed by a rule sealed beforehand", func(k *study.Cook) *study.Role { return &k.Role }),
			study.Pilot, study.Planned, study.Spare, study.Void),
		integer("run_order", "place in the run order, from 1; 0 unknown", func(k *study.Cook) *int { return &k.Order }),
		text("day", "day of the cook", func(k *study.Cook) *string { return &k.Day }),
		integer("zero_us", "heat on, on the clock of the samples: µs since 1970-01-01 UTC, or since the start of the log", func(k *study.Cook) *int64 { return &k.ZeroUS }).unit("us"),
		yesNo("zero_set", "whether heat on is known", func(k *study.Cook) *bool { return &k.ZeroSet }),
		text("void_rule", "id of the rule that removed the cook", func(k *study.Cook) *string { return &k.VoidRule }),
		text("void_why", "why the rule applied", func(k *study.Cook) *string { return &k.VoidWhy }),
		instant("voided_at", "when the cook was removed", func(k *study.Cook) *time.Time { return &k.VoidedAt }),
		integer("line", "line of study.yaml that tells the cook; 0 none", func(k *study.Cook) *int { return &k.Line }),
	},
}

// part is a row of a table of what cooks recorded.
type part[T any] struct {
	cook  string // id
	label string // for readers
	is    T
}

func cookColumns[T any](more ...column[part[T]]) []column[part[T]] {
	return append([]column[part[T]]{
		text("cook_id", "UUID of the cook", func(r *part[T]) *string { return &r.cook }).required(),
		text("cook", "label of the cook", func(r *part[T]) *string { return &r.label }),
	}, more...)
}

var markTable = table[part[study.Mark]]{
	name: "marks", title: "Marks", about: "Timed events of the cooks. Their kinds: " +
		"heat-on, turn, fat-in, spooning-start, spooning-stop, off-heat, cut, served, note, sync.",
	foreignKeys: ofCook,
	columns: cookColumns(
		text("id", "UUID of the mark", func(r *part[study.Mark]) *string { return &r.is.ID }).unique(),
		text("kind", "what happened", func(r *part[study.Mark]) *study.MarkKind { return &r.is.Kind }).required(),
		integer("at_us", "time from heat on; negative before it", func(r *part[study.Mark]) *int64 { return &r.is.AtUS }).unit("us"),
		text("note", "remark", func(r *part[study.Mark]) *string { return &r.is.Note }),
		text("source", "typed, or detected in the samples", func(r *part[study.Mark]) *string { return &r.is.Source }),
	),
}

var weighingTable = table[part[study.Weighing]]{
	name: "weighings", title: "Weighings", about: "Masses of the pieces, in grams. Stages: " +
		"raw (before heat), off-heat, rested, cut, drip (collected), during. Losses are shares of the raw mass.",
	foreignKeys: ofCook,
	columns: cookColumns(
		text("id", "UUID of the weighing", func(r *part[study.Weighing]) *string { return &r.is.ID }).unique(),
		text("stage", "when it was weighed", func(r *part[study.Weighing]) *study.Stage { return &r.is.Stage }).required(),
		number("mass_g", "mass", func(r *part[study.Weighing]) *float64 { return &r.is.MassG }).unit("g"),
		integer("at_us", "time from heat on, if has_at", func(r *part[study.Weighing]) *int64 { return &r.is.AtUS }).unit("us"),
		yesNo("has_at", "whether the time is known", func(r *part[study.Weighing]) *bool { return &r.is.HasAt }),
		number("resolution_g", "resolution of the scale; 0 unknown", func(r *part[study.Weighing]) *float64 { return &r.is.ResG }).unit("g"),
		text("note", "remark", func(r *part[study.Weighing]) *string { return &r.is.Note }),
	),
}

// value is a row of the readings table: one value of a reading.
type value struct {
	study.Reading
	repeat int // from 1; 0 for a reading without values
	value  *float64
}

var readingTable = table[part[value]]{
	name: "readings", title: "Readings", about: "Other typed-in values. Values repeated inside one piece (same id) are averaged and count as one.",
	foreignKeys: ofCook,
	columns: cookColumns(
		text("id", "UUID of the reading; the same for its repeats", func(r *part[value]) *string { return &r.is.ID }),
		text("response", "id of the response", func(r *part[value]) *string { return &r.is.Response }),
		oneOf(text("kind", "scale of the value", func(r *part[value]) *study.ReadingKind { return &r.is.Kind }),
			study.Number, study.YesNo, study.Count, study.Grade),
		text("unit", "unit of the value", func(r *part[value]) *string { return &r.is.Unit }),
		integer("repeat", "which of the repeats, from 1; 0 when there is no value", func(r *part[value]) *int { return &r.is.repeat }).least(0),
		maybeNumber("value", "the value; 1 or 0 for yes or no; place on the scale from 1 for a grade", func(r *part[value]) **float64 { return &r.is.value }),
		list("grades", "the ordered scale of a grade, lowest first", func(r *part[value]) *[]string { return &r.is.Grades }),
		number("standard_uncertainty", "stated standard uncertainty; 0 none", func(r *part[value]) *float64 { return &r.is.StdU }),
		text("by", "pseudonym of who read it", func(r *part[value]) *string { return &r.is.By }),
		yesNo("blind", "whether the reader did not know the treatment", func(r *part[value]) *bool { return &r.is.Blind }),
	),
}

var deviationTable = table[part[study.Deviation]]{
	name: "deviations", title: "Deviations", about: "What did not go to plan.",
	foreignKeys: ofCook,
	columns: cookColumns(
		integer("at_us", "time from heat on", func(r *part[study.Deviation]) *int64 { return &r.is.AtUS }).unit("us"),
		text("what", "what happened", func(r *part[study.Deviation]) *string { return &r.is.What }),
		text("why", "why", func(r *part[study.Deviation]) *string { return &r.is.Why }),
	),
}

var logTable = table[part[study.LogRef]]{
	name: "logs", title: "Logs", about: "Which log files a cook names.",
	foreignKeys: ofCook,
	columns: cookColumns(
		text("file", "path as the cook names it", func(r *part[study.LogRef]) *string { return &r.is.File }),
		text("map", "column map that reads it; empty: guessed", func(r *part[study.LogRef]) *string { return &r.is.Map }),
		text("sha256", "SHA-256 of the file, once it was loaded", func(r *part[study.LogRef]) *string { return &r.is.SHA256 }),
	),
}

var historyTable = table[study.Event]{
	name: "history", title: "History", about: "What happened to the study, in order. Each hash is the SHA-256 of the hash before and this entry, so that a changed entry shows.",
	primaryKey: []string{"seq"},
	columns: []column[study.Event]{
		integer("seq", "number of the entry, from 1", func(e *study.Event) *int64 { return &e.Seq }).required().unique(),
		instant("at", "when", func(e *study.Event) *time.Time { return &e.At }),
		text("study", "id of the study", func(e *study.Event) *string { return &e.Study }),
		text("kind", "created, changed, sealed, looked, voided, loaded, imported …", func(e *study.Event) *study.EventKind { return &e.Kind }),
		text("what", "what happened", func(e *study.Event) *string { return &e.What }),
		text("detail", "JSON", func(e *study.Event) *string { return &e.Detail }),
		text("hash", "SHA-256, hex", func(e *study.Event) *string { return &e.Hash }),
	},
}

// channel is a row of the channels table: one trace of one cook.
type channel struct {
	trace.Trace
	number  int
	file    string
	column  string
	samples int
}

var channelTable = table[part[channel]]{
	name: "channels", title: "Channels", about: "Every sensor of every cook, and the file and column its samples are in.",
	foreignKeys: append([]ForeignKey{to("source", "raw", "sha256")}, ofCook...),
	primaryKey:  []string{"cook_id", "number"},
	columns: cookColumns(
		integer("number", "number of the channel in the cook, from 1", func(r *part[channel]) *int { return &r.is.number }).required().least(1),
		text("file", "path of the samples", func(r *part[channel]) *string { return &r.is.file }).required(),
		text("column", "column of the samples", func(r *part[channel]) *string { return &r.is.column }).required(),
		text("channel", "id of the channel", func(r *part[channel]) *string { return &r.is.Channel.ID }),
		text("place", "what the sensor measures: core, depth, surface, pan, air, fat, bath, scale, other", func(r *part[channel]) *trace.Place { return &r.is.Channel.Place }),
		text("unit", "unit of the samples: degC, degF, K, g, oz, pct, W", func(r *part[channel]) *trace.Unit { return &r.is.Channel.Unit }),
		number("depth_m", "depth from side A, of place depth", func(r *part[channel]) *float64 { return &r.is.Channel.DepthM }).unit("m"),
		text("side", "A (the side that starts down) or B, of place surface", func(r *part[channel]) *string { return &r.is.Channel.Side }),
		text("sensor", "instrument", func(r *part[channel]) *string { return &r.is.Channel.Sensor }),
		text("class", "tolerance class of the sensor", func(r *part[channel]) *string { return &r.is.Channel.Class }),
		number("offset_k", "reading minus truth found at the ice point; not yet subtracted from the samples", func(r *part[channel]) *float64 { return &r.is.Channel.OffsetK }).unit("K"),
		number("checked_u_k", "standard uncertainty of that check; 0: not checked", func(r *part[channel]) *float64 { return &r.is.Channel.CheckedUK }).unit("K"),
		text("source_name", "column or topic the samples came from", func(r *part[channel]) *string { return &r.is.Channel.SourceName }),
		yesNo("elapsed", "whether times count from the start of the log; otherwise since 1970-01-01 UTC", func(r *part[channel]) *bool { return &r.is.Elapsed }),
		integer("utc_offset_min", "recorded offset from UTC", func(r *part[channel]) *int { return &r.is.OffsetMin }).unit("min"),
		number("quantum", "resolution: every sample is a whole multiple of it", func(r *part[channel]) *float64 { return &r.is.Quantum }),
		text("source", "SHA-256 of the log", func(r *part[channel]) *string { return &r.is.Source }),
		integer("samples", "number of samples", func(r *part[channel]) *int { return &r.is.samples }).least(0),
	),
}

// rawRow is a row of the table of logs as they came.
type rawRow struct {
	sha256, name, file string
	bytes              int
}

var rawTable = table[rawRow]{
	name: "raw", title: "Raw logs", about: "The logs exactly as they came, byte for byte.",
	primaryKey: []string{"sha256"},
	columns: []column[rawRow]{
		text("sha256", "SHA-256 of the log, hex", func(r *rawRow) *string { return &r.sha256 }).required().unique(),
		text("name", "name it came under", func(r *rawRow) *string { return &r.name }),
		text("file", "path in the package", func(r *rawRow) *string { return &r.file }).required(),
		integer("bytes", "size", func(r *rawRow) *int { return &r.bytes }).unit("By").least(0),
	},
}

var lotTable = table[study.Lot]{
	name: "lots", title: "Lots", about: "Where the food came from. From study.yaml.",
	primaryKey: []string{"lot"},
	columns: []column[study.Lot]{
		text("lot", "id of the lot", func(l *study.Lot) *string { return &l.ID }).required(),
		text("what", "what it is", func(l *study.Lot) *string { return &l.What }),
		text("bought", "when", func(l *study.Lot) *string { return &l.Bought }),
		text("note", "remark", func(l *study.Lot) *string { return &l.Note }),
	},
}

var pieceTable = table[study.Piece]{
	name: "pieces", title: "Pieces", about: "The experimental units. From study.yaml.",
	primaryKey: []string{"piece"},
	columns: []column[study.Piece]{
		text("piece", "label of the piece", func(p *study.Piece) *string { return &p.Label }).required(),
		text("lot", "lot it came from", func(p *study.Piece) *string { return &p.Lot }),
		text("block", "block it belongs to", func(p *study.Piece) *string { return &p.Block }),
		text("position", "position in the muscle", func(p *study.Piece) *string { return &p.Position }),
		list("thickness_m", "thickness at several points, m", func(p *study.Piece) *[]float64 { return &p.ThicknessM }),
		number("mass_kg", "raw mass", func(p *study.Piece) *float64 { return &p.MassKg }).unit("kg"),
		maybeNumber("start_c", "start temperature", func(p *study.Piece) **float64 { return &p.StartC }).unit("Cel"),
		text("twin", "label of the probed twin of a piece for tasting", func(p *study.Piece) *string { return &p.Twin }),
		yesNo("spare", "whether it is a spare", func(p *study.Piece) *bool { return &p.Spare }),
	},
}

var treatmentTable = table[study.Treatment]{
	name: "treatments", title: "Treatments", about: "What is compared. From study.yaml.",
	primaryKey: []string{"treatment"},
	columns: []column[study.Treatment]{
		text("treatment", "id of the treatment", func(t *study.Treatment) *string { return &t.ID }).required(),
		text("name", "name", func(t *study.Treatment) *string { return &t.Name }),
		yesNo("control", "whether it is the control", func(t *study.Treatment) *bool { return &t.Control }),
		text("cook_file", "path of its cook file", func(t *study.Treatment) *string { return &t.Cook }),
	},
}

var tastingTable = table[study.Tasting]{
	name: "tastings", title: "Tastings", about: "Blind tastings and their outcomes. From study.yaml.",
	primaryKey: []string{"tasting"},
	columns: []column[study.Tasting]{
		text("tasting", "id of the tasting", func(t *study.Tasting) *string { return &t.ID }).required(),
		text("question", "question it answers", func(t *study.Tasting) *string { return &t.Question }),
		text("method", "method", func(t *study.Tasting) *string { return &t.Method }),
		integer("answers", "number of answers", func(t *study.Tasting) *int { return &t.N }),
		integer("correct", "number of correct answers", func(t *study.Tasting) *int { return &t.Correct }),
		list("cooks", "labels of the cooks the samples came from", func(t *study.Tasting) *[]string { return &t.Cooks }),
		yesNo("closed", "whether it is closed", func(t *study.Tasting) *bool { return &t.Closed }),
		text("note", "remark", func(t *study.Tasting) *string { return &t.Note }),
	},
}
