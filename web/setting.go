package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/klauspost/compress/gzip"
	"golang.org/x/sync/singleflight"

	"trivet/bench"
)

// Pages of studies are set once for each version of what they show, away from
// the request that asks for them. A request waits a moment for the whole page;
// when that takes longer it gets what there is, and the page's script asks
// for the rest, saying what it has. Without scripts the page asks again by
// itself.

// stage is how much of a page there is.
type stage string

const (
	asTop   stage = "top"   // a browser has the top and waits for the rest
	asShell stage = "shell" // the title alone
	asPlain stage = "plain" // all but what rests on the answer
	asWhole stage = "whole"
)

const (
	// patience is how long a request waits for the whole page.
	patience = 25 * time.Millisecond
	// plainAfter is how long the whole page may take before the plain one is
	// set beside it.
	plainAfter = 12 * time.Millisecond
	// longWait is how long a script that has part of a page waits for more.
	longWait = 25 * time.Second
	// mostSet is how many pages are set at a time.
	mostSet = 2
)

// sheet is a page that is set.
type sheet struct {
	html, packed   []byte
	tag            string // entity tag
	cut, packedCut int    // how much of it is the top; 0 it is sent whole
}

func newSheet(html []byte) *sheet {
	var b bytes.Buffer
	z, _ := gzip.NewWriterLevel(&b, gzip.DefaultCompression) // the level is valid
	s := &sheet{html: html, cut: cutAt(html)}
	if s.cut > 0 {
		z.Write(html[:s.cut])
		z.Flush()
		s.packedCut = b.Len()
	}
	z.Write(html[s.cut:])
	z.Close()
	sum := sha256.Sum256(html)
	s.packed, s.tag = b.Bytes(), hex.EncodeToString(sum[:12])
	return s
}

// setting is a page on its way. The channels close when their page is there
// or will never be.
type setting struct {
	plain, whole           chan struct{}
	plainSheet, wholeSheet *sheet
	err                    error // read after whole is closed
}

// do runs f in the background, until it is done or the desk is closed; work
// that is large stands aside while a browser paints.
func (p *setPages) do(large bool, f func(ctx context.Context)) {
	p.begin()
	p.running.Go(func() {
		select {
		case p.gate <- struct{}{}:
			defer func() { <-p.gate }()
			if large {
				p.opened.aside(p.life)
			}
			f(p.life)
		case <-p.life.Done():
			f(p.life) // it is told that all is over
		}
	})
}

func (p *setPages) begin() {
	p.once.Do(func() {
		p.life, p.end = context.WithCancel(context.Background())
		p.gate = make(chan struct{}, mostSet)
		p.coming = map[string]*setting{}
	})
}

// Close ends what the desk does in the background. Call it before the
// notebook is closed.
func (d *Desk) Close() {
	d.pages.begin()
	d.pages.end()
	d.pages.running.Wait()
}

// set starts a page, which may be large, or joins those who wait for it.
func (p *setPages) set(key string, large bool, lay func(ctx context.Context, st stage) ([]byte, error)) *setting {
	p.begin()
	p.mu.Lock()
	defer p.mu.Unlock()
	if x := p.coming[key]; x != nil {
		return x
	}
	lay = caught(lay)
	x := &setting{plain: make(chan struct{}), whole: make(chan struct{})}
	p.coming[key] = x
	p.running.Go(func() {
		if large {
			p.opened.aside(p.life)
		}
		select {
		case <-x.whole:
		case <-p.life.Done():
		case <-time.After(plainAfter):
			if b, err := lay(p.life, asPlain); err == nil {
				x.plainSheet = newSheet(b)
			}
		}
		close(x.plain)
	})
	p.do(large, func(ctx context.Context) {
		b, err := lay(ctx, asWhole)
		if x.err = err; err == nil {
			x.wholeSheet = newSheet(b)
			p.put(key, x.wholeSheet)
		}
		p.mu.Lock()
		delete(p.coming, key)
		p.mu.Unlock()
		close(x.whole)
	})
	return x
}

// caught turns a panic of a page into an error, since no request is there to
// catch it.
func caught(lay func(context.Context, stage) ([]byte, error)) func(context.Context, stage) ([]byte, error) {
	return func(ctx context.Context, st stage) (b []byte, err error) {
		defer func() {
			if p := recover(); p != nil {
				err = fmt.Errorf("a page could not be set: %v\n%s", p, debug.Stack())
			}
		}()
		return lay(ctx, st)
	}
}

// await waits for more of a page than a browser has: "" is a browser that has
// nothing and a reader who waits. It returns nil when there is no more yet.
func (x *setting) await(ctx context.Context, have stage) (*sheet, stage, error) {
	wait := patience
	plain := x.plain
	switch have {
	case asShell:
		wait = longWait
	case asPlain:
		wait, plain = longWait, nil
	case asTop:
		// The rest comes once: better whole a little later.
		select {
		case <-x.whole:
		case <-time.After(patience):
		case <-ctx.Done():
		}
		wait = longWait
	}
	late := time.NewTimer(wait)
	defer late.Stop()
	if have == "" {
		plain = nil // the whole page may still come in time
	}
	for {
		select {
		case <-x.whole:
			return x.wholeSheet, asWhole, x.err
		case <-plain:
			if x.plainSheet != nil {
				return x.plainSheet, asPlain, nil
			}
			plain = nil
		case <-late.C:
			select {
			case <-x.plain:
				if have != asPlain && x.plainSheet != nil {
					return x.plainSheet, asPlain, nil
				}
			default:
			}
			return nil, asShell, nil
		case <-ctx.Done():
			return nil, asShell, ctx.Err()
		}
	}
}

// setPages keeps the pages that were set last, so that many readers of one
// study cost one setting, and those on their way.
type setPages struct {
	opened  lastOpened
	mu      sync.Mutex
	by      map[string]*sheet
	size    int
	coming  map[string]*setting
	fetches map[string]chan struct{} // see [setPages.fetch]

	once      sync.Once
	life      context.Context // of the desk
	end       context.CancelFunc
	running   sync.WaitGroup
	gate      chan struct{}
	answering singleflight.Group
	reading   singleflight.Group
}

// mostPageBytes bounds the pages kept.
const mostPageBytes = 32 << 20

func (p *setPages) get(key string) *sheet {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.by[key]
}

func (p *setPages) put(key string, s *sheet) {
	p.mu.Lock()
	defer p.mu.Unlock()
	size := len(s.html) + len(s.packed)
	if p.by == nil || p.size+size > mostPageBytes {
		p.by, p.size = map[string]*sheet{}, 0
	}
	if old := p.by[key]; old != nil {
		p.size -= len(old.html) + len(old.packed)
	}
	p.by[key] = s
	p.size += size
}

// sendSheet writes a page that is set. A whole one may be kept by the
// lead's own browser, which asks each time whether it still is the page.
func (d *Desk) sendSheet(w http.ResponseWriter, r *http.Request, s *sheet, st stage) {
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Add("Vary", "Accept-Encoding")
	two := opens(r) && s.cut > 0
	switch {
	case st != asWhole || r.Header.Get("X-Have") != "":
	case two:
		// What a browser kept it would read at one go: it is sent anew, and
		// kept for the way back alone.
		d.forTheWayBack(w)
	case d.mayKeep(w, r, s.tag):
		return
	}
	b, cut := s.html, s.cut
	if acceptsGzip(r) {
		h.Set("Content-Encoding", "gzip")
		b, cut = s.packed, s.packedCut
	}
	h.Set("Content-Length", strconv.Itoa(len(b)))
	w.WriteHeader(http.StatusOK)
	if two {
		inTwo(w, r, b, cut)
		return
	}
	w.Write(b)
}

// mayKeep lets a browser keep what it gets under a tag, and tells it when
// what it has is good: then nothing else is to be sent. On a kitchen's network
// nothing is kept, since devices go from hand to hand there.
func (d *Desk) mayKeep(w http.ResponseWriter, r *http.Request, tag string) (good bool) {
	if !d.forTheWayBack(w) {
		return false
	}
	tag = `"` + tag + `"`
	w.Header().Set("ETag", tag)
	for have := range strings.SplitSeq(r.Header.Get("If-None-Match"), ",") {
		if strings.TrimPrefix(strings.TrimSpace(have), "W/") == tag {
			w.WriteHeader(http.StatusNotModified)
			return true
		}
	}
	return false
}

// forTheWayBack lets a browser show again what it got when somebody goes back,
// and asks it to ask otherwise; not on a kitchen's network.
func (d *Desk) forTheWayBack(w http.ResponseWriter) bool {
	if d.s.leads.hash != "" {
		return false
	}
	w.Header().Set("Cache-Control", "private, no-cache")
	return true
}

// versionOf tells which state of a study is the current one.
func (d *Desk) versionOf(ctx context.Context, id string) (bench.Version, error) {
	if nb, ok := d.nb.(bench.Versions); ok {
		return nb.Version(ctx, id)
	}
	rec, err := d.nb.Record(ctx, id)
	if err != nil {
		return bench.Version{}, err
	}
	return bench.Version{Title: rec.Study.Title, Revision: int64(len(rec.Events)), Updated: rec.Updated}, nil
}

// read reads a study for the pages in the background; the two that are set at
// the same time of one version share the record and only look at it.
func (d *Desk) read(ctx context.Context, id string, now bench.Version) (*bench.Record, error) {
	rec, err, _ := d.pages.reading.Do(fmt.Sprint(id, now.Revision), func() (any, error) { return d.nb.Record(ctx, id) })
	if err != nil {
		return nil, err
	}
	return rec.(*bench.Record), nil
}
