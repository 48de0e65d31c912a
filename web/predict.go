package web

import (
	"crypto/sha256"
	"fmt"
	"maps"
	"math"
	"net/http"
	"path"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/goccy/go-yaml"

	"trivet/bench"
	"trivet/doneness"
	"trivet/fault"
	"trivet/figure"
	"trivet/heat"
	"trivet/quantity"
	"trivet/study"
)

// prediction is what the heat model says of one cook file.
type prediction struct {
	cook     *heat.Cook
	res      *heat.Result
	sections []figure.Section
	says     []string
}

// predictions keeps the last cook files that were simulated.
var predictions struct {
	sync.Mutex
	by map[[32]byte]*prediction
}

// predict simulates a cook file.
func predict(name string, src []byte, fahrenheit bool) (*prediction, error) {
	key := sha256.Sum256(append([]byte(strconv.FormatBool(fahrenheit)), src...))
	predictions.Lock()
	p := predictions.by[key]
	predictions.Unlock()
	if p != nil {
		return p, nil
	}
	cook, err := heat.ParseCook(name, src)
	if err != nil {
		return nil, err
	}
	model := doneness.For(heat.FamilyOf(cook.Spec.Piece))
	spec := cook.Spec
	field := heat.NewDoneField(model, &spec)
	res, err := heat.Simulate(&spec, heat.Options{Observer: field})
	if err != nil {
		return nil, err
	}
	p = &prediction{cook: cook, res: res}
	add := func(word string, m *heat.DoneMoment) {
		if m == nil {
			return
		}
		x := figure.SectionOf(res.Grid, figure.SnapshotAt(res, m.TimeS), *m, model)
		x.At = word + ", " + quantity.FormatDuration(quantity.Seconds(math.Round(m.TimeS)))
		x.Says = say("core-says", temperature(valueAt(res.TimeS, res.CoreC, m.TimeS), fahrenheit))
		p.sections = append(p.sections, x)
	}
	add(say("at-pull"), field.Pull)
	add(say("at-end"), field.End)
	sum := res.Summary
	end := res.Legs[len(res.Legs)-1].EndS
	if sum.PullTimeS != nil && sum.CorePeakC != nil && sum.CarryoverK != nil {
		p.says = append(p.says, say("predict-pull", duration(*sum.PullTimeS), temperature(*sum.CoreAtPullC, fahrenheit)), say("predict-peak", temperature(*sum.CorePeakC, fahrenheit), difference(*sum.CarryoverK, fahrenheit)))
	} else {
		p.says = append(p.says, say("predict-end", duration(end), temperature(res.CoreC[len(res.CoreC)-1], fahrenheit)))
	}
	p.says = append(p.says, say("predict-loss", fmt.Sprintf("%.1f", sum.LossPct), fmt.Sprintf("%.0f", sum.EvenSharePct), units{Fahrenheit: fahrenheit}.width(5, "K")))
	predictions.Lock()
	defer predictions.Unlock()
	if predictions.by == nil || len(predictions.by) > 64 {
		predictions.by = map[[32]byte]*prediction{}
	}
	predictions.by[key] = p
	return p, nil
}

func temperature(c float64, fahrenheit bool) string {
	if fahrenheit {
		return fmt.Sprintf("%.1f °F", c*1.8+32)
	}
	return fmt.Sprintf("%.1f °C", c)
}

func difference(k float64, fahrenheit bool) string {
	if fahrenheit {
		return fmt.Sprintf("%.1f °F", 1.8*k)
	}
	return fmt.Sprintf("%.1f °C", k)
}

func duration(s float64) string { return quantity.FormatDuration(quantity.Seconds(math.Round(s))) }

func valueAt(ts, v []float64, t float64) float64 {
	i, _ := slices.BinarySearch(ts, t)
	switch {
	case i == 0:
		return v[0]
	case i >= len(ts):
		return v[len(v)-1]
	}
	f := (t - ts[i-1]) / (ts[i] - ts[i-1])
	return v[i-1] + f*(v[i]-v[i-1])
}

// trace draws the predicted temperatures of the middle and of both faces.
func (p *prediction) trace(title string, fahrenheit bool) figure.Traces {
	f := figure.Traces{Head: figure.Head{Title: say("predict-trace", title), Note: say("predict-note")}, Treatments: []string{say("core"), say("side-a"), say("side-b")},
		Measure: figure.Measure{Name: "temperature", Kind: figure.Temperature, Degrees: degreesOf(fahrenheit)}}
	for i, v := range [][]float64{p.res.CoreC, p.res.BottomC, p.res.TopC} {
		f.Lines = append(f.Lines, figure.TraceLine{Cook: f.Treatments[i], Channel: say("predicted"), Treatment: i, AtS: p.res.TimeS, Values: v})
	}
	for _, e := range p.res.Events {
		if e.Kind == heat.Turned {
			f.Marks = append(f.Marks, figure.TraceMark{Label: "turn", AtS: e.TimeS})
		}
	}
	if t := p.res.Summary.PullTimeS; t != nil {
		f.Marks = append(f.Marks, figure.TraceMark{Label: "pull", AtS: *t})
	}
	return f
}

func degreesOf(fahrenheit bool) figure.Degrees {
	if fahrenheit {
		return figure.Fahrenheit
	}
	return figure.Celsius
}

func (p *prediction) face(title string, u units) figure.CutFace {
	return figure.CutFace{Title: say("cutface-title"), Fahrenheit: u.Fahrenheit, Inch: u.Inch, Pieces: []figure.CutPiece{{Name: title, Sections: p.sections}}}
}

// treatment tells a treatment in sentences.
func (d *Desk) treatment(rec *bench.Record, t study.Treatment, u units) treatmentView {
	v := treatmentView{ID: t.ID, Name: t.Name, Control: t.Control, Cook: t.Cook}
	if v.Name == "" {
		v.Name = t.ID
	}
	for _, k := range slices.Sorted(maps.Keys(t.Set)) {
		v.Set = append(v.Set, choice{k, t.Set[k]})
	}
	src, ok := rec.CookFiles[t.Cook]
	if t.Cook == "" || !ok {
		return v
	}
	p, err := predict(t.Cook, src, u.Fahrenheit)
	if err != nil {
		v.Error = d.s.publicFault(err)
		return v
	}
	v.Says = p.says
	return v
}

// cutFaces sets the predicted cut faces of all treatments side by side.
func (d *Desk) cutFaces(rec *bench.Record, u units) *pictureView {
	f, ok := cutFaceOf(rec, u)
	if !ok {
		return nil
	}
	p, err := d.picture(rec.Study.ID, "cut-face", f, rec.Study.Invented)
	if err != nil {
		return nil
	}
	return p
}

func cutFaceOf(rec *bench.Record, u units) (figure.CutFace, bool) {
	f := figure.CutFace{Title: say("cutface-title"), Fahrenheit: u.Fahrenheit, Inch: u.Inch}
	for _, t := range rec.Study.Treatments {
		src, ok := rec.CookFiles[t.Cook]
		if !ok {
			continue
		}
		p, err := predict(t.Cook, src, u.Fahrenheit)
		if err != nil {
			continue
		}
		name := t.Name
		if name == "" {
			name = t.ID
		}
		f.Pieces = append(f.Pieces, figure.CutPiece{Name: name, Sections: p.sections})
	}
	return f, len(f.Pieces) > 0
}

// leaf is one value of a cook file in its form.
type leaf struct {
	Path, ID, Label, Value string
	List                   bool
	Wrong                  *fault.Error
	Also                   string // the value in the person's own unit, where it is written in another
}

// inUnits writes beside values what they are in a person's own units; the
// file keeps its author's.
func inUnits(groups []leafGroup, u units) {
	for _, g := range groups {
		for i := range g.Leaves {
			l := &g.Leaves[i]
			var parts []string
			for _, x := range strings.Split(l.Value, ", ") {
				parts = append(parts, u.written("", x))
			}
			if own := strings.Join(parts, ", "); own != l.Value {
				l.Also = own
			}
		}
	}
}

// leafGroup is a part of the form: the piece, a leg, another top key. At is
// its path where the form offers changes of it.
type leafGroup struct {
	Name     string
	Leaves   []leaf
	At       string
	Earlier  bool // it can be put before the one that it follows
	Out      bool // it can be taken out
	Changing *formChoice
}

type cookFileView struct {
	ID, StudyTitle, Treatment, Name, File string
	Text, Base                            string
	View                                  string // "form" or "text"
	Groups                                []leafGroup
	Error                                 *fault.Error
	More                                  []string
	Theirs                                string
	Part                                  predictView
	New                                   bool
	Changed                               bool // in its structure, and not saved yet
	MoreLegs                              []formOption
}

type predictView struct {
	Says  []string
	Trace *pictureView
	Face  *pictureView
	Error *fault.Error
	More  []string
}

// newCookFile is what a treatment's cook file begins as.
const newCookFile = `# How this treatment is cooked, for the heat model.
piece:
  shape: slab
  thickness: 30 mm
  start: 5 °C
  food: pork top loin chop, lean
moisture: on
legs:
  - name: pan
    bottom: {pan: 205 °C, contact: 350}
    top: {air: 25 °C, h: 8, humidity: 40 %}
    turn: {at: [3 min]}
    ends_when: {core: 58 °C}
  - name: rest
    rest: true
    bottom: {board: 23 °C, h: 8}
    top: {air: 23 °C, h: 6, humidity: 40 %}
    ends_when: {time: 8 min}
output: {every: 1 s}
`

func (d *Desk) findTreatment(w http.ResponseWriter, r *http.Request) (*bench.Record, *study.Treatment, bool) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return nil, nil, false
	}
	for i := range rec.Study.Treatments {
		if t := &rec.Study.Treatments[i]; t.ID == r.PathValue("treatment") {
			return rec, t, true
		}
	}
	d.s.fail(w, r, http.StatusNotFound, fault.New("treatment-unknown", "%s", say("treatment-unknown")).On("treatment", r.PathValue("treatment")).WithFix("%s", say("treatment-unknown-fix")))
	return nil, nil, false
}

func (d *Desk) treatmentPage(w http.ResponseWriter, r *http.Request) {
	rec, t, ok := d.findTreatment(w, r)
	if !ok {
		return
	}
	v := cookFileView{View: r.FormValue("view")}
	src, known := rec.CookFiles[t.Cook]
	if !known {
		src, v.New = []byte(newCookFile), true
	}
	v.Text, v.Base = string(src), bench.HashOf(src)
	if v.New {
		v.Base = ""
	}
	d.showCookFile(w, r, http.StatusOK, rec, t, v)
}

func (d *Desk) showCookFile(w http.ResponseWriter, r *http.Request, status int, rec *bench.Record, t *study.Treatment, v cookFileView) {
	v.ID, v.StudyTitle, v.Treatment, v.Name, v.File = rec.Study.ID, rec.Study.Title, t.ID, t.Name, t.Cook
	if v.Name == "" {
		v.Name = t.ID
	}
	if v.File == "" {
		v.File = "cooks/" + t.ID + ".yaml"
	}
	if v.View != "text" {
		v.View = "form"
	}
	if v.Groups == nil {
		v.Groups = leaves([]byte(v.Text), v.Error)
		inUnits(v.Groups, unitsOf(r))
	}
	if v.Groups == nil {
		v.View = "text" // what cannot be read has no form
	}
	for _, l := range legStarts {
		v.MoreLegs = append(v.MoreLegs, formOption{l.name, say("leg-start-" + l.name)})
	}
	v.Part = d.predictionPart(rec, v.File, v.Name, []byte(v.Text), unitsOf(r))
	d.render(w, r, status, "cookfile", frame{Title: say("cookfile-title", v.Name), Invented: rec.Study.Invented, Script: "study", Study: v.ID, StudyName: v.StudyTitle}, v)
}

func (d *Desk) predictionPart(rec *bench.Record, file, name string, src []byte, u units) predictView {
	p, err := predict(file, src, u.Fahrenheit)
	if err != nil {
		return predictView{Error: d.s.publicFault(err), More: allFaults(err)}
	}
	v := predictView{Says: p.says}
	if v.Trace, err = d.picture(rec.Study.ID, "predicted", p.trace(name, u.Fahrenheit), rec.Study.Invented); err != nil {
		v.Error = d.s.publicFault(err)
		return v
	}
	v.Trace.Key = ""
	if v.Face, err = d.picture(rec.Study.ID, "face", p.face(name, u), rec.Study.Invented); err != nil {
		v.Error = d.s.publicFault(err)
		return v
	}
	v.Face.Key = ""
	return v
}

// leaves lists the values of a cook file, grouped as they are written, nil
// when it cannot be read.
func leaves(src []byte, wrong *fault.Error) []leafGroup {
	var top yaml.MapSlice
	if err := yaml.Unmarshal(src, &top); err != nil || len(top) == 0 {
		return nil
	}
	var out []leafGroup
	for _, item := range top {
		key := fmt.Sprint(item.Key)
		if list, ok := item.Value.([]any); ok && key == "legs" {
			for i, x := range list {
				g := leafGroup{Name: say("leg-number", i+1)}
				if m, ok := x.(map[string]any); ok && m["name"] != nil {
					g.Name += ": " + fmt.Sprint(m["name"])
				}
				g.At, g.Earlier, g.Out = fmt.Sprintf("legs[%d]", i+1), i > 0, len(list) > 1
				walkLeaves(&g, g.At, "", ordered(src, i), wrong)
				out = append(out, g)
			}
			continue
		}
		g := leafGroup{Name: strings.ReplaceAll(key, "_", " ")}
		if key == "piece" {
			g.At = key
		}
		walkLeaves(&g, key, "", orderedTop(src, key), wrong)
		if len(g.Leaves) == 1 && g.Leaves[0].Label == "" {
			g.Leaves[0].Label = g.Name
		}
		out = append(out, g)
	}
	has := hasPaths(out)
	for i := range out {
		switch g := &out[i]; g.At {
		case "":
		case "piece":
			c := pieceChoices(has)
			g.Changing = &c
		default:
			c := legChoices(g.At, has)
			g.Changing = &c
		}
	}
	return out
}

// orderedTop reads a top entry with its keys in the order of the file.
func orderedTop(src []byte, key string) any {
	var top yaml.MapSlice
	if yaml.UnmarshalWithOptions(src, &top, yaml.UseOrderedMap()) != nil {
		return nil
	}
	for _, item := range top {
		if fmt.Sprint(item.Key) == key {
			return item.Value
		}
	}
	return nil
}

func ordered(src []byte, leg int) any {
	list, _ := orderedTop(src, "legs").([]any)
	if leg < len(list) {
		return list[leg]
	}
	return nil
}

func walkLeaves(g *leafGroup, at, label string, v any, wrong *fault.Error) {
	switch v := v.(type) {
	case yaml.MapSlice:
		for _, item := range v {
			key := fmt.Sprint(item.Key)
			name := strings.ReplaceAll(key, "_", " ")
			if label != "" {
				name = label + ", " + name
			}
			walkLeaves(g, at+"."+key, name, item.Value, wrong)
		}
	case []any:
		var parts []string
		for i, x := range v {
			switch x.(type) {
			case yaml.MapSlice, []any:
				walkLeaves(g, fmt.Sprintf("%s[%d]", at, i+1), fmt.Sprintf("%s %d", label, i+1), x, wrong)
			default:
				parts = append(parts, fmt.Sprint(x))
			}
		}
		if len(parts) == len(v) {
			g.Leaves = append(g.Leaves, newLeaf(at, label, strings.Join(parts, ", "), true, wrong))
		}
	case nil:
		g.Leaves = append(g.Leaves, newLeaf(at, label, "", false, wrong))
	default:
		g.Leaves = append(g.Leaves, newLeaf(at, label, fmt.Sprint(v), false, wrong))
	}
}

func newLeaf(at, label, value string, list bool, wrong *fault.Error) leaf {
	l := leaf{Path: at, ID: "leaf-" + anchorOf(strings.NewReplacer(".", "-", "[", "-", "]", "").Replace(at)), Label: label, Value: value, List: list}
	if wrong != nil && wrong.Field == at {
		l.Wrong = wrong
	}
	return l
}

// scalar is a value as YAML would read it.
func scalar(text string) any {
	text = strings.TrimSpace(text)
	if n, err := strconv.Atoi(text); err == nil {
		return n
	}
	if v, err := strconv.ParseFloat(text, 64); err == nil && finite(v) {
		return v
	}
	switch text {
	case "":
		return nil
	case "true":
		return true
	case "false":
		return false
	}
	return text
}

// filledIn is the text of a cook file with the values of its form, or the
// text that was typed.
func filledIn(r *http.Request) ([]byte, error) {
	text := strings.ReplaceAll(r.PostFormValue("text"), "\r\n", "\n")
	if r.PostFormValue("view") != "form" {
		return []byte(text), nil
	}
	doc, err := study.ReadDocument("cook.yaml", []byte(text))
	if err != nil {
		return []byte(text), err
	}
	for _, g := range leaves([]byte(text), nil) {
		for _, l := range g.Leaves {
			typed, ok := r.PostForm["leaf:"+l.Path]
			if !ok || same(typed[0], l.Value) {
				continue
			}
			var v any = scalar(typed[0])
			if l.List {
				parts := []any{}
				for p := range strings.SplitSeq(typed[0], ",") {
					if p = strings.TrimSpace(p); p != "" {
						parts = append(parts, scalar(p))
					}
				}
				v = parts
			}
			if err := doc.Set(l.Path, v); err != nil {
				return doc.Bytes(), err
			}
		}
	}
	return doc.Bytes(), nil
}

// predictPart answers an edit that is not saved: what the cook file would
// give.
func (d *Desk) predictPart(w http.ResponseWriter, r *http.Request) {
	rec, t, ok := d.findTreatment(w, r)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		d.s.fail(w, r, 0, fault.New("form-bad", "%s", say("form-bad")).Wrap(err))
		return
	}
	src, err := filledIn(r)
	var v predictView
	if err != nil {
		v = predictView{Error: d.s.publicFault(err), More: allFaults(err)}
	} else {
		v = d.predictionPart(rec, "cook file", t.Name, src, unitsOf(r))
	}
	d.renderPart(w, http.StatusOK, "prediction", v)
}

func (d *Desk) saveTreatment(w http.ResponseWriter, r *http.Request) {
	defer d.writing(r.PathValue("id"))()
	rec, t, ok := d.findTreatment(w, r)
	if !ok {
		return
	}
	if err := r.ParseForm(); err != nil {
		d.s.fail(w, r, 0, fault.New("form-bad", "%s", say("form-bad")).Wrap(err))
		return
	}
	v := cookFileView{View: r.PostFormValue("view"), Base: r.PostFormValue("base")}
	src, err := filledIn(r)
	v.Text = string(src)
	current, known := rec.CookFiles[t.Cook]
	if err == nil && known && v.Base != bench.HashOf(current) || err == nil && !known && v.Base != "" {
		v.Error = fault.New("edited-meanwhile", "%s", say("text-meanwhile")).WithFix("%s", say("text-meanwhile-fix"))
		v.Theirs, v.Base = string(current), bench.HashOf(current)
		d.showCookFile(w, r, http.StatusConflict, rec, t, v)
		return
	}
	file := t.Cook
	if file == "" {
		file = path.Join("cooks", t.ID+".yaml")
	}
	if err == nil {
		_, err = heat.ParseCook(file, src)
	}
	if err == nil {
		err = d.saveCookFile(r, rec, t, file, src)
	}
	if err != nil {
		v.Error, v.More = d.s.publicFault(err), allFaults(err)
		d.showCookFile(w, r, statusOf(v.Error), rec, t, v)
		return
	}
	to := "/studies/" + rec.Study.ID + "/treatments/" + t.ID
	if v.View == "text" {
		to += "?view=text"
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
}

func (d *Desk) saveCookFile(r *http.Request, rec *bench.Record, t *study.Treatment, file string, src []byte) error {
	files := maps.Clone(rec.CookFiles)
	if files == nil {
		files = map[string][]byte{}
	}
	files[file] = src
	document := rec.Document
	if t.Cook == "" {
		doc, err := study.ReadDocument("study.yaml", rec.Document)
		if err == nil {
			err = doc.Set("treatments["+t.ID+"].cook", file)
		}
		if err != nil {
			return err
		}
		document = doc.Bytes()
	}
	_, err := bench.Edit(r.Context(), d.nb, rec, document, files, d.s.opt.Now())
	return err
}
