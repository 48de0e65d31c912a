package web

import (
	"net/http"
	"slices"
	"strings"
	"time"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// The sheet of a cook is what was noted on paper, typed in by one form: the
// day, when things happened, weighings, what went otherwise. Each becomes an
// entry of its own, as if it had been typed into its own form.

// sheetForm is the form as it stands on the page.
type sheetForm struct {
	In     map[string]string
	Times  []choice // kinds of mark that are typed as times
	Stages []choice
	Wrong  string // the field that was refused
	Error  *fault.Error
	Open   bool
	DayIs  string
}

var (
	sheetMarks  = []study.MarkKind{study.Turn, study.FatIn, study.SpooningStart, study.SpooningStop, study.OffHeat, study.Cut, study.Served}
	sheetStages = []study.Stage{study.Raw, study.AtPull, study.AfterRest, study.AfterCut, study.Drip}
)

func sheetFormOf(c *study.Cook, at saved) sheetForm {
	f := sheetForm{In: map[string]string{"day": c.Day, "resolution": exactly(resolutionOf(c)) + " g"}, DayIs: c.Day}
	for _, k := range sheetMarks {
		f.Times = append(f.Times, choice{string(k), say("sheet-" + string(k))})
	}
	for _, k := range sheetStages {
		f.Stages = append(f.Stages, choice{string(k), say("sheet-stage-" + string(k))})
	}
	if at.Form == "sheet" {
		f.In, f.Error, f.Open = at.In, at.Error, true
		if at.Error != nil {
			f.Wrong = at.Error.Field
		}
	}
	return f
}

// saveSheet takes all that a sheet says, or nothing of it.
func (d *Desk) saveSheet(w http.ResponseWriter, r *http.Request) {
	d.changeCook(w, r, "sheet", func(rec *bench.Record, c *study.Cook) (string, error) {
		all, err := sheetChanges(r, c, d.s.opt.Now())
		if err != nil {
			return "", err
		}
		if len(all) == 0 {
			return "", fault.New("sheet-empty", "%s", say("sheet-empty")).WithFix("%s", say("sheet-empty-fix"))
		}
		return say("sheet-done", count(len(all), "entry", "entries")), bench.ApplyAll(r.Context(), d.nb, rec.Study.ID, *c, all, d.s.opt.Now())
	})
}

// sheetChanges are the changes that a sheet asks for, in the order of the form.
func sheetChanges(r *http.Request, c *study.Cook, now time.Time) ([]bench.Told, error) {
	var all []bench.Told
	add := func(e edited, err error) error {
		if err == nil && e.what != "" {
			all = append(all, bench.Told{Change: e.Change, What: e.what})
		}
		return err
	}
	if err := add(dayChange(c, r.FormValue("day"), r.FormValue("was-day"))); err != nil {
		return nil, err
	}
	mark := func(field string, kind study.MarkKind, text, by string) error {
		for _, part := range parted(text, by) {
			at, note, err := clockAndNote(part)
			if err != nil {
				return fault.New("sheet-time", "%s", say("sheet-time-bad")).On(field, part).WithFix("%s", say("sheet-time-fix"))
			}
			if kind == study.NoteMark && note == "" {
				return fault.New("sheet-note", "%s", say("sheet-note-bad")).On(field, part).WithFix("%s", say("sheet-note-fix"))
			}
			m := study.Mark{ID: bench.NewID(now, c.Label+" "+string(kind)+" "+part), Kind: kind, AtUS: at, Source: "typed", Note: note}
			if err := add(edited{bench.Change{After: &bench.Entry{Mark: &m}}, say("mark-added", string(kind), c.Label, clockOf(at))}, nil); err != nil {
				return err
			}
		}
		return nil
	}
	for _, k := range sheetMarks {
		if err := mark("mark:"+string(k), k, r.FormValue("mark:"+string(k)), ";"); err != nil {
			return nil, err
		}
	}
	if err := mark("notes", study.NoteMark, r.FormValue("notes"), "\n"); err != nil {
		return nil, err
	}
	for _, k := range sheetStages {
		mass, at := strings.TrimSpace(r.FormValue("mass:"+string(k))), strings.TrimSpace(r.FormValue("at:"+string(k)))
		if mass == "" && at == "" {
			continue
		}
		field := func(name string) string {
			if name == "mass" || name == "at" {
				return name + ":" + string(k)
			}
			return name
		}
		x, err := typedWeighing(c, study.Weighing{ID: bench.NewID(now, c.Label+" "+string(k)), Stage: k}, mass, r.FormValue("resolution"), at, field)
		if err == nil {
			err = stageFree(c, k, field("mass"))
		}
		if err := add(edited{bench.Change{After: &bench.Entry{Weighing: &x}}, say("weighing-added", stageWords(k), c.Label, exactly(x.MassG)+" g")}, err); err != nil {
			return nil, err
		}
	}
	x := study.Deviation{What: strings.TrimSpace(r.FormValue("what")), Why: strings.TrimSpace(r.FormValue("why"))}
	at := strings.TrimSpace(r.FormValue("at"))
	switch {
	case x.What == "" && (x.Why != "" || at != ""):
		return nil, fault.New("missing-what", "%s", say("deviation-empty")).On("what", "").WithFix("%s", say("deviation-empty-fix"))
	case x.What != "":
		var err error
		if at != "" {
			x.AtUS, err = parseClock(at)
		}
		if err := add(edited{bench.Change{After: &bench.Entry{Deviation: &x}}, say("deviation-added", c.Label, x.What)}, err); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// clockAndNote takes "7:30 moved to the oven" apart: as many words as tell a
// time, and the rest.
func clockAndNote(text string) (atUS int64, note string, err error) {
	words := strings.Fields(text)
	for n := min(len(words), 4); n > 0; n-- {
		if atUS, err = parseClock(strings.Join(words[:n], " ")); err == nil {
			return atUS, strings.Join(words[n:], " "), nil
		}
	}
	if err == nil {
		err = fault.New("sheet-time", "%s", say("sheet-time-bad"))
	}
	return 0, "", err
}

// stageFree refuses a second weighing of one stage.
func stageFree(c *study.Cook, stage study.Stage, field string) error {
	if stage != study.DuringCook && slices.ContainsFunc(c.Weighings, func(o study.Weighing) bool { return o.Stage == stage }) {
		return fault.New("stage-taken", "%s", say("stage-taken", stageWords(stage))).On(field, stageWords(stage)).WithFix("%s", say("stage-taken-fix"))
	}
	return nil
}
