package publish

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"trivet/fault"
	"trivet/figure"
)

//go:embed templates
var templates embed.FS

var pages = template.Must(template.ParseFS(templates, "templates/*.tmpl"))

// WriteHTML writes the report as one page: text, style, typeface and figures
// in one file that asks for nothing over the network and runs no script.
func (r Report) WriteHTML(w io.Writer) error {
	v, err := r.view()
	if err != nil {
		return err
	}
	var body bytes.Buffer
	if err := pages.ExecuteTemplate(&body, "body", v); err != nil {
		return fmt.Errorf("setting the report: %w", err)
	}
	css, err := styleSheet(body.String(), r.Invented)
	if err != nil {
		return err
	}
	sum := sha256.Sum256([]byte(css))
	return pages.ExecuteTemplate(w, "page", map[string]any{
		"R":           r,
		"CSS":         template.CSS(css),
		"StyleHash":   base64.StdEncoding.EncodeToString(sum[:]),
		"Body":        template.HTML(body.String()),
		"Description": r.description(),
	})
}

// styleSheet joins the colours of both themes, the typeface cut down to the
// page's text, and the rules of the page and its figures.
func styleSheet(text string, invented bool) (string, error) {
	page, err := templates.ReadFile("templates/report.css")
	if err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintf(&b, ":root{%s}\n", figure.Light.Properties())
	fmt.Fprintf(&b, "@media (prefers-color-scheme:dark){:root{%s}}\n", figure.Dark.Properties())
	fmt.Fprintf(&b, "@media print{:root{%s}}\n", figure.Print.Properties())
	b.WriteString(figure.FontFaces(runesOf(text)))
	b.WriteString(figure.CSS())
	b.Write(page)
	if invented { // on every sheet of paper
		fmt.Fprintf(&b, "@media print{@page{@top-right{content:%q;font:bold 9pt Go,Arial,sans-serif}}}\n", figure.InventedText)
	}
	return b.String(), nil
}

// runesOf returns each rune of text once, in order, and the ASCII ones.
func runesOf(text string) string {
	seen := map[rune]bool{}
	for r := ' '; r < 0x7f; r++ {
		seen[r] = true
	}
	for _, r := range text {
		seen[r] = true
	}
	out := make([]rune, 0, len(seen))
	for r := range seen {
		out = append(out, r)
	}
	slices.Sort(out)
	return string(out)
}

func (r Report) description() string {
	parts := []string{r.Claim.Says}
	for _, q := range r.Questions {
		parts = append(parts, q.Ask+" "+q.Printed+".")
	}
	return strings.TrimSpace(strings.Join(parts, " "))
}

// view is what the template reads: everything converted to text.
type view struct {
	W          words
	R          Report
	Byline     string
	Questions  []questionView
	AnswerLine *exhibitView
	Notes      []fault.Note
	Plan       planView
	Overview   []exhibitView
	ValueNames []string
	Cooks      []cookView
	Days       bool // whether any cook has a day: else the column is left out
	Verdict    []string
	Data       []dataView
	Made       *moment
}

type exhibitView struct {
	Slug         string
	Wide, Narrow template.HTML // Narrow empty: Wide serves every width
	Number       string        // "Figure 3."
	Caption      string
	Table        *tableView
}

type tableView struct {
	Slug, Label, Caption string
	Columns              []cellView
	Rows                 [][]cellView
}

type cellView struct {
	Text   string
	Number bool
}

type questionView struct {
	Question
	Slug     string
	Lead     string
	Numbers  []Fact
	Checks   []checkView
	Exhibits []exhibitView
}

type checkView struct {
	Name  string
	State State
	Says  string
	Text  string
}

type planView struct {
	Plan
	When      string // whether the seal is older than the first planned cook
	Late      bool
	At, First *moment
	History   []historyView
}

type historyView struct {
	At   moment
	What string
}

type cookView struct {
	Cook
	Slug, Heading string
	Row           []string // one per ValueNames
	Figure        *exhibitView
	Weighings     []weighingView
	Marks         []markView
	Deviations    []string
	Photos        []photoView
	Bare          bool // nothing beyond its row in the table
	WeighingNotes bool // whether any has a note: else the column is left out
	MarkNotes     bool
}

type weighingView struct{ Stage, Mass, At, Note string }

type markView struct{ At, What, Note string }

type dataView struct {
	DataFile
	Size string
}

// moment is a time for people and for machines.
type moment struct{ Human, Machine string }

func momentOf(t time.Time) *moment {
	if t.IsZero() {
		return nil
	}
	zone := "UTC-07:00"
	if _, offset := t.Zone(); offset == 0 {
		zone = "UTC"
	}
	return &moment{t.Format("2 January 2006, 15:04:05 " + zone), t.Format(time.RFC3339)}
}

func (r Report) view() (*view, error) {
	v := &view{W: english, R: r, Notes: noteSentences(r.Notes), Made: momentOf(r.Made), Verdict: r.Methods.Verdict}
	v.Byline = strings.Join(r.Authors, ", ")
	if v.Verdict == nil {
		v.Verdict = english.Verdict
	}
	p := &printer{report: r, used: map[string]bool{}}
	if r.AnswerLine != nil {
		e, err := p.exhibit(Exhibit{ID: "answer-line", Figure: *r.AnswerLine}, true)
		if err != nil {
			return nil, err
		}
		v.AnswerLine = e
	}
	for _, q := range r.Questions {
		qv := questionView{Question: q, Slug: strings.TrimPrefix(unique(p.used, "q-"+slug(q.ID)), "q-"), Lead: q.lead(), Numbers: q.numbers()}
		qv.Printed = capital(q.Printed)
		qv.Notes = noteSentences(q.Notes)
		qv.WhyNot, qv.Sensitivity, qv.Corrections = sentences(q.WhyNot), sentences(q.Sensitivity), sentences(q.Corrections)
		qv.OtherWays = sentences(q.OtherWays)
		qv.Facts = capitalTerms(q.Facts)
		for _, c := range q.Checks {
			qv.Checks = append(qv.Checks, checkView{Name: capital(spaced(c.Code)), State: c.State, Says: english.States[c.State], Text: sentence(c.Text)})
		}
		for _, x := range q.Exhibits {
			e, err := p.exhibit(x, true)
			if err != nil {
				return nil, err
			}
			qv.Exhibits = append(qv.Exhibits, *e)
		}
		v.Questions = append(v.Questions, qv)
	}
	for _, x := range r.Overview {
		e, err := p.exhibit(x, true)
		if err != nil {
			return nil, err
		}
		v.Overview = append(v.Overview, *e)
	}
	v.Plan = planView{Plan: r.Plan, At: momentOf(r.Plan.At), First: momentOf(r.Plan.First)}
	v.Plan.Facts, v.Plan.Controls = capitalTerms(r.Plan.Facts), capitalTerms(r.Plan.Controls)
	v.Plan.Void, v.Plan.Changes = sentences(r.Plan.Void), sentences(r.Plan.Changes)
	v.R.Claim.Scope, v.R.Claim.Fair, v.R.Claim.Against = sentence(r.Claim.Scope), sentence(r.Claim.Fair), sentence(r.Claim.Against)
	v.R.Methods.Responses, v.R.Methods.More = capitalTerms(r.Methods.Responses), capitalTerms(r.Methods.More)
	switch {
	case r.Plan.First.IsZero() || r.Plan.At.IsZero():
		v.Plan.When = english.SealUnknown
	case r.Plan.At.Before(r.Plan.First):
		v.Plan.When = english.SealBefore
	default:
		v.Plan.When, v.Plan.Late = english.SealAfter, true
	}
	for _, e := range r.Plan.History {
		if at := momentOf(e.At); at != nil {
			v.Plan.History = append(v.Plan.History, historyView{*at, e.What})
		}
	}
	if err := p.cooks(v); err != nil {
		return nil, err
	}
	for _, d := range r.Data {
		v.Data = append(v.Data, dataView{d, size(d.Bytes)})
	}
	return v, nil
}

func (p *printer) cooks(v *view) error {
	var names []string
	for _, c := range p.report.Cooks {
		for _, x := range c.Values {
			if !slices.Contains(names, x.Name) {
				names = append(names, x.Name)
				m := x.Measure
				m.Name = x.Name
				v.ValueNames = append(v.ValueNames, m.Heading())
			}
		}
	}
	for _, c := range p.report.Cooks {
		c.Notes, c.Corrections = noteSentences(c.Notes), sentences(c.Corrections)
		cv := cookView{Cook: c, Slug: strings.TrimPrefix(unique(p.used, "cook-"+slug(c.Label)), "cook-"), Heading: c.heading(), Row: make([]string, len(v.ValueNames))}
		for i := range cv.Row {
			cv.Row[i] = "–"
		}
		for _, x := range c.Values {
			cv.Row[slices.Index(names, x.Name)] = x.text()
		}
		if c.Traces != nil {
			e, err := p.exhibit(*c.Traces, false)
			if err != nil {
				return err
			}
			if e.Caption == "" {
				e.Caption = fmt.Sprintf(english.CookTraces, c.Label)
			}
			cv.Figure = e
		}
		for _, w := range c.Weighings {
			cv.Weighings = append(cv.Weighings, weighingView{w.Stage, w.mass(), clock(w.AtS, w.HasAt), w.Note})
			cv.WeighingNotes = cv.WeighingNotes || w.Note != ""
		}
		for _, m := range c.Marks {
			cv.Marks = append(cv.Marks, markView{clock(m.AtS, true), m.What, m.Note})
			cv.MarkNotes = cv.MarkNotes || m.Note != ""
		}
		for _, d := range c.Deviations {
			cv.Deviations = append(cv.Deviations, d.sentence())
		}
		for _, x := range c.Photos {
			cv.Photos = append(cv.Photos, x.View(c.Label))
		}
		cv.Bare = c.Traces == nil && c.VoidWhy == "" && len(c.Weighings)+len(c.Marks)+len(c.Deviations)+len(c.Corrections)+len(c.Notes)+len(c.Photos) == 0 && len(c.Values) > 0
		v.Days = v.Days || c.Day != ""
		v.Cooks = append(v.Cooks, cv)
	}
	return nil
}

// printer turns exhibits into inline figures with ids that are unique in the
// page.
type printer struct {
	report Report
	used   map[string]bool
	count  int
}

// exhibit sets a figure. With both it is numbered, set for wide and for narrow
// pages, and followed by its numbers; otherwise it is set narrow alone.
func (p *printer) exhibit(x Exhibit, both bool) (*exhibitView, error) {
	e := &exhibitView{Slug: unique(p.used, "f-"+slug(x.ID)), Caption: x.Caption}
	if both {
		p.count++
		e.Number = fmt.Sprintf("Figure %d.", p.count)
	}
	size := figure.Phone
	if both {
		size = figure.Page
	}
	var err error
	if e.Wide, err = p.inline(x.Figure, size, e.Slug+"-w"); err != nil {
		return nil, fmt.Errorf("figure %s: %w", x.ID, err)
	}
	if both {
		if e.Narrow, err = p.inline(x.Figure, figure.Phone, e.Slug+"-n"); err != nil {
			return nil, fmt.Errorf("figure %s: %w", x.ID, err)
		}
	}
	if t := x.Figure.Table(); both && len(t.Rows) > 0 {
		e.Table = tableOf(t)
		e.Table.Slug, e.Table.Label = e.Slug, fmt.Sprintf(english.FigureTable, p.count)
		if e.Table.Caption == "" {
			e.Table.Caption = strings.TrimSuffix(e.Number, ".")
		}
	}
	return e, nil
}

// tableOf prepares a figure's table for reading: numbers set right, with the
// decimals that leave the largest of a column four digits. The data files
// hold them in full.
func tableOf(t figure.Table) *tableView {
	v := &tableView{Caption: t.Caption, Rows: make([][]cellView, len(t.Rows))}
	for i, row := range t.Rows {
		v.Rows[i] = make([]cellView, len(row))
	}
	for j, name := range t.Columns {
		largest, whole, numbers := 0.0, true, false
		for _, row := range t.Rows {
			if x, err := strconv.ParseFloat(row[j], 64); err == nil {
				numbers = true
				largest = math.Max(largest, math.Abs(x))
				whole = whole && x == math.Trunc(x)
			}
		}
		decimals := 0
		if !whole && largest > 0 {
			decimals = max(0, min(6, 3-int(math.Floor(math.Log10(largest)))))
		}
		v.Columns = append(v.Columns, cellView{name, numbers})
		for i, row := range t.Rows {
			x, err := strconv.ParseFloat(row[j], 64)
			if err != nil {
				v.Rows[i][j] = cellView{Text: row[j]}
				continue
			}
			text := strconv.FormatFloat(math.Abs(x), 'f', decimals, 64)
			if x < 0 && strings.Trim(text, "0.") != "" {
				text = "−" + text
			}
			v.Rows[i][j] = cellView{text, true}
		}
	}
	return v
}

func (p *printer) inline(f figure.Figure, size figure.Size, id string) (template.HTML, error) {
	s, err := scene(p.report, f, size, figure.Light)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	if err := s.WriteSVG(&b, figure.SVGOptions{Inline: true, ID: id}); err != nil {
		return "", err
	}
	return template.HTML(b.String()), nil
}

// scene lays a figure out and, in a report of invented data, makes sure that
// the picture says so.
func scene(r Report, f figure.Figure, size figure.Size, theme figure.Theme) (*figure.Scene, error) {
	if r.Invented {
		return figure.InventedScene(f, size, theme)
	}
	return f.Scene(size, theme)
}

// slug keeps what may stand in an id and an address.
func slug(s string) string {
	var b strings.Builder
	dash := false
	for _, r := range strings.ToLower(s) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			b.WriteRune(r)
			dash = false
		} else if !dash && b.Len() > 0 {
			b.WriteByte('-')
			dash = true
		}
	}
	if out := strings.Trim(b.String(), "-"); out != "" {
		return out
	}
	return "x"
}

// spaced turns a code such as "too-few-blocks" into words.
func spaced(code string) string { return strings.ReplaceAll(code, "-", " ") }

func clock(seconds float64, known bool) string {
	if !known || math.IsNaN(seconds) || math.IsInf(seconds, 0) {
		return ""
	}
	return figure.Measure{Kind: figure.Duration}.Text(seconds, 0)
}

func size(bytes int64) string {
	switch {
	case bytes >= 1e6:
		return fmt.Sprintf("%.1f MB", float64(bytes)/1e6)
	case bytes >= 1e3:
		return fmt.Sprintf("%.1f kB", float64(bytes)/1e3)
	}
	return fmt.Sprintf("%d B", bytes)
}
