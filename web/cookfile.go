package web

import (
	"context"
	"maps"
	"net/http"
	"path"

	"trivet/bench"
	"trivet/fault"
	"trivet/heat"
	"trivet/study"
)

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

// findTreatment finds the treatment of a request in a study that read reads:
// with [bench.Notebook.Record] to change it, with [Desk.outline] to show it.
func (d *Desk) findTreatment(w http.ResponseWriter, r *http.Request, read func(context.Context, string) (*bench.Record, error)) (*bench.Record, *study.Treatment, bool) {
	rec, err := read(r.Context(), r.PathValue("id"))
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

// treatmentForm finds the treatment whose form was sent, and reads the form.
func (d *Desk) treatmentForm(w http.ResponseWriter, r *http.Request, read func(context.Context, string) (*bench.Record, error)) (*bench.Record, *study.Treatment, bool) {
	rec, t, ok := d.findTreatment(w, r, read)
	if !ok {
		return nil, nil, false
	}
	if err := r.ParseForm(); err != nil {
		d.s.fail(w, r, 0, fault.New("form-bad", "%s", say("form-bad")).Wrap(err))
		return nil, nil, false
	}
	return rec, t, true
}

func (d *Desk) treatmentPage(w http.ResponseWriter, r *http.Request) {
	rec, t, ok := d.findTreatment(w, r, d.outline)
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

// nameOf is what a treatment is called.
func nameOf(t *study.Treatment) string {
	if t.Name == "" {
		return t.ID
	}
	return t.Name
}

func cookFileFrame(s *study.Study, name string) frame {
	return frame{Title: say("cookfile-title", name), Invented: s.Invented, Script: "study", Study: s.ID, StudyName: s.Title, Breadth: "broad"}
}

func (d *Desk) showCookFile(w http.ResponseWriter, r *http.Request, status int, rec *bench.Record, t *study.Treatment, v cookFileView) {
	v.ID, v.StudyTitle, v.Treatment, v.Name, v.File = rec.Study.ID, rec.Study.Title, t.ID, nameOf(t), t.Cook
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
	d.render(w, r, status, "cookfile", cookFileFrame(rec.Study, v.Name), v)
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

// predictPart answers an edit that is not saved: what the cook file would
// give.
func (d *Desk) predictPart(w http.ResponseWriter, r *http.Request) {
	rec, t, ok := d.treatmentForm(w, r, d.outline)
	if !ok {
		return
	}
	src, err := filledIn(r)
	var v predictView
	if err != nil {
		v = predictView{Error: d.s.publicFault(err), More: allFaults(err)}
	} else {
		v = d.predictionPart(rec, "cook file", t.Name, src, unitsOf(r))
	}
	d.renderPart(w, r, http.StatusOK, "prediction", v)
}

func (d *Desk) saveTreatment(w http.ResponseWriter, r *http.Request) {
	defer d.writing(r.PathValue("id"))()
	rec, t, ok := d.treatmentForm(w, r, d.nb.Record)
	if !ok {
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
