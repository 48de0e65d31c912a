package web

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"trivet/bench"
	"trivet/fault"
	"trivet/quantity"
	"trivet/study"
	"trivet/tasting"
)

// entryRow is one thing typed into a cook, with its form: what stands there,
// or what somebody typed over it and was refused.
type entryRow struct {
	ID   string // of the entry; "" of a new one
	Seen string // the entry as the form shows it
	Says string
	At   string
	By   string
	// In are the fields of the form.
	In    map[string]string
	Open  bool
	Error *fault.Error
	Kinds []choice // a select's options
}

// undoRow is an entry of the history of a cook.
type undoRow struct {
	When, At, What string // At as a machine reads it
	Seq            int64  // of a change that can be undone; 0 of any other
}

// stampOf tells one version of an entry from another.
func stampOf(entry any) string {
	b, err := json.Marshal(entry)
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:6])
}

var weighingStages = []study.Stage{study.Untrimmed, study.Unblotted, study.Raw, study.AtPull, study.AfterRest, study.AfterCut, study.Drip, study.DuringCook}

func stageWords(s study.Stage) string { return say("stage-" + string(s)) }

// handMoments are when a temperature is read by hand, and handPlaces where.
var (
	handMoments = []string{"raw", "off-heat", "rested", "served"}
	handPlaces  = []string{"core", "surface", "pan", "air"}
)

// readingsOf are the readings that can be typed into a cook: those the study
// declares, and temperatures read by hand at one point and moment.
func readingsOf(s *study.Study) []study.ReadingDef {
	out := slices.Clone(s.Readings)
	for _, place := range handPlaces {
		for _, moment := range handMoments {
			out = append(out, study.ReadingDef{ID: place + "_by_hand_" + moment, What: say("by-hand", place, say("moment-"+moment)), Kind: study.Number, Unit: "°C"})
		}
	}
	return out
}

func readingDef(s *study.Study, id string) (study.ReadingDef, bool) {
	all := readingsOf(s)
	i := slices.IndexFunc(all, func(d study.ReadingDef) bool { return d.ID == id })
	if i < 0 {
		return study.ReadingDef{}, false
	}
	return all[i], true
}

// readingName is a reading as a person calls it.
func readingName(s *study.Study, r study.Reading) string {
	if d, ok := readingDef(s, r.Response); ok && d.What != "" {
		return d.What
	}
	return strings.NewReplacer("_", " ", "-", " ").Replace(r.Response)
}

// readingText is the values of a reading, as they can be typed in again.
func readingText(r study.Reading, u units) string {
	var out []string
	for _, v := range r.Values {
		text := ""
		switch {
		case r.Kind == study.YesNo:
			text = map[bool]string{true: "yes", false: "no"}[v != 0]
		case r.Kind == study.Grade && v >= 1 && int(v) <= len(r.Grades):
			text = r.Grades[int(v)-1]
		case r.Kind == study.Number:
			shown, unit := u.shown(v, r.Unit)
			text = exactly(shown) + " " + unit
			if r.StdU > 0 {
				width, _ := u.shownWidth(r.StdU, r.Unit)
				text += " ± " + exactly(width) + " " + unit
			}
		default:
			text = exactly(v)
		}
		out = append(out, text)
	}
	return strings.Join(out, "; ")
}

// entryRows fills in what was typed into a cook. Where a form was refused, it
// stands open with what was typed and why.
func entryRows(v *cookView, rec *bench.Record, c *study.Cook, u units, at saved) {
	refused := func(row entryRow, form, key string) entryRow {
		if at.Form == form && at.In[key] == row.ID {
			row.Open, row.Error, row.In = true, at.Error, at.In
		}
		return row
	}
	var stages, readable []choice
	for _, k := range weighingStages {
		stages = append(stages, choice{string(k), stageWords(k)})
	}
	for _, d := range readingsOf(rec.Study) {
		name := d.What
		if name == "" {
			name = strings.NewReplacer("_", " ", "-", " ").Replace(d.ID)
		}
		readable = append(readable, choice{d.ID, name})
	}
	weighings := slices.Clone(c.Weighings)
	slices.SortStableFunc(weighings, func(a, b study.Weighing) int {
		return slices.Index(weighingStages, a.Stage) - slices.Index(weighingStages, b.Stage)
	})
	for _, x := range weighings {
		row := entryRow{ID: x.ID, Seen: stampOf(x), Says: stageWords(x.Stage), Kinds: stages,
			In: map[string]string{"stage": string(x.Stage), "mass": exactly(x.MassG) + " g", "note": x.Note}}
		if x.HasAt {
			row.At = clockOf(x.AtUS)
			row.In["at"] = row.At
		}
		if x.ResG > 0 {
			row.In["resolution"] = exactly(x.ResG) + " g"
		}
		v.Weighings = append(v.Weighings, refused(row, "weighings", "weighing"))
	}
	v.NewWeighing = refused(entryRow{In: map[string]string{"stage": string(nextStage(c)), "resolution": exactly(resolutionOf(c)) + " g"}, Kinds: stages}, "weighings", "weighing")
	for _, x := range c.Readings {
		row := entryRow{ID: x.ID, Seen: stampOf(x), Says: readingName(rec.Study, x), By: x.By, Kinds: readable,
			In: map[string]string{"response": x.Response, "values": readingText(x, u), "by": x.By}}
		if x.Blind {
			row.In["blind"] = "yes"
		}
		if !slices.ContainsFunc(readable, func(c choice) bool { return c.Value == x.Response }) {
			row.Kinds = append([]choice{{x.Response, row.Says}}, readable...)
		}
		v.Readings = append(v.Readings, refused(row, "readings", "reading"))
	}
	v.NewReading = refused(entryRow{In: map[string]string{}, Kinds: readable}, "readings", "reading")
	v.ReadingHint = say("reading-hint", u.degrees(), u.lengthUnit())
	for _, x := range c.Deviations {
		row := entryRow{ID: stampOf(x), Seen: stampOf(x), Says: x.What, In: map[string]string{"what": x.What, "why": x.Why}}
		if x.AtUS != 0 {
			row.At = clockOf(x.AtUS)
			row.In["at"] = row.At
		}
		v.Deviations = append(v.Deviations, refused(row, "deviations", "deviation"))
	}
	v.NewDeviation = refused(entryRow{In: map[string]string{}}, "deviations", "deviation")
}

// nextStage is the weighing that a cook lacks first.
func nextStage(c *study.Cook) study.Stage {
	for _, k := range []study.Stage{study.Raw, study.AtPull, study.AfterRest, study.AfterCut, study.Drip} {
		if !slices.ContainsFunc(c.Weighings, func(w study.Weighing) bool { return w.Stage == k }) {
			return k
		}
	}
	return study.Raw
}

// undoRows are what happened to a cook, the latest first. What a cook counts
// as is taken back by the lead alone.
func undoRows(rec *bench.Record, c *study.Cook, lead bool) []undoRow {
	can := map[int64]bool{}
	mine := map[int64]bool{}
	for _, x := range bench.Changes(rec.Events, *c) {
		mine[x.Event.Seq], can[x.Event.Seq] = true, x.CanUndo && (lead || !ofStanding(x.Change))
	}
	var out []undoRow
	for _, e := range slices.Backward(rec.Events) {
		if !mine[e.Seq] && !namesCook(e.What, c.Label) {
			continue
		}
		row := undoRow{When: momentWords(e.At), At: e.At.Format(time.RFC3339), What: sentenceOf(e.What)}
		if can[e.Seq] {
			row.Seq = e.Seq
		}
		out = append(out, row)
	}
	return out
}

// namesCook tells whether a sentence names a cook, and not one whose label
// merely begins alike.
func namesCook(what, label string) bool {
	for rest := what; ; {
		i := strings.Index(rest, label)
		if i < 0 || label == "" {
			return false
		}
		before, after := rest[:i], rest[i+len(label):]
		if (before == "" || !wordEnd(before[len(before)-1])) && (after == "" || !wordEnd(after[0])) {
			return true
		}
		rest = after
	}
}

func wordEnd(b byte) bool {
	return b == '-' || b == '_' || b >= '0' && b <= '9' || b >= 'a' && b <= 'z' || b >= 'A' && b <= 'Z'
}

// edited is a change that a form asks for: what it is and how to say it.
type edited struct {
	bench.Change
	what string
}

// saveMark moves, adds or removes a mark.
func (d *Desk) saveMark(w http.ResponseWriter, r *http.Request) {
	d.editEntry(w, r, "marks", func(rec *bench.Record, c *study.Cook) (edited, error) {
		atUS, err := parseClock(r.FormValue("at"))
		if err != nil && r.FormValue("do") != "remove" {
			return edited{}, err
		}
		id := r.FormValue("mark")
		if id == "" {
			kind := study.MarkKind(r.FormValue("kind"))
			if !slices.Contains(markKinds, kind) {
				return edited{}, fault.New("mark-kind", "%s", say("mark-kind-unknown")).On("kind", string(kind)).WithFix("%s", say("mark-unknown-fix"))
			}
			m := study.Mark{ID: bench.NewID(d.s.opt.Now(), c.Label+" "+string(kind)), Kind: kind, AtUS: atUS, Source: "typed", Note: strings.TrimSpace(r.FormValue("note"))}
			return edited{bench.Change{After: &bench.Entry{Mark: &m}}, say("mark-added", string(kind), c.Label, clockOf(atUS))}, nil
		}
		i := slices.IndexFunc(c.Marks, func(m study.Mark) bool { return m.ID == id })
		if i < 0 {
			return edited{}, fault.New("mark-unknown", "%s", say("mark-unknown")).On("mark", id).WithFix("%s", say("mark-unknown-fix"))
		}
		was := c.Marks[i]
		if was.Kind == study.HeatOn {
			return edited{}, fault.New("heat-on-fixed", "%s", say("heat-on-fixed")).On("mark", string(was.Kind)).WithFix("%s", say("heat-on-fixed-fix"))
		}
		if r.FormValue("do") == "remove" {
			return edited{bench.Change{Before: &bench.Entry{Mark: &was}}, say("mark-removed", string(was.Kind), c.Label, clockOf(was.AtUS))}, nil
		}
		if text := r.FormValue("was"); text != "" { // somebody else may have moved it
			if before, err := parseClock(text); err == nil && absUS(before-was.AtUS) > 1_000_000 {
				return edited{}, fault.New("edited-meanwhile", "%s", say("mark-meanwhile", clockOf(was.AtUS))).On("at", r.FormValue("at")).WithFix("%s", say("mark-meanwhile-fix"))
			}
		}
		if was.AtUS == atUS {
			return edited{}, nil
		}
		m := was
		m.AtUS, m.Source = atUS, "typed"
		return edited{bench.Change{Before: &bench.Entry{Mark: &was}, After: &bench.Entry{Mark: &m}}, say("mark-moved", string(was.Kind), c.Label, clockOf(was.AtUS), clockOf(atUS))}, nil
	})
}

var markKinds = []study.MarkKind{study.Turn, study.FatIn, study.SpooningStart, study.SpooningStop, study.OffHeat, study.Cut, study.Served, study.NoteMark, study.Sync}

func absUS(v int64) int64 {
	if v < 0 {
		return -v
	}
	return v
}

// parseClock reads 6:30, −0:45 or "390 s" as microseconds from heat on.
func parseClock(text string) (int64, error) {
	t := strings.TrimSpace(strings.ReplaceAll(text, "−", "-"))
	sign := int64(1)
	if rest, ok := strings.CutPrefix(t, "-"); ok {
		sign, t = -1, rest
	}
	dur, err := quantity.ParseDuration(t)
	if err != nil {
		if f := fault.As(err); f != nil {
			return 0, f.On("at", text)
		}
		return 0, err
	}
	return sign * int64(math.Round(dur.S()*1e6)), nil
}

// seen refuses a form that was made before somebody else changed the entry.
func seen(r *http.Request, entry any, now string) error {
	if r.FormValue("seen") == stampOf(entry) {
		return nil
	}
	return fault.New("edited-meanwhile", "%s", say("entry-meanwhile", now)).WithFix("%s", say("entry-meanwhile-fix"))
}

func entryGone() error {
	return fault.New("entry-unknown", "%s", say("entry-unknown")).WithFix("%s", say("mark-unknown-fix"))
}

// typedMass reads a mass; an error names its field.
func typedMass(field, text string) (g float64, err error) {
	m, err := quantity.ParseMass(text)
	if f := fault.As(err); f != nil {
		return 0, f.On(field, text)
	}
	if err == nil && m.Kg() < 0 {
		err = fault.New("mass-negative", "%s", say("mass-negative")).On(field, text).WithFix("%s", say("mass-negative-fix"))
	}
	return 1000 * m.Kg(), err
}

// typedWeighing is a weighing as it was typed; field names the fields of the
// form "mass", "resolution" and "at" for what is wrong with them.
func typedWeighing(c *study.Cook, x study.Weighing, mass, resolution, at string, field func(string) string) (study.Weighing, error) {
	var err error
	if x.MassG, err = typedMass(field("mass"), mass); err != nil {
		return x, err
	}
	if x.MassG == 0 && x.Stage != study.Drip {
		return x, fault.New("mass-zero", "%s", say("mass-zero")).On(field("mass"), mass).WithFix("%s", say("mass-negative-fix"))
	}
	if x.ResG = resolutionOf(c); strings.TrimSpace(resolution) != "" {
		if x.ResG, err = typedMass(field("resolution"), strings.TrimSpace(resolution)); err != nil {
			return x, err
		}
	}
	if at = strings.TrimSpace(at); at != "" {
		if x.AtUS, err = parseClock(at); err != nil {
			if f := fault.As(err); f != nil {
				return x, f.On(field("at"), at)
			}
			return x, err
		}
		x.HasAt = true
	}
	return x, nil
}

// saveWeighing adds, corrects or removes a weighing.
func (d *Desk) saveWeighing(w http.ResponseWriter, r *http.Request) {
	d.editEntry(w, r, "weighings", func(rec *bench.Record, c *study.Cook) (out edited, err error) {
		id, remove := r.FormValue("weighing"), r.FormValue("do") == "remove"
		x := study.Weighing{ID: id, Stage: study.Stage(r.FormValue("stage")), Note: strings.TrimSpace(r.FormValue("note"))}
		var was *study.Weighing
		if id != "" {
			i := slices.IndexFunc(c.Weighings, func(o study.Weighing) bool { return o.ID == id })
			if i < 0 {
				return out, entryGone()
			}
			was = &c.Weighings[i]
			if err := seen(r, *was, stageWords(was.Stage)+", "+exactly(was.MassG)+" g"); err != nil {
				return out, err
			}
			out.Before = &bench.Entry{Weighing: was}
		}
		if remove {
			if was == nil {
				return out, entryGone()
			}
			out.what = say("weighing-removed", stageWords(was.Stage), c.Label, exactly(was.MassG)+" g")
			return out, nil
		}
		if !slices.Contains(weighingStages, x.Stage) {
			return out, fault.New("stage-unknown", "%s", say("stage-unknown")).On("stage", string(x.Stage)).WithFix("%s", say("mark-unknown-fix"))
		}
		if x, err = typedWeighing(c, x, r.FormValue("mass"), r.FormValue("resolution"), r.FormValue("at"), func(name string) string { return name }); err != nil {
			return out, err
		}
		if was == nil {
			if err := stageFree(c, x.Stage, "stage"); err != nil {
				return out, err
			}
		}
		out.After = &bench.Entry{Weighing: &x}
		if was == nil {
			x.ID = bench.NewID(d.s.opt.Now(), c.Label+" "+string(x.Stage))
			out.what = say("weighing-added", stageWords(x.Stage), c.Label, exactly(x.MassG)+" g")
			return out, nil
		}
		if bench.SameEntry(*was, x) {
			return edited{}, nil
		}
		out.what = say("weighing-changed", stageWords(was.Stage), c.Label, weighingText(*was), weighingText(x))
		return out, nil
	})
}

func weighingText(w study.Weighing) string {
	text := exactly(w.MassG) + " g"
	if w.HasAt {
		text += ", " + clockOf(w.AtUS)
	}
	return text
}

// resolutionOf is the smallest step of the scale, in grams: that of the cook's
// other weighings, else a tenth of a gram.
func resolutionOf(c *study.Cook) float64 {
	for _, w := range c.Weighings {
		if w.ResG > 0 {
			return w.ResG
		}
	}
	return 0.1
}

// saveReading adds, corrects or removes a typed reading.
func (d *Desk) saveReading(w http.ResponseWriter, r *http.Request) {
	d.editEntry(w, r, "readings", func(rec *bench.Record, c *study.Cook) (out edited, err error) {
		id, u := r.FormValue("reading"), unitsOf(r)
		var was *study.Reading
		if id != "" {
			i := slices.IndexFunc(c.Readings, func(o study.Reading) bool { return o.ID == id })
			if i < 0 {
				return out, entryGone()
			}
			was = &c.Readings[i]
			if err := seen(r, *was, readingName(rec.Study, *was)+", "+readingText(*was, u)); err != nil {
				return out, err
			}
			out.Before = &bench.Entry{Reading: was}
		}
		if r.FormValue("do") == "remove" {
			if was == nil {
				return out, entryGone()
			}
			out.what = say("reading-removed", readingName(rec.Study, *was), c.Label, readingText(*was, units{}))
			return out, nil
		}
		def, ok := readingDef(rec.Study, r.FormValue("response"))
		if !ok && was != nil && was.Response == r.FormValue("response") {
			def, ok = study.ReadingDef{ID: was.Response, Kind: was.Kind, Unit: was.Unit, Scale: was.Grades}, true
		}
		if !ok {
			return out, fault.New("reading-unknown", "%s", say("reading-unknown")).On("response", r.FormValue("response")).WithFix("%s", say("reading-unknown-fix"))
		}
		x, err := study.TypedReading(def, r.FormValue("values"), u.bare(def.Unit))
		if err != nil {
			if f := fault.As(err); f != nil {
				return out, f.On("values", r.FormValue("values"))
			}
			return out, err
		}
		x.ID, x.By, x.Blind = id, strings.TrimSpace(r.FormValue("by")), r.FormValue("blind") == "yes"
		if was == nil {
			if slices.ContainsFunc(c.Readings, func(o study.Reading) bool { return o.Response == x.Response }) {
				return out, fault.New("reading-taken", "%s", say("reading-taken", readingName(rec.Study, x))).On("response", x.Response).WithFix("%s", say("reading-taken-fix"))
			}
			x.ID = bench.NewID(d.s.opt.Now(), c.Label+" "+x.Response)
			out.what = say("reading-added", readingName(rec.Study, x), c.Label, readingText(x, units{}))
		} else {
			if bench.SameEntry(*was, x) {
				return edited{}, nil
			}
			out.what = say("reading-changed", readingName(rec.Study, *was), c.Label, readingText(*was, units{}), readingText(x, units{}))
		}
		out.After = &bench.Entry{Reading: &x}
		return out, nil
	})
}

// saveDeviation adds, corrects or removes what went otherwise than planned.
func (d *Desk) saveDeviation(w http.ResponseWriter, r *http.Request) {
	d.editEntry(w, r, "deviations", func(rec *bench.Record, c *study.Cook) (out edited, err error) {
		id := r.FormValue("deviation")
		var was *study.Deviation
		if id != "" {
			i := slices.IndexFunc(c.Deviations, func(o study.Deviation) bool { return stampOf(o) == id })
			if i < 0 {
				return out, entryGone()
			}
			was = &c.Deviations[i]
			out.Before = &bench.Entry{Deviation: was}
		}
		if r.FormValue("do") == "remove" {
			if was == nil {
				return out, entryGone()
			}
			out.what = say("deviation-removed", c.Label, was.What)
			return out, nil
		}
		x := study.Deviation{What: strings.TrimSpace(r.FormValue("what")), Why: strings.TrimSpace(r.FormValue("why"))}
		if x.What == "" {
			return out, fault.New("missing-what", "%s", say("deviation-empty")).WithFix("%s", say("deviation-empty-fix"))
		}
		if text := strings.TrimSpace(r.FormValue("at")); text != "" {
			if x.AtUS, err = parseClock(text); err != nil {
				return out, err
			}
		}
		out.After = &bench.Entry{Deviation: &x}
		if was == nil {
			out.what = say("deviation-added", c.Label, x.What)
			return out, nil
		}
		if *was == x {
			return edited{}, nil
		}
		out.what = say("deviation-changed", c.Label, was.What, x.What)
		return out, nil
	})
}

func ofStanding(ch bench.Change) bool { return ch.Before != nil && ch.Before.Standing != nil }

// undo takes back one change of the history, as long as what it changed still
// is as it left it. The undoing is a change like any other.
func (d *Desk) undo(w http.ResponseWriter, r *http.Request) {
	d.editEntry(w, r, "history", func(rec *bench.Record, c *study.Cook) (edited, error) {
		for _, x := range bench.Changes(rec.Events, *c) {
			if strconv.FormatInt(x.Event.Seq, 10) == r.FormValue("entry") && x.CanUndo && (!ofStanding(x.Change) || d.roleOf(r) == tasting.Lead) {
				return edited{x.Undone(), say("undo-done", x.Event.What)}, nil
			}
		}
		return edited{}, fault.New("undo-gone", "%s", say("undo-gone")).WithFix("%s", say("undo-gone-fix"))
	})
}

// editEntry changes one entry of a cook as a form asks.
func (d *Desk) editEntry(w http.ResponseWriter, r *http.Request, form string, change func(*bench.Record, *study.Cook) (edited, error)) {
	d.changeCook(w, r, form, func(rec *bench.Record, c *study.Cook) (string, error) {
		e, err := change(rec, c)
		if err != nil || e.what == "" {
			return "", err
		}
		return e.what, bench.Apply(r.Context(), d.nb, rec.Study.ID, *c, e.Change, e.what, d.s.opt.Now())
	})
}

// saveDay changes the day on which a cook was made.
func (d *Desk) saveDay(w http.ResponseWriter, r *http.Request) {
	d.editEntry(w, r, "day", func(rec *bench.Record, c *study.Cook) (edited, error) {
		return dayChange(c, r.FormValue("day"), r.FormValue("was"))
	})
}

// dayChange is the change of a cook's day; was is what the form showed.
func dayChange(c *study.Cook, day, was string) (edited, error) {
	day = strings.TrimSpace(day)
	if _, err := time.Parse(time.DateOnly, day); err != nil && day != "" {
		return edited{}, fault.New("day-bad", "%s", say("day-bad")).On("day", day).WithFix("%s", say("day-bad-fix"))
	}
	if day == c.Day {
		return edited{}, nil
	}
	if was != c.Day {
		return edited{}, fault.New("edited-meanwhile", "%s", say("entry-meanwhile", dayWords(c.Day))).On("day", day).WithFix("%s", say("entry-meanwhile-fix"))
	}
	return edited{bench.Change{Before: &bench.Entry{Day: &was}, After: &bench.Entry{Day: &day}}, say("day-changed", c.Label, dayWords(was), dayWords(day))}, nil
}

func dayWords(day string) string {
	if day == "" {
		return say("day-none")
	}
	return day
}

// changeCook lets a form change a cook. A script is answered in JSON, a form
// by the cook's page.
func (d *Desk) changeCook(w http.ResponseWriter, r *http.Request, form string, change func(*bench.Record, *study.Cook) (string, error)) {
	defer d.writing(r.PathValue("id"))()
	rec, c, ok := d.findCook(w, r)
	if !ok {
		return
	}
	what, err := change(rec, c)
	if err != nil {
		in := map[string]string{}
		for key := range r.PostForm {
			in[key] = r.PostFormValue(key)
		}
		d.refuseCook(w, r, form, in, err)
		return
	}
	d.doneCook(w, r, rec, c, form, what)
}

// doneCook answers a change that was made.
func (d *Desk) doneCook(w http.ResponseWriter, r *http.Request, rec *bench.Record, c *study.Cook, form, what string) {
	if wantsJSON(r) {
		reply(w, http.StatusOK, map[string]string{"done": what})
		return
	}
	to := c.Label + "#" + form
	if i := slices.IndexFunc(rec.Cooks, func(x study.Cook) bool { return x.ID == c.ID }); form == "sheet" && r.FormValue("do") == "next" && i >= 0 && i+1 < len(rec.Cooks) {
		to = rec.Cooks[i+1].Label + "?sheet=#sheet"
	}
	http.Redirect(w, r, "/studies/"+rec.Study.ID+"/cooks/"+to, http.StatusSeeOther)
}

// refuseCook answers a change that was not made, with what was typed.
func (d *Desk) refuseCook(w http.ResponseWriter, r *http.Request, form string, in map[string]string, err error) {
	f := d.s.publicFault(err)
	if wantsJSON(r) {
		reply(w, statusOf(f), map[string]errorBody{"error": bodyOf(f)})
		return
	}
	if rec, c, ok := d.findCook(w, r); ok {
		d.showCook(w, r, statusOf(f), rec, c, saved{Error: f, Form: form, In: in})
	}
}
