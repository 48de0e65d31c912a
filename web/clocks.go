package web

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"trivet/bench"
	"trivet/fault"
	"trivet/measure"
	"trivet/study"
)

// clocksView is the panel of a cook's clocks.
type clocksView struct {
	Rows     []clockRow
	Ways     []choice
	MayAlign bool // whoever looks may correct them, and there are two
	Compared *comparedClocks
}

type clockRow struct {
	ID, Name, Holds, Begins        string
	Correction, Onto, By, Residual string
	Known, Note, Set               string
	Doubts                         []string
	Earlier                        []string
	MayUndo                        bool
	ToID                           string
}

// comparedClocks is what comparing two clocks gave, before it is applied.
type comparedClocks struct {
	Clock, Onto, By             string // as asked for
	Name, OntoName              string
	Correction, Residual, Known string
	Points                      int
	Agrees                      bool
	Note                        string
	Error                       *fault.Error
}

// clocksOf fills the panel. A comparison is asked for in the address
// (?clock=…&onto=…&by=…#clocks) and changes nothing.
func (d *Desk) clocksOf(r *http.Request, in measure.Input, s *study.Study, lead bool) *clocksView {
	clocks := bench.Clocks(in, s)
	if len(clocks) < 2 {
		return nil
	}
	v := &clocksView{MayAlign: lead, Ways: []choice{{"", say("clock-by-best")}, {measure.BySignal, say("clock-by-signal")}, {measure.ByTurns, say("clock-by-turns")}, {measure.ByMarks, say("clock-by-marks")}}}
	for _, c := range clocks {
		row := clockRow{ID: c.ID, Name: c.Name, Holds: strings.Join(c.Channels, ", "), Doubts: sentencesOf(c.Doubts)}
		switch {
		case c.ID == study.MarksClock:
			row.Holds, row.Begins = say("clock-marks", c.Marks), say("clock-from-heat-on")
		case c.Elapsed:
			row.Begins = say("clock-elapsed")
		default:
			row.Begins = time.UnixMicro(c.FromUS).UTC().Format("2006-01-02 15:04:05") + " UTC"
		}
		if f := c.Fix; f != nil {
			row.Correction, row.Onto, row.By, row.ToID = measure.FixWords(*f), c.ToName, say("clock-by-"+f.Method), f.To
			row.Known = "±" + clockSeconds(2*c.WorstUUS)
			if f.Points > 1 {
				row.Residual = clockSeconds(f.RMSUS)
			}
			row.Set = f.At.UTC().Format(dayTime)
			if f.By != "" {
				row.Set += ", " + f.By
			}
			row.Note, row.MayUndo = sentenceOf(f.Note), lead
		}
		for _, f := range c.Before {
			text := measure.FixWords(f) + ", " + say("clock-by-"+f.Method) + ", " + f.At.UTC().Format(dayTime)
			if !f.UndoneAt.IsZero() {
				text += "; " + say("clock-undone", f.UndoneAt.UTC().Format(dayTime))
			}
			row.Earlier = append(row.Earlier, text)
		}
		v.Rows = append(v.Rows, row)
	}
	if clock := r.URL.Query().Get("clock"); clock != "" && lead && r.Method == http.MethodGet {
		v.Compared = d.compareClocks(in, clocks, clock, r.URL.Query().Get("onto"), r.URL.Query().Get("by"))
	}
	return v
}

func sentencesOf(texts []string) []string {
	var out []string
	for _, t := range texts {
		out = append(out, sentenceOf(t))
	}
	return out
}

// clockSeconds writes µs as seconds of two digits.
func clockSeconds(us float64) string {
	s := us / 1e6
	d := 0
	for _, edge := range []float64{9.95, 0.995, 0.0995} {
		if s < edge {
			d++
		}
	}
	return fmt.Sprintf("%.*f s", d, s)
}

func (d *Desk) compareClocks(in measure.Input, clocks []bench.Clock, clock, onto, by string) *comparedClocks {
	f, err := measure.AlignClock(in, clock, onto, by)
	if err == nil {
		_, err = in.Cook.AddClockFix(f)
	}
	if err != nil {
		return &comparedClocks{Clock: clock, Onto: onto, By: by, Name: measure.ClockName(in.Cook, clock), OntoName: measure.ClockName(in.Cook, onto), Error: d.s.publicFault(err)}
	}
	out := comparedOf(in, clocks, f)
	out.By = by
	return out
}

// comparedOf puts a comparison into words.
func comparedOf(in measure.Input, clocks []bench.Clock, f study.ClockFix) *comparedClocks {
	c := clocks[slices.IndexFunc(clocks, func(c bench.Clock) bool { return c.ID == f.Clock })]
	return &comparedClocks{Clock: f.Clock, Onto: f.To, By: f.Method, Name: measure.ClockName(in.Cook, f.Clock), OntoName: measure.ClockName(in.Cook, f.To),
		Correction: measure.FixWords(f), Residual: clockSeconds(f.RMSUS), Points: f.Points,
		Known:  "±" + clockSeconds(2*max(f.UUS(c.FromUS), f.UUS(c.ToUS))),
		Agrees: bench.Agrees(f, c.FromUS, c.ToUS), Note: sentenceOf(f.Note)}
}

// saveClock applies a comparison, sets a clock by hand, or undoes what stands.
func (d *Desk) saveClock(w http.ResponseWriter, r *http.Request) {
	defer d.writing(r.PathValue("id"))()
	rec, c, ok := d.findCook(w, r)
	if !ok {
		return
	}
	if err := d.changeClock(r.Context(), r, rec, c); err != nil {
		f := d.s.publicFault(err)
		in := map[string]string{}
		for key := range r.PostForm {
			in[key] = r.PostFormValue(key)
		}
		d.showCook(w, r, statusOf(f), rec, c, saved{Error: f, Form: "clocks", In: in})
		return
	}
	http.Redirect(w, r, "/studies/"+rec.Study.ID+"/cooks/"+c.Label+"#clocks", http.StatusSeeOther)
}

func (d *Desk) changeClock(ctx context.Context, r *http.Request, rec *bench.Record, c *study.Cook) error {
	clock, onto := r.FormValue("clock"), r.FormValue("onto")
	now, by := d.s.opt.Now(), say("clock-lead")
	if r.FormValue("do") == "undo" {
		_, _, err := bench.UndoClock(ctx, d.nb, rec.Study.ID, *c, clock, by, now)
		return err
	}
	in, err := bench.CookInput(ctx, d.nb, rec, *c)
	if err != nil {
		return err
	}
	var fix study.ClockFix
	if text := strings.TrimSpace(r.FormValue("set")); text != "" || r.FormValue("do") == "set" {
		clocks := bench.Clocks(in, rec.Study)
		i := slices.IndexFunc(clocks, func(k bench.Clock) bool { return k.ID == clock })
		if i < 0 {
			return fault.New("clock-unknown", "%s", say("clock-unknown")).On("clock", clock)
		}
		fix, err = measure.FixByHand(text, clock, "", clocks[i].FromUS, clocks[i].Elapsed)
		if f := fault.As(err); f != nil {
			return f.On("set", text)
		}
	} else {
		fix, err = measure.AlignClock(in, clock, onto, r.FormValue("by"))
	}
	if err != nil {
		return err
	}
	_, err = bench.SetClock(ctx, d.nb, rec.Study.ID, *c, fix, by, now)
	return err
}
