package web

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"trivet/answer"
	"trivet/bench"
	"trivet/fault"
	"trivet/figure"
	"trivet/measure"
	"trivet/safety"
	"trivet/study"
	"trivet/tasting"
	"trivet/trace"
)

type cookView struct {
	Have                          stage  // how much of the page this is
	At                            string // where the rest of it is asked for
	ID, StudyTitle                string
	Label, Treatment, Block, Role string
	Piece, Day                    string
	VoidWhy                       string
	Marks                         []markLine
	Kinds                         []choice
	Weighings, Readings           []entryRow
	Deviations                    []entryRow
	NewWeighing, NewReading       entryRow // what a new one is typed into
	NewDeviation                  entryRow
	Readable                      []choice // readings that can be typed in
	ReadingHint                   string
	Photos, PhotoTrash            []photoRow
	NewPhoto                      photoForm
	Undo                          []undoRow
	Values                        []valueLine
	Absent                        []string
	Hidden                        bool
	Channels                      []channelLine
	Sensors                       []channelRow
	Logs                          []string
	Picture                       *pictureView
	Key                           []string // names of the plot's lines, whose place is kept until it is drawn
	Predicted                     []choice
	Sheet                         sheetForm
	Counts                        *roleForm // nil for who may not say it
	Notes                         []string
	Saved                         saved
	Previous, Next                string
	Fahrenheit                    bool
	MayDelete                     bool
	Quality, Cautions             []qualityLine
	Offered                       []offeredMark
	Clocks                        *clocksView // nil where there is one clock only
}

type qualityLine struct{ Word, Text string }

// offeredMark is a mark that the traces show and nobody entered.
type offeredMark struct{ Kind, Name, At, Note string }

type markLine struct {
	ID, Kind, At, Note, Source string
	AtS                        float64
	Typed                      string // what somebody typed for it and was refused, else At
	Fixed                      bool   // heat on, the zero of all other times
}

type valueLine struct {
	Name, Value, Main string // the value with its expanded uncertainty
	Known             knownNote
}

type channelLine struct {
	Name, Where, Lowest, Highest, Samples, Every string
	Gaps                                         int
}

func (d *Desk) findCook(w http.ResponseWriter, r *http.Request) (*bench.Record, *study.Cook, bool) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return nil, nil, false
	}
	for i := range rec.Cooks {
		if c := &rec.Cooks[i]; c.Label == r.PathValue("cook") || c.ID == r.PathValue("cook") {
			return rec, c, true
		}
	}
	d.s.fail(w, r, http.StatusNotFound, fault.New("cook-unknown", "%s", say("cook-unknown")).On("cook", r.PathValue("cook")).WithFix("%s", say("cook-unknown-fix")))
	return nil, nil, false
}

func (d *Desk) cookPage(w http.ResponseWriter, r *http.Request) {
	d.opening(w, r, func(h *bench.Head) (f frame, html template.HTML) {
		if c, ok := d.cookOf(r.Context(), h, r.PathValue("cook")); ok {
			n, _ := d.samplesOf(r.Context(), h.Study.ID, c.ID) // told when the page is set
			v := &cookView{ID: h.Study.ID, StudyTitle: h.Study.Title, Label: c.Label, Treatment: answer.Words{Study: h.Study}.Treatment(c.Treatment), Have: asWhole}
			if n > mostAtOnce && !asksWhole(r) {
				v.Have = asPlain
			}
			f, html = d.cookFrame(r, h.Study, v), d.title(v.Label+": "+v.Treatment)
		}
		return f, html
	}, func(w http.ResponseWriter) { d.answerCook(w, r) })
}

// samplesOf counts the samples of a cook without reading them.
func (d *Desk) samplesOf(ctx context.Context, studyID, cookID string) (int, error) {
	if counts, ok := d.nb.(bench.SampleCounter); ok {
		return counts.Samples(ctx, studyID, cookID)
	}
	return 0, nil
}

func (d *Desk) answerCook(w http.ResponseWriter, r *http.Request) {
	rec, c, ok := d.findCook(w, r)
	if !ok {
		return
	}
	n, err := d.samplesOf(r.Context(), rec.Study.ID, c.ID)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	if n <= mostAtOnce {
		d.showCook(w, r, http.StatusOK, rec, c, saved{})
		return
	}
	// A long record is read to its end in the background; the plot needs its
	// overview alone.
	label := c.Label
	key := fmt.Sprint("cook ", label, " ", rec.Study.ID, " ", len(rec.Events), rec.Updated.UnixNano(), unitsOf(r), d.roleOf(r), n, r.URL.Query().Has("sheet"))
	page, st := d.pages.get(key), asWhole
	if page == nil {
		later := r.Clone(context.Background())
		x := d.pages.set(key, false, func(ctx context.Context, st stage) ([]byte, error) {
			v, err := d.cookView(later.WithContext(ctx), rec, c, saved{}, st)
			if err != nil {
				return nil, err
			}
			return d.page(later, d.cookFrame(later, rec.Study, v), d.partIn(unitsOf(later), "cookpage", v)), nil
		})
		have := stage(r.Header.Get("X-Have"))
		if asksWhole(r) {
			have = asPlain
		}
		if page, st, err = x.await(r.Context(), have); page == nil && err == nil && have != asPlain {
			page, st, err = x.await(r.Context(), asShell)
		}
		if err != nil {
			d.s.fail(w, r, 0, err)
			return
		}
		if page == nil { // still not there: the page goes on asking
			v := &cookView{ID: rec.Study.ID, StudyTitle: rec.Study.Title, Label: label, Have: asPlain, At: r.URL.RequestURI()}
			d.render(w, r, http.StatusOK, "cookpage", d.cookFrame(r, rec.Study, v), v)
			return
		}
	}
	d.sendSheet(w, r, page, st)
}

// mostAtOnce is the most samples of a cook, in all channels, whose quality and
// responses are worked out before the page is sent.
const mostAtOnce = 400_000

func (d *Desk) cookFrame(r *http.Request, s *study.Study, v *cookView) frame {
	return frame{Title: say("cook-title", v.Label, v.StudyTitle), Invented: s.Invented, Script: "cook", Sheet: "cook", Study: v.ID, StudyName: v.StudyTitle, Guest: d.roleOf(r) != tasting.Lead, Coming: v.Have != asWhole, Breadth: "plotted"}
}

func (d *Desk) showCook(w http.ResponseWriter, r *http.Request, status int, rec *bench.Record, c *study.Cook, at saved) {
	v, err := d.cookView(r, rec, c, at, asWhole)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	d.render(w, r, status, "cookpage", d.cookFrame(r, rec.Study, v), v)
}

// cookView is what a cook's page shows. As far as asPlain goes it rests on the
// record and an overview of the traces.
func (d *Desk) cookView(r *http.Request, rec *bench.Record, c *study.Cook, at saved, st stage) (*cookView, error) {
	s, u := rec.Study, unitsOf(r)
	words := answer.Words{Study: s, Fahrenheit: u.Fahrenheit}
	v := &cookView{Have: st, At: r.URL.Path, ID: s.ID, StudyTitle: s.Title, Label: c.Label, Treatment: words.Treatment(c.Treatment), Block: c.Block, Role: string(c.Role), Piece: c.Piece, Day: c.Day, VoidWhy: c.VoidWhy, Fahrenheit: u.Fahrenheit, Saved: at}
	i := slices.IndexFunc(rec.Cooks, func(x study.Cook) bool { return x.ID == c.ID })
	if i > 0 {
		v.Previous = rec.Cooks[i-1].Label
	}
	if i >= 0 && i+1 < len(rec.Cooks) {
		v.Next = rec.Cooks[i+1].Label
	}
	marks := slices.Clone(c.Marks)
	study.SortMarks(marks)
	for _, m := range marks {
		line := markLine{ID: m.ID, Kind: markWords(m.Kind), Fixed: m.Kind == study.HeatOn, At: clockOf(m.AtUS), Note: m.Note, Source: m.Source, AtS: float64(m.AtUS) / 1e6}
		if line.Typed = line.At; at.Form == "marks" && at.In["mark"] == m.ID {
			line.Typed = at.In["at"]
		}
		v.Marks = append(v.Marks, line)
	}
	for _, k := range []study.MarkKind{study.Turn, study.FatIn, study.SpooningStart, study.SpooningStop, study.OffHeat, study.Cut, study.Served, study.NoteMark} {
		v.Kinds = append(v.Kinds, choice{string(k), markWords(k)})
	}
	entryRows(v, rec, c, u, at)
	d.photoRows(v, rec, c, at)
	for _, l := range c.Logs {
		v.Logs = append(v.Logs, l.File)
	}
	v.Sheet, v.Counts = sheetFormOf(c, at), d.roleFormOf(r, s, c, at)
	v.Sheet.Open = v.Sheet.Open || r.Method == http.MethodGet && r.URL.Query().Has("sheet")
	v.MayDelete = d.roleOf(r) == tasting.Lead
	// A plan that is sealed and not finished keeps its responses out of sight
	// here as on the study's page: seeing them is a look at the answer.
	v.Hidden = early(rec) && !looked(rec) || d.roleOf(r) != tasting.Lead
	if f, any, err := d.cookFigure(r.Context(), rec, c, u); err == nil && any {
		if v.Picture, err = d.picture(s.ID, "cook-"+c.Label, f, s.Invented); err != nil {
			return nil, err
		}
		for _, l := range f.Lines {
			v.Key = append(v.Key, l.Channel)
		}
	}
	v.Undo = undoRows(rec, c, v.MayDelete)
	if st == asWhole {
		return v, d.fillCook(r, v, rec, c, u)
	}
	return v, nil
}

// fillCook fills in what rests on every sample.
func (d *Desk) fillCook(r *http.Request, v *cookView, rec *bench.Record, c *study.Cook, u units) error {
	s, words := rec.Study, answer.Words{Study: rec.Study, Fahrenheit: u.Fahrenheit}
	one := *rec
	one.Cooks = []study.Cook{*c}
	seen, err := bench.OfferMarks(r.Context(), d.nb, &one, nil)
	if err != nil {
		return err
	}
	in := seen[0].Input
	for i := range in.Traces {
		v.Channels = append(v.Channels, channelOf(&in.Traces[i], u))
	}
	if d.roleOf(r) == tasting.Lead {
		v.Sensors = channelRows(s, in.Traces, v.Saved)
	}
	v.Clocks = d.clocksOf(r, in, s, d.roleOf(r) == tasting.Lead)
	for _, f := range measure.Quality(in, s) {
		v.Quality = append(v.Quality, qualityLine{say("quality-" + string(f.Severity)), sentenceOf(f.Text)})
	}
	for _, m := range seen[0].Marks {
		if m.Kind != study.HeatOn {
			o := offeredMark{string(m.Kind), markWords(m.Kind), clockOf(m.AtUS), say("offered-note")}
			if m.Kind == study.NoteMark { // what it is stands before the colon, and has to stay there
				told, _, _ := strings.Cut(m.Note, ":")
				o.Name, o.Note = strings.ReplaceAll(told, "-", " "), m.Note
			}
			v.Offered = append(v.Offered, o)
		}
	}
	var peaks []answer.CookResult // empty where they are kept out of sight
	var res *measure.Result
	if !v.Hidden {
		if got, err := measure.Cook(in); err == nil {
			res = got
		}
	}
	if res != nil {
		peaks = []answer.CookResult{{Cook: *c, Result: res}}
		for _, x := range res.Responses {
			line := valueLine{Name: words.Response(x.Name), Value: x.Format()}
			if x.Kind == study.Number {
				m := measureOf(words.Response(x.Name), x.Unit, u)
				expanded, k := x.Expanded()
				line.Value = m.PlusMinus(x.Value, expanded)
				if _, _, uneven := x.Uneven(); uneven {
					line.Value = x.Format()
				} else if k > 2.05 {
					line.Value += fmt.Sprintf(" (k = %.2g)", k)
				}
			}
			if src, share := x.Dominant(); share > 0 {
				line.Main = sentenceOf(fmt.Sprintf("%s, %.0f %%; %s", src.Name, 100*share, x.Halving()))
			}
			line.Known = knownResponse(line.Name, x, u)
			v.Values = append(v.Values, line)
		}
		for _, a := range res.Absent {
			v.Absent = append(v.Absent, sentenceOf(words.Response(a.Name)+": "+a.Why))
		}
		for _, n := range res.Remarks() {
			v.Notes = append(v.Notes, sentenceOf(n.Text))
		}
		v.Predicted = d.predictedAgainst(rec, c, res, u)
	}
	facts := bench.SafetyFacts(&one, peaks)
	for _, k := range safety.Cautions(facts) {
		if k.ShownAt(safety.OnQuality) {
			v.Cautions = append(v.Cautions, qualityLine{say("quality-caution"), sentenceOf(k.Title + ". " + k.Text)})
		}
	}
	return nil
}

func measureOf(name, unit string, u units) figure.Measure {
	return figure.MeasureOf(name, unit, degreesOf(u.Fahrenheit))
}

// predictedAgainst sets what the treatment's cook file predicts beside what
// was measured.
func (d *Desk) predictedAgainst(rec *bench.Record, c *study.Cook, res *measure.Result, u units) []choice {
	var file string
	for _, t := range rec.Study.Treatments {
		if t.ID == c.Treatment {
			file = t.Cook
		}
	}
	src, ok := rec.CookFiles[file]
	if !ok {
		return nil
	}
	p, err := predict(file, src, u.Fahrenheit)
	if err != nil {
		return nil
	}
	sum := p.res.Summary
	var out []choice
	add := func(name, unit string, v *float64) {
		x, ok := res.Get(name)
		if v == nil || !ok {
			return
		}
		m := measureOf(name, unit, u)
		expanded, _ := x.Expanded()
		out = append(out, choice{strings.ReplaceAll(name, "_", " "), say("predicted-against", m.Text(*v, 1), m.PlusMinus(x.Value, expanded))})
	}
	add("core_at_pull", "°C", sum.CoreAtPullC)
	add("core_peak", "°C", sum.CorePeakC)
	add("carryover", "K", sum.CarryoverK)
	add("even_share", "%", &sum.EvenSharePct)
	total := sum.LossPct
	add("total_loss", "%", &total)
	return out
}

// clockOf writes a time from heat on: 6:30, −0:45.
func clockOf(us int64) string {
	sign := ""
	if us < 0 {
		sign, us = "−", -us
	}
	s := (us + 500_000) / 1_000_000
	if s >= 3600 {
		return fmt.Sprintf("%s%d:%02d:%02d", sign, s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%s%d:%02d", sign, s/60, s%60)
}

// markWords is what a kind of mark is called; of a kind that a package brought
// from elsewhere its own name.
func markWords(k study.MarkKind) string {
	if _, ok := english["mark-is-"+string(k)]; ok {
		return say("mark-is-" + string(k))
	}
	return strings.ReplaceAll(string(k), "-", " ")
}

func channelOf(t *trace.Trace, u units) channelLine {
	l := channelLine{Name: t.Channel.ID, Where: say("place-" + string(t.Channel.Place)), Samples: strconv.Itoa(t.Len())}
	if t.Channel.DepthM > 0 {
		l.Where += ", " + u.length(t.Channel.DepthM)
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range t.Len() {
		if x, ok := t.Value(i); ok {
			lo, hi = math.Min(lo, x), math.Max(hi, x)
		}
	}
	if finite(lo) {
		if t.Channel.IsTemperature() {
			l.Lowest, l.Highest = temperature(lo, u.Fahrenheit), temperature(hi, u.Fahrenheit)
		} else {
			l.Lowest, l.Highest = fmt.Sprintf("%.1f", lo), fmt.Sprintf("%.1f", hi)
		}
	}
	if p := t.PeriodUS(); p > 0 {
		l.Every = duration(float64(p) / 1e6)
		if p < 1e6 {
			l.Every = fmt.Sprintf("%.2g s", float64(p)/1e6)
		}
		l.Gaps = len(t.Gaps(10 * p))
	}
	return l
}

// cookFigure draws a cook's traces with its marks.
func (d *Desk) cookFigure(ctx context.Context, rec *bench.Record, c *study.Cook, u units) (figure.Traces, bool, error) {
	words := answer.Words{Study: rec.Study}
	f := figure.Traces{Head: figure.Head{Title: c.Label + ": " + words.Treatment(c.Treatment)}, Treatments: []string{words.Treatment(c.Treatment)},
		Measure: figure.Measure{Name: "temperature", Kind: figure.Temperature, Degrees: degreesOf(u.Fahrenheit)}}
	traces, on, err := bench.DrawnTraces(ctx, d.nb, rec.Study.ID, *c, bench.Stretch{Columns: plotColumns})
	if err != nil {
		return f, false, err
	}
	c = &on
	for i := range traces {
		t := &traces[i]
		if !t.Channel.IsTemperature() || t.Len() == 0 {
			continue
		}
		line := figure.TraceLine{Cook: c.Label, Channel: string(t.Channel.Place)}
		for _, p := range t.Envelope(t.TimesUS[0], t.TimesUS[t.Len()-1], 400, 10*t.PeriodUS()) {
			at := float64(p.US-t.ZeroUS) / 1e6
			if p.Break {
				line.AtS, line.Values = append(line.AtS, at), append(line.Values, math.NaN())
			}
			line.AtS, line.Values = append(line.AtS, at), append(line.Values, p.V)
		}
		f.Lines = append(f.Lines, line)
	}
	for _, m := range c.Marks {
		if m.Kind != study.NoteMark && m.Kind != study.Sync {
			f.Marks = append(f.Marks, figure.TraceMark{Label: markWords(m.Kind), AtS: float64(m.AtUS) / 1e6})
		}
	}
	return f, len(f.Lines) > 0, nil
}
