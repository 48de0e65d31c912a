package web

import (
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/figure"
	"trivet/tasting"
)

// resultView is a closed tasting.
type resultView struct {
	Verdict  string
	Says     []string
	Facts    []fact
	Figures  []drawnTasting
	Table    [][]string
	Notes    []fault.Note
	Problem  *fault.Error
	ClosedAt string
	Seed     string
	Salt     string
	Hash     string
	Redealt  bool
	Sets     []keyRow
	ForStudy string // the line of the study document
	Known    knownNote
}

type keyRow struct {
	Tray     int
	Seat     string
	Contents string
}

func (s *Server) resultOf(r *http.Request, t *bench.Tasting, m tasting.Method) (*resultView, error) {
	res, err := s.room.Result(r.Context(), t)
	if err != nil {
		return nil, err
	}
	v := &resultView{ClosedAt: res.ClosedAt.Format("2006-01-02 15:04 MST"), Seed: res.Key.Seed, Salt: res.Salt, Hash: t.Lock().Commitment,
		Redealt: res.Redealt, Notes: res.Notes, Problem: res.ScoreErr}
	for _, set := range res.Key.Sets {
		v.Sets = append(v.Sets, keyRow{set.Tray, set.Assessor, contents(set)})
	}
	if res.Scored == nil {
		return v, nil
	}
	v.Known = knownResult(res.Scored, m)
	switch {
	case res.Scored.Choice != nil:
		c := res.Scored.Choice
		v.Verdict, v.Says = say("verdict-"+string(c.Verdict)), c.Says
		v.Facts = choiceFacts(c)
		v.Notes = append(v.Notes, c.Notes...)
		if t.Question != "" {
			v.ForStudy = fmt.Sprintf("- {id: %s, question: %s, method: %s, n: %d, correct: %d, closed: yes}", slug(t.Title), t.Question, c.Method, c.N, c.Correct)
		}
	case res.Scored.Response != nil:
		c := res.Scored.Response
		v.Says = c.Says
		v.Facts = []fact{{say("fact-d"), number(c.DPrime) + " (" + limitsText(c.DPrimeLow, c.DPrimeHigh, "−∞", "∞") + ")"}, {say("fact-p"), number(c.PValue)}, {say("fact-criterion"), number(c.Criterion)}}
		v.Notes = append(v.Notes, c.Notes...)
	case res.Scored.Report != nil:
		v.Says, v.Table = res.Scored.Report.Sentences(), res.Scored.Report.Table()
		v.Notes = append(v.Notes, res.Scored.Report.Remarks()...)
	}
	v.Figures, err = drawTasting(t, res.Scored)
	return v, err
}

// drawnTasting is one figure of a result, for wide and for narrow screens.
type drawnTasting struct {
	Wide, Narrow template.HTML
	Caption      string
}

func drawTasting(t *bench.Tasting, s *tasting.Scored) ([]drawnTasting, error) {
	var out []drawnTasting
	for i, tasted := range figure.OfTasting(s, figure.Head{Invented: t.Invented}) {
		d := drawnTasting{Caption: tasted.Figure.Alt()}
		var err error
		if d.Wide, err = inlineSVG(t, tasted.Figure, figure.Page, fmt.Sprintf("result-%d-wide", i+1)); err != nil {
			return nil, err
		}
		if d.Narrow, err = inlineSVG(t, tasted.Figure, figure.Phone, fmt.Sprintf("result-%d-narrow", i+1)); err != nil {
			return nil, err
		}
		out = append(out, d)
	}
	return out, nil
}

func contents(s tasting.Set) string {
	var parts []string
	cup := func(code string, c tasting.Cup) {
		text := code + " " + c.Product
		if c.Piece != "" {
			text += " (" + c.Piece + ")"
		}
		parts = append(parts, text)
	}
	if s.Reference != nil {
		cup(say("reference"), *s.Reference)
	}
	for _, c := range s.Cups {
		cup(c.Code, c)
	}
	return strings.Join(parts, " · ")
}

func choiceFacts(c *tasting.Result) []fact {
	critical := say("none")
	if c.Critical != nil {
		critical = fmt.Sprint(*c.Critical)
	}
	out := []fact{
		{say("fact-right"), say("right-of", c.Correct, c.N)},
		{say("fact-critical"), critical},
		{say("fact-p"), number(c.PValue)},
		{say("fact-pd"), fmt.Sprintf("%.2f (%.2f – %.2f)", c.PD, c.PDLow, c.PDHigh)},
		{say("fact-d"), limitText(c.DPrime, "∞") + " (" + limitsText(c.DPrimeLow, c.DPrimeHigh, "∞", "∞") + ")"},
		{say("fact-limits"), percentText(c.LimitLevel)},
	}
	if c.Power != nil {
		out = append(out, fact{say("rule-power"), percentText(*c.Power)})
	}
	for _, row := range c.Sureness {
		word := fmt.Sprint(row.Sureness)
		if w := tasting.SurenessWords(); row.Sureness <= len(w) {
			word = w[row.Sureness-1]
		}
		out = append(out, fact{say("fact-sure", word), say("right-of", row.Correct, row.N)})
	}
	if o := c.Overdispersion; o != nil && o.Gamma != nil {
		out = append(out, fact{say("fact-gamma"), say("gamma-worth", *o.Gamma, o.N, o.Effective)})
	}
	return out
}

func limitText(v *float64, infinite string) string {
	if v == nil {
		return infinite
	}
	return fmt.Sprintf("%.2f", *v)
}

func limitsText(low, high *float64, lowInf, highInf string) string {
	return limitText(low, lowInf) + " – " + limitText(high, highInf)
}

// inlineSVG draws a figure into a page that carries the figures' colours.
func inlineSVG(t *bench.Tasting, f figure.Figure, size figure.Size, id string) (template.HTML, error) {
	sc, err := f.Scene(size, figure.Light)
	if t.Invented {
		sc, err = figure.InventedScene(f, size, figure.Light)
	}
	if err != nil {
		return "", err
	}
	var b strings.Builder
	if err := sc.WriteSVG(&b, figure.SVGOptions{Inline: true, ID: id}); err != nil {
		return "", err
	}
	return template.HTML(b.String()), nil
}

// slug is a title as an id of the study document.
func slug(title string) string {
	out := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		}
		return '-'
	}, title)
	for strings.Contains(out, "--") {
		out = strings.ReplaceAll(out, "--", "-")
	}
	if out = strings.Trim(out, "-"); out == "" {
		return "panel"
	}
	return out
}
