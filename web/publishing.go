package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"net/http"
	"regexp"

	"trivet/bench"
	"trivet/fault"
	"trivet/publish"
)

// Publishing writes what leaves the desk as files. Each writes to w as it
// goes; w has nothing on it when the error comes before the first byte.
type Publishing struct {
	// Report is the report's folder as one zip file: page, figures, data.
	Report func(ctx context.Context, study string, fahrenheit bool, w io.Writer) error
	// Package is the data package as one zip file.
	Package func(ctx context.Context, study string, w io.Writer) error
	// Notebook is a checked copy of the whole notebook.
	Notebook func(ctx context.Context, w io.Writer) error
}

// reportPage shows the report as it would be published now. A plan that is
// sealed and not finished is not looked at by the way.
func (d *Desk) reportPage(w http.ResponseWriter, r *http.Request) {
	if d.toldFirst(w, r, "report") {
		return
	}
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	got, err := d.published(r.Context(), rec)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	d.writeReport(w, r, got, false)
}

// published is the answer to publish, or why there is none to publish.
func (d *Desk) published(ctx context.Context, rec *bench.Record) (*bench.Answered, error) {
	got, err := d.answered(ctx, rec, false)
	if err == nil && got == nil {
		err = fault.New("publish-nothing", "%s", say("publish-nothing")).WithFix("%s", say("publish-nothing-fix"))
		if early(rec) {
			err = fault.New("publish-early", "%s", say("publish-early")).WithFix("%s", say("publish-early-fix"))
		}
	}
	return got, err
}

// writeReport writes the report as a page: brief for one who reads along,
// whole for one who publishes.
func (d *Desk) writeReport(w http.ResponseWriter, r *http.Request, got *bench.Answered, brief bool) {
	o := publish.AssembleOptions{Made: d.s.opt.Now(), Fahrenheit: unitsOf(r).Fahrenheit, Version: d.opt.Version, Brief: brief}
	if brief {
		o.Photos = d.forReaders(got.Record)
	}
	rep, err := publish.Assemble(r.Context(), d.nb, got, o)
	var b bytes.Buffer
	if err == nil {
		err = rep.WriteHTML(&b)
	}
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	ownStyle(w, b.Bytes())
	send(w, http.StatusOK, b.Bytes())
}

var styleText = regexp.MustCompile(`(?s)<style>(.*?)</style>`)

// ownStyle lets a page that carries its style with it be shown: the policy of
// the response allows that style by its hash, and nothing else.
func ownStyle(w http.ResponseWriter, page []byte) {
	if m := styleText.FindSubmatch(page); m != nil {
		sum := sha256.Sum256(m[1])
		w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'; font-src data:; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	}
}

func (d *Desk) reportFile(w http.ResponseWriter, r *http.Request) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err == nil {
		_, err = d.published(r.Context(), rec)
	}
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	d.file(w, r, "application/zip", rec.Study.ID+"-report.zip", func(w io.Writer) error {
		return d.opt.Publishing.Report(r.Context(), rec.Study.ID, unitsOf(r).Fahrenheit, w)
	})
}

func (d *Desk) packageFile(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	d.file(w, r, "application/zip", id+".zip", func(w io.Writer) error { return d.opt.Publishing.Package(r.Context(), id, w) })
}

func (d *Desk) notebookFile(w http.ResponseWriter, r *http.Request) {
	name := "notebook-" + d.s.opt.Now().Format("2006-01-02") + ".trivet"
	d.file(w, r, "application/octet-stream", name, func(w io.Writer) error { return d.opt.Publishing.Notebook(r.Context(), w) })
}

// file sends a file to keep. A fault before its first byte is a page that says
// so; one after it cuts the connection, so that half a file is never taken for
// a whole one.
func (d *Desk) file(w http.ResponseWriter, r *http.Request, mime, name string, write func(io.Writer) error) {
	w.Header().Set("Content-Type", mime)
	w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", name))
	out := &counted{w: w}
	if err := write(out); err != nil {
		if out.n > 0 {
			panic(http.ErrAbortHandler)
		}
		w.Header().Del("Content-Disposition")
		d.s.fail(w, r, 0, err)
	}
}

type counted struct {
	w io.Writer
	n int64
}

func (c *counted) Write(b []byte) (int, error) {
	n, err := c.w.Write(b)
	c.n += int64(n)
	return n, err
}

// longDocument is from how many cooks on a document is too long to be opened
// unasked: its pages are of many thousand lines.
const longDocument = 250

// longView tells of a document that is long before it is opened.
type longView struct{ ID, Title, Lead, Open, At string }

// toldFirst answers a browser that opens a long document with a page that says
// so, with the ways to it.
func (d *Desk) toldFirst(w http.ResponseWriter, r *http.Request, what string) bool {
	if !opens(r) || asksWhole(r) {
		return false
	}
	h, err := d.head(r.Context(), r.PathValue("id"))
	if err != nil || h.Cooks < longDocument {
		return false // the document itself tells what is wrong
	}
	s := h.Study
	v := longView{s.ID, say("long-"+what, s.Title), say("long-"+what+"-lead", h.Cooks), say("long-" + what + "-open"), "/studies/" + s.ID + "/" + what + "?whole"}
	d.render(w, r, http.StatusOK, "long"+what, frame{Title: v.Title, Invented: s.Invented, Study: s.ID, StudyName: s.Title}, v)
	return true
}

// sheetsPage and sheetsFile are the papers for the day, from the drawn order.
func (d *Desk) sheetsPage(w http.ResponseWriter, r *http.Request) {
	if d.toldFirst(w, r, "sheets") {
		return
	}
	sh, err := d.sheets(r)
	var b bytes.Buffer
	if err == nil {
		err = sh.WriteHTML(&b)
	}
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	ownStyle(w, b.Bytes())
	send(w, http.StatusOK, b.Bytes())
}

func (d *Desk) sheetsFile(w http.ResponseWriter, r *http.Request) {
	paper := publish.A4
	if r.FormValue("paper") == "letter" {
		paper = publish.Letter
	}
	sh, err := d.sheets(r)
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	d.file(w, r, "application/pdf", r.PathValue("id")+"-sheets.pdf", func(w io.Writer) error { return sh.WritePDF(w, paper) })
}

func (d *Desk) sheets(r *http.Request) (*publish.Sheets, error) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		return nil, err
	}
	deal, ok := bench.Dealt(rec.Study, nil)
	if !ok {
		return nil, fault.New("sheets-undrawn", "%s", say("sheets-undrawn")).WithFix("%s", say("sheets-undrawn-fix"))
	}
	return publish.SheetsOf(rec, rec.Study, deal, unitsOf(r).Fahrenheit), nil
}
