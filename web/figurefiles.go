package web

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"strings"

	"trivet/bench"
	"trivet/cells"
	"trivet/fault"
	"trivet/figure"
	"trivet/publish"
)

// figureFile serves a figure of a study as a file: SVG, PNG at 1080p or 4K,
// on paper or transparent, PDF, or CSV of what is plotted.
func (d *Desk) figureFile(w http.ResponseWriter, r *http.Request) {
	name, kind, _ := strings.Cut(r.PathValue("figure"), ".")
	now, err := d.versionOf(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	sum := sha256.Sum256(fmt.Append(nil, now.Revision, now.Updated.UnixNano(), unitsOf(r), r.URL.RequestURI(), d.opt.Version, d.ui.path("desk.css")))
	if d.mayKeep(w, r, hex.EncodeToString(sum[:12])) {
		return
	}
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	f, err := d.figureOf(r, rec, name)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	size, theme := figure.Page, figure.Light
	switch r.FormValue("size") {
	case "1080p":
		size = figure.HD
	case "4k":
		size = figure.UHD
	case "phone":
		size = figure.Phone
	}
	if r.FormValue("theme") == "dark" {
		theme = figure.Dark
	}
	clear := r.FormValue("paper") == "none"
	head := func(mime, ext string) {
		w.Header().Set("Content-Type", mime)
		w.Header().Set("Content-Disposition", `attachment; filename="`+anchorOf(rec.Study.ID+"-"+name)+"."+ext+`"`)
	}
	if kind == "csv" {
		head("text/csv; charset=utf-8", "csv")
		t := f.Table()
		cells.NewWriter(w).WriteAll(t.Columns, t.Rows) // the reader has gone if this fails
		return
	}
	var sc *figure.Scene
	if rec.Study.Invented {
		sc, err = figure.InventedScene(f, size, theme)
	} else {
		sc, err = f.Scene(size, theme)
	}
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	switch kind {
	case "svg":
		head("image/svg+xml", "svg")
		sc.WriteSVG(w, figure.SVGOptions{Transparent: clear})
	case "png":
		head("image/png", "png")
		sc.WritePNG(w, figure.PNGOptions{Transparent: clear})
	case "pdf":
		head("application/pdf", "pdf")
		sc.WritePDF(w)
	default:
		d.s.fail(w, r, http.StatusNotFound, fault.New("figure-kind", "%s", say("figure-kind")).On("figure", kind).WithFix("%s", say("figure-kind-fix")))
	}
}

// figureOf finds a figure of the study page by its name.
func (d *Desk) figureOf(r *http.Request, rec *bench.Record, name string) (figure.Figure, error) {
	missing := fault.New("figure-unknown", "%s", say("figure-unknown")).On("figure", name).WithFix("%s", say("figure-unknown-fix"))
	u := unitsOf(r)
	if name == "cut-face" {
		if f, ok := cutFaceOf(rec, u); ok {
			return f, nil
		}
		return nil, missing
	}
	if label, ok := strings.CutPrefix(name, "cook-"); ok {
		for i := range rec.Cooks {
			if rec.Cooks[i].Label == label || rec.Cooks[i].ID == label {
				f, _, err := d.cookFigure(r.Context(), rec, &rec.Cooks[i], u)
				return f, err
			}
		}
		return nil, missing
	}
	if f, ok, err := d.overlayFigure(r, rec, name); ok || err != nil {
		return f, err
	}
	got, err := d.answered(r.Context(), rec, false)
	if err != nil || got == nil {
		if err == nil {
			err = missing
		}
		return nil, err
	}
	rep, err := publish.Assemble(r.Context(), d.nb, got, publish.AssembleOptions{Made: d.s.opt.Now(), Fahrenheit: u.Fahrenheit, Brief: true})
	if err != nil {
		return nil, err
	}
	if name == "answer-line" && rep.AnswerLine != nil {
		return *rep.AnswerLine, nil
	}
	for _, q := range rep.Questions {
		for _, x := range q.Exhibits {
			if x.ID == name {
				return x.Figure, nil
			}
		}
	}
	for _, x := range rep.Overview {
		if x.ID == name {
			return x.Figure, nil
		}
	}
	return nil, missing
}
