package web

import (
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"
	"sort"
	"strings"

	"trivet/answer"
	"trivet/bench"
	"trivet/fault"
	"trivet/figure"
	"trivet/quantity"
	"trivet/study"
)

// powerAsk is what somebody tries out under the plan: nothing of it is saved.
type powerAsk struct{ Question, Margin, SD, Alpha string }

type powerView struct {
	Study     string
	Ask       powerAsk
	Questions []choice
	Says      []string
	SDFrom    string
	Picture   *pictureView
	Chances   []chanceRow
	Blocks    int
	Error     *fault.Error
	Unit      string
}

type chanceRow struct{ True, Matters, Small, Open, Opposite string }

// power says what a number of blocks can settle for one question.
func (d *Desk) power(rec *bench.Record, ask powerAsk, u units) *powerView {
	s := rec.Study
	v := &powerView{Study: s.ID, Ask: ask, Blocks: s.Blocks.Count}
	var q *study.Question
	m := 0
	for i := range s.Questions {
		x := &s.Questions[i]
		if x.Response == "" {
			continue
		}
		m++
		v.Questions = append(v.Questions, choice{x.ID, x.ID})
		if q == nil || x.ID == ask.Question {
			q = x
		}
	}
	if q == nil {
		return nil
	}
	v.Ask.Question = q.ID
	if v.Ask.Margin == "" {
		v.Ask.Margin = u.written("", q.Margin.Text)
	}
	delta, unit, ratio, err := marginNumber(v.Ask.Margin)
	if v.Ask.Margin == "" {
		v.Says = []string{say("power-needs-margin")}
		return v
	}
	if err != nil {
		v.Error = d.s.publicFault(err)
		return v
	}
	perK := 1.0 // of the unit in which the scatter is written
	if v.Unit = unit; unit == "°C" && u.Fahrenheit {
		v.Unit, perK = "°F", 1.8
	}
	sd := 0.0
	if v.Ask.SD != "" {
		if sd, err = plainNumber("sd", v.Ask.SD); err != nil {
			v.Error = d.s.publicFault(err)
			return v
		}
		if sd /= perK; ratio {
			sd /= 100
		}
	} else if sd = d.seenSD(rec, q.ID); sd > 0 {
		v.Ask.SD = fmt.Sprintf("%.2g", perK*shownSD(sd, ratio))
		v.SDFrom = say("sd-from-cooks")
	} else {
		sd = 1.3 * delta
		v.Ask.SD = fmt.Sprintf("%.2g", perK*shownSD(sd, ratio))
		v.SDFrom = say("sd-guess")
	}
	if unit == "s" && v.Ask.SD != "" && v.SDFrom == "" {
		v.Unit = "s"
	}
	alpha := s.Risk.Alpha
	if v.Ask.Alpha != "" {
		if alpha, err = plainNumber("alpha", v.Ask.Alpha); err != nil || !(alpha > 0 && alpha < 0.5) {
			v.Error = fault.New("alpha", "%s", say("alpha-bad")).On("alpha", v.Ask.Alpha).WithFix("%s", say("alpha-fix"))
			return v
		}
	}
	v.Ask.Alpha = number(alpha)
	if ratio {
		delta = math.Log1p(delta)
	}
	a := alpha / float64(max(1, m))
	at := func(theta float64, n int) answer.CodeChances {
		return answer.Chances(theta, delta, sd/math.Sqrt(float64(n)), float64(n-1), a, n, study.Higher)
	}
	f := figure.Power{Head: figure.Head{Title: say("power-title"), Note: say("power-note"), Invented: s.Invented}, Measure: figure.Measure{Name: say("power-blocks")}, Target: s.Risk.Power}
	curves := []struct {
		label string
		of    func(n int) float64
	}{
		{say("power-twice"), func(n int) float64 { return at(2*delta, n).Matters }},
		{say("power-none"), func(n int) float64 { c := at(0, n); return c.NoDifference + c.TooSmall }},
	}
	most := max(24, s.Blocks.Count+8)
	grid := blockGrid(most)
	for _, n := range grid {
		f.X = append(f.X, float64(n))
	}
	for _, c := range curves {
		line := figure.Curve{Label: c.label}
		reach := 0
		for i, n := range grid {
			p := math.Min(1, math.Max(0, c.of(n)))
			line.Chance = append(line.Chance, p)
			if reach == 0 && p >= s.Risk.Power {
				reach = n
				if i > 0 { // the least lies after the last that was too few
					reach = grid[i-1] + 1 + sort.Search(n-grid[i-1]-1, func(k int) bool { return c.of(grid[i-1]+1+k) >= s.Risk.Power })
				}
			}
		}
		f.Curves = append(f.Curves, line)
		if reach > 0 {
			v.Says = append(v.Says, say("power-reach", count(reach, "block", "blocks"), c.label, percentText(s.Risk.Power)))
		} else {
			v.Says = append(v.Says, say("power-never", most, c.label, percentText(s.Risk.Power)))
		}
	}
	if n := s.Blocks.Count; n >= 2 {
		for _, k := range []struct {
			name string
			x    float64
		}{{say("true-none"), 0}, {say("true-quarter"), delta / 4}, {say("true-half"), delta / 2}, {say("true-margin"), delta}, {say("true-half-more"), 1.5 * delta}, {say("true-twice"), 2 * delta}} {
			c := at(k.x, n)
			v.Chances = append(v.Chances, chanceRow{k.name, chanceText(c.Matters), chanceText(c.NoDifference + c.TooSmall), chanceText(c.Unsettled + c.None), chanceText(c.Opposite)})
		}
	}
	if p, err := d.picture(s.ID, "power", f, s.Invented); err == nil {
		p.Key = ""
		v.Picture = p
	}
	return v
}

// blockGrid lists the numbers of blocks at which a power curve is worked out:
// every one up to 60, then in steps of a thirtieth, and the last.
func blockGrid(most int) []int {
	var out []int
	for n := 2; n < most; n += max(1, n/30) {
		out = append(out, n)
	}
	return append(out, most)
}

func shownSD(sd float64, ratio bool) float64 {
	if ratio {
		return 100 * sd
	}
	return sd
}

func chanceText(p float64) string {
	switch {
	case p < 0.001:
		return "0 %"
	case p > 0.999:
		return "100 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}

func plainNumber(name, text string) (float64, error) {
	fields := strings.Fields(strings.ReplaceAll(text, ",", "."))
	var v float64
	if len(fields) == 0 {
		return 0, fault.New("number", "%s", say("number-above")).On(name, text).WithFix("%s", say("number-above-fix"))
	}
	if _, err := fmt.Sscanf(fields[0], "%g", &v); err != nil || !finite(v) || v <= 0 {
		return 0, fault.New("number", "%s", say("number-above")).On(name, text).WithFix("%s", say("number-above-fix"))
	}
	return v, nil
}

// marginNumber is a margin in the unit its differences are counted in: points,
// the unit as typed, seconds, kelvins, or the ratio.
func marginNumber(text string) (v float64, unit string, ratio bool, err error) {
	m, err := quantity.ParseMargin(text)
	if err != nil {
		return 0, "", false, err
	}
	switch m.MarginKind {
	case quantity.MarginPoints:
		return m.Value, "points", false, nil
	case quantity.MarginRatio:
		return m.Value, "%", true, nil
	}
	return m.Value, unitWord(m), false, nil
}

func unitWord(m quantity.Margin) string {
	switch m.Kind {
	case quantity.KindDuration:
		return "s"
	case quantity.KindDifference, quantity.KindTemperature:
		return "°C"
	case quantity.KindLength:
		return "m"
	case quantity.KindMass:
		return "kg"
	}
	return m.Unit
}

// seenSD is the spread of a question's pair differences in the answer that is
// kept; 0 when there is none.
func (d *Desk) seenSD(rec *bench.Record, question string) float64 {
	d.mu.Lock()
	k := d.kept[rec.Study.ID]
	d.mu.Unlock()
	if k.got == nil || !k.updated.Equal(rec.Updated) {
		return 0
	}
	for _, f := range k.got.Answer.Findings {
		if f.Question == question && f.Evidence != nil && finite(f.Evidence.SE) {
			return f.Evidence.SE * math.Sqrt(float64(f.Evidence.Blocks))
		}
	}
	return 0
}

func (d *Desk) powerPart(w http.ResponseWriter, r *http.Request) {
	d.opening(w, r, func(h *bench.Head) (f frame, html template.HTML) {
		if slices.ContainsFunc(h.Study.Questions, func(q study.Question) bool { return q.Tasting == nil }) {
			f, html = powerFrame(h.Study), d.title(say("power-title"))
		}
		return f, html
	}, func(w http.ResponseWriter) { d.showPower(w, r) })
}

func powerFrame(s *study.Study) frame {
	return frame{Title: say("power-title"), Invented: s.Invented, Script: "study", Study: s.ID, StudyName: s.Title}
}

func (d *Desk) showPower(w http.ResponseWriter, r *http.Request) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	ask := powerAsk{r.FormValue("question"), strings.TrimSpace(r.FormValue("margin")), strings.TrimSpace(r.FormValue("sd")), strings.TrimSpace(r.FormValue("alpha"))}
	v := d.power(rec, ask, unitsOf(r))
	if v == nil {
		d.s.fail(w, r, http.StatusNotFound, fault.New("power-none", "%s", say("power-none")).WithFix("%s", say("power-none-fix")))
		return
	}
	if r.Header.Get("X-Part") != "" {
		d.renderPart(w, r, http.StatusOK, "power", v)
		return
	}
	d.render(w, r, http.StatusOK, "powerpage", powerFrame(rec.Study), v)
}

func (d *Desk) marginPart(w http.ResponseWriter, r *http.Request) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	d.renderPart(w, r, http.StatusOK, "meaning", d.marginWords(rec, r.FormValue("response"), r.FormValue("margin"), unitsOf(r)))
}

// teaspoonML is a US customary teaspoon, 4.92892 mL (NIST Handbook 44,
// Appendix C).
const teaspoonML = 4.93

// marginWords says what a margin means in the mouth or on the clock: plain
// arithmetic on this study's own pieces, and the predicted cook where there is
// one.
func (d *Desk) marginWords(rec *bench.Record, response, text string, u units) []string {
	if strings.TrimSpace(text) == "" {
		return []string{say("margin-help")}
	}
	m, err := quantity.ParseMargin(text)
	if err != nil {
		if f := fault.As(err); f != nil {
			return []string{sentenceOf(f.Message + "; " + f.Fix)}
		}
		return []string{say("margin-unread")}
	}
	name, _ := study.SplitResponse(response)
	r, builtIn := study.LookupResponse(response)
	switch {
	case m.MarginKind == quantity.MarginPoints && strings.HasSuffix(name, "_loss"):
		g, from := d.pieceMass(rec)
		juice := g * m.Value / 100
		return []string{say("margin-loss", m.Text, fmt.Sprintf("%.0f g", g), from, fmt.Sprintf("%.1f g", juice), fmt.Sprintf("%.1f", juice/teaspoonML)), say("margin-loss-not-juicy")}
	case m.MarginKind == quantity.MarginPoints && name == "even_share":
		whole := d.pieceThickness(rec)
		return []string{say("margin-even", m.Text, u.length(whole), u.length(whole*m.Value/100))}
	case m.MarginKind == quantity.MarginRatio && builtIn && r.Unit == "s":
		if s := d.predictedPull(rec); s > 0 {
			return []string{say("margin-time-ratio", m.Text, duration(s), duration(s*m.Value))}
		}
		return []string{say("margin-ratio", m.Text, duration(600*m.Value))}
	case m.Kind == quantity.KindDuration:
		out := []string{say("margin-time", m.Text)}
		if s := d.predictedPull(rec); s > 0 {
			out = append(out, say("margin-time-share", percentText(m.Value/s), duration(s)))
		}
		return out
	case builtIn && (r.Unit == "K" || r.Unit == "°C"):
		rise := u.margin(m)
		if name == "surface_at_serving" || name == "face_spread" || strings.HasPrefix(name, "pan_") {
			return []string{say("margin-warmth", rise)}
		}
		if rate := d.rateAtPull(rec); rate > 0 {
			return []string{say("margin-temperature", rise, duration(math.Max(1, m.Value/rate)))}
		}
		return []string{say("margin-temperature-bare", rise)}
	}
	return []string{say("margin-own", u.margin(m))}
}

func (d *Desk) pieceMass(rec *bench.Record) (g float64, from string) {
	var all []float64
	for _, c := range rec.Cooks {
		for _, w := range c.Weighings {
			if w.Stage == study.Raw {
				all = append(all, w.MassG)
			}
		}
	}
	for _, p := range rec.Study.Pieces {
		if p.MassKg > 0 {
			all = append(all, 1000*p.MassKg)
		}
	}
	if len(all) == 0 {
		return 200, say("mass-example")
	}
	slices.Sort(all)
	return all[len(all)/2], say("mass-median")
}

func (d *Desk) pieceThickness(rec *bench.Record) float64 {
	for _, c := range rec.Study.Controlled {
		if c.Name == "thickness" && c.Value > 0 {
			return c.Value
		}
	}
	return 0.03
}

func (d *Desk) predicted(rec *bench.Record) *prediction {
	for _, t := range rec.Study.Treatments {
		if src, ok := rec.CookFiles[t.Cook]; ok && t.Cook != "" {
			if p, err := predict(t.Cook, src, false); err == nil {
				return p
			}
		}
	}
	return nil
}

func (d *Desk) predictedPull(rec *bench.Record) float64 {
	if p := d.predicted(rec); p != nil && p.res.Summary.PullTimeS != nil {
		return *p.res.Summary.PullTimeS
	}
	return 0
}

// rateAtPull is how fast the predicted core rises in the last half minute
// before the pull, K/s.
func (d *Desk) rateAtPull(rec *bench.Record) float64 {
	p := d.predicted(rec)
	if p == nil || p.res.Summary.PullTimeS == nil {
		return 0
	}
	t := *p.res.Summary.PullTimeS
	return (valueAt(p.res.TimeS, p.res.CoreC, t) - valueAt(p.res.TimeS, p.res.CoreC, t-30)) / 30
}
