package web

import (
	"bytes"
	"context"
	"html/template"
	"net/http"
	"sync/atomic"
	"time"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// A browser reads what it has been sent before it paints any of it, and of a
// page of forms, tables and figures the reading takes it longer than all that
// the server does. So a browser that opens a page is sent the top of it first,
// from what is known without reading the cooks, and the rest when it has had
// the time to paint that. It is one answer all the same: nothing of it needs a
// script. What the desk works out in the background stands aside meanwhile,
// since of two cores it would take the one that paints.

// painting is how long a browser on the same machine is left alone with the
// top of a page. A page of one line is painted after 30 to 60 ms.
const painting = 80 * time.Millisecond

// fewCooks is the most cooks of a study that is answered while a browser
// waits: it takes no longer than a page of one line.
const fewCooks = 40

// mostUnbroken is the most bytes that may follow the top of a page without a
// pause: a browser takes no longer for them than for the top alone.
const mostUnbroken = 12 << 10

// restMark ends the top of a page. A page without one is sent as it is.
const restMark = "<!--rest-->"

// cutAt is how many bytes of a page are its top; 0 is a page sent whole.
func cutAt(page []byte) int {
	i := bytes.Index(page, []byte(restMark))
	if i < 0 || len(page)-i < mostUnbroken {
		return 0
	}
	return i + len(restMark)
}

// opens tells whether a browser opens a page, rather than a script or a
// program asking for one. Browsers say so on the machine itself and under TLS
// (W3C Fetch Metadata Request Headers, § 2).
func opens(r *http.Request) bool {
	return r.Method == http.MethodGet && r.Header.Get("Sec-Fetch-Mode") == "navigate"
}

// asksWhole tells whether a page is to be sent when all of it is there: a
// browser without scripts asks so for what it found still open.
func asksWhole(r *http.Request) bool {
	return r.Method == http.MethodGet && r.URL.Query().Has("whole")
}

// lastOpened is when a browser last opened a page.
type lastOpened struct{ at atomic.Int64 }

func (o *lastOpened) around(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if opens(r) {
			o.at.Store(time.Now().UnixNano())
		}
		next.ServeHTTP(w, r)
	})
}

// aside waits while a browser paints. Where pages are opened all the time it
// goes on after a few of them.
func (o *lastOpened) aside(ctx context.Context) {
	for range 5 {
		left := time.Until(time.Unix(0, o.at.Load()).Add(painting))
		if left <= 0 || !pause(ctx, left) {
			return
		}
	}
}

// pause waits, and tells whether the context still stands.
func pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// begun is an answer whose top is sent. It takes the page that a handler
// writes and sends what comes after its top.
type begun struct {
	d      *Desk
	w      http.ResponseWriter
	r      *http.Request
	frame  frame
	header http.Header // too late to be sent
	page   bytes.Buffer
	status int
}

func (b *begun) Header() http.Header { return b.header }

func (b *begun) WriteHeader(status int) { b.status = status }

func (b *begun) Write(p []byte) (int, error) { return b.page.Write(p) }

// failed puts an error in the place of the rest of a page.
func (b *begun) failed(f *fault.Error) {
	b.page.Reset()
	b.page.Write(b.d.page(b.r, b.frame, restMark+b.d.partIn(unitsOf(b.r), "fault", f)))
}

// sendTop sends the top of a page.
func (d *Desk) sendTop(w http.ResponseWriter, r *http.Request, f frame, top template.HTML) *begun {
	page := d.page(r, f, top+restMark)
	send := page[:bytes.Index(page, []byte(restMark))+len(restMark)]
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(http.StatusOK)
	w.Write(send)
	http.NewResponseController(w).Flush() // a connection that cannot is sent all at the end
	return &begun{d: d, w: w, r: r, frame: f, header: http.Header{}}
}

// finish sends the rest.
func (b *begun) finish() {
	page := b.page.Bytes()
	if i := bytes.Index(page, []byte(restMark)); i >= 0 {
		page = page[i+len(restMark):]
	}
	b.w.Write(page)
}

// opening answers with a page of a study, which show writes. Where there are
// many cooks to be read for it a browser that opens it gets the top from the
// study's head first, and nothing is read while it paints that. A top of ""
// leaves all to show.
func (d *Desk) opening(w http.ResponseWriter, r *http.Request, top func(h *bench.Head) (frame, template.HTML), show func(w http.ResponseWriter)) {
	if !opens(r) {
		show(w)
		return
	}
	h, err := d.head(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	var f frame
	var html template.HTML
	if h.Cooks > fewCooks {
		f, html = top(h)
	}
	if html == "" {
		show(w)
		return
	}
	if b := d.sendTop(w, r, f, html); pause(r.Context(), painting) {
		show(b)
		b.finish()
	}
}

// head reads a study without its cooks and history.
func (d *Desk) head(ctx context.Context, id string) (*bench.Head, error) {
	if nb, ok := d.nb.(bench.Heads); ok {
		return nb.Head(ctx, id)
	}
	rec, err := d.nb.Record(ctx, id)
	if err != nil {
		return nil, err
	}
	return &bench.Head{Record: rec, Cooks: len(rec.Cooks), Trashed: bench.Trashed(rec.Events)}, nil
}

// outline is the record of a study's head.
func (d *Desk) outline(ctx context.Context, id string) (*bench.Record, error) {
	h, err := d.head(ctx, id)
	if err != nil {
		return nil, err
	}
	return h.Record, nil
}

// title is a top of nothing but a page's title.
func (d *Desk) title(text string) template.HTML { return d.partIn(units{}, "title", text) }

// sendPage writes a page of the desk, to a browser that opens it in two parts.
func sendPage(w http.ResponseWriter, r *http.Request, status int, page []byte) {
	cut := cutAt(page)
	if _, ok := w.(*begun); ok || cut == 0 || status != http.StatusOK || !opens(r) {
		send(w, status, page)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	inTwo(w, r, page, cut)
}

// inTwo writes the top of a page, and the rest when it has been painted.
func inTwo(w http.ResponseWriter, r *http.Request, page []byte, cut int) {
	w.Write(page[:cut])
	http.NewResponseController(w).Flush()
	if pause(r.Context(), painting) {
		w.Write(page[cut:])
	}
}

// cookOf finds a cook of a study without reading the others.
func (d *Desk) cookOf(ctx context.Context, h *bench.Head, label string) (study.Cook, bool) {
	if nb, ok := d.nb.(bench.Heads); ok {
		c, err := nb.FindCook(ctx, h.Study.ID, label)
		return c, err == nil && c.ID != ""
	}
	for _, c := range h.Record.Cooks {
		if c.Label == label || c.ID == label {
			return c, true
		}
	}
	return study.Cook{}, false
}
