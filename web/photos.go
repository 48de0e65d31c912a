package web

import (
	chain "container/list"
	"context"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"trivet/bench"
	"trivet/fault"
	"trivet/photo"
	"trivet/study"
	"trivet/tasting"
)

const (
	// maxPhotoForm is the most bytes of a request with a photo. It is above
	// that of a file, so that a file too large is read to its end and
	// answered in the page rather than by a broken connection.
	maxPhotoForm = 96 << 20
	maxCaption   = 600 // characters
	thumbSide    = 520 // pixels
	maxThumbs    = 300 // kept in memory, some 30 kB each
	dayTime      = "2006-01-02 15:04:05"
)

// photoRow is a photo on the page of its cook.
type photoRow struct {
	ID, Seen            string
	Alt, Caption, Taken string
	WidthPx, HeightPx   int
	In                  map[string]string
	Open                bool
	Error               *fault.Error
	MayDelete           bool
	Shown               bool // the lead chose that readers see it
	Held                bool // and they do not yet: a tasting is not over
}

type photoForm struct {
	In    map[string]string
	Error *fault.Error
	Said  string // what was done with the last
	Full  bool
	Zone  string
}

// photoShelf makes small pictures, one at a time, and keeps the latest.
type photoShelf struct {
	busy chan struct{}
	mu   sync.Mutex
	by   map[string]*chain.Element // by hash
	used chain.List                // of thumb, the latest first
}

type thumb struct {
	sha256 string
	bytes  []byte
}

func newPhotoShelf() *photoShelf {
	return &photoShelf{busy: make(chan struct{}, 1), by: map[string]*chain.Element{}}
}

// work waits for its turn: a photo being unpacked takes up to 300 MB.
func (s *photoShelf) work(ctx context.Context, do func()) error {
	select {
	case s.busy <- struct{}{}:
		defer func() { <-s.busy }()
		do()
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (s *photoShelf) small(ctx context.Context, sha256 string, full func() ([]byte, error)) ([]byte, error) {
	find := func() []byte {
		s.mu.Lock()
		defer s.mu.Unlock()
		if e, ok := s.by[sha256]; ok {
			s.used.MoveToFront(e)
			return e.Value.(thumb).bytes
		}
		return nil
	}
	if b := find(); b != nil {
		return b, nil
	}
	var b []byte
	var err error
	if waited := s.work(ctx, func() {
		if b = find(); b != nil {
			return
		}
		if b, err = full(); err == nil {
			b, err = photo.Thumbnail(b, thumbSide)
		}
	}); waited != nil {
		return nil, waited
	}
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.by[sha256] == nil {
		s.by[sha256] = s.used.PushFront(thumb{sha256, b})
	}
	for s.used.Len() > maxThumbs {
		last := s.used.Back()
		delete(s.by, s.used.Remove(last).(thumb).sha256)
	}
	return b, nil
}

// zoneOf is the offset in which clock times of a study are read: its own, or
// that of the server.
func (d *Desk) zoneOf(s *study.Study) *time.Location {
	if s.HasUTCOffset {
		return time.FixedZone("", 60*s.UTCOffset)
	}
	return d.s.opt.Now().Location()
}

func zoneName(z *time.Location, at time.Time) string { return "UTC" + at.In(z).Format("-07:00") }

// photoRows fills in the photos of a cook.
func (d *Desk) photoRows(v *cookView, rec *bench.Record, c *study.Cook, at saved) {
	zone := d.zoneOf(rec.Study)
	for _, p := range c.Photos {
		row := photoRow{ID: p.ID, Seen: stampOf(p), Alt: p.Alt, Caption: p.Caption, WidthPx: p.WidthPx, HeightPx: p.HeightPx,
			In: map[string]string{"caption": p.Caption, "alt": p.Alt}}
		if row.Alt == "" {
			row.Alt = say("photo-no-alt", c.Label)
		}
		if !p.TakenAt.IsZero() {
			row.Taken = momentWords(p.TakenAt.In(zone))
			if clock, ok := sinceHeatOn(c, p.TakenAt); ok {
				row.Taken += ", " + say("photo-from-heat-on", clock)
			}
			row.In["taken"] = p.TakenAt.In(zone).Format(dayTime)
		}
		if at.Form == "photos" && at.In["photo"] == p.ID {
			row.Open, row.Error, row.In = true, at.Error, at.In
		}
		if p.TrashedAt.IsZero() {
			row.Shown = d.s.access.photoShown(p.ID)
			row.Held = d.tastingAhead(rec)
			v.Photos = append(v.Photos, row)
		} else {
			v.PhotoTrash = append(v.PhotoTrash, row)
		}
	}
	v.NewPhoto = photoForm{In: map[string]string{}, Full: len(c.Photos) >= bench.MaxPhotos, Zone: zoneName(zone, d.s.opt.Now())}
	if at.Form == "photos" && at.In["photo"] == "" {
		v.NewPhoto.In, v.NewPhoto.Error = at.In, at.Error
	}
}

// sinceHeatOn is a moment on the clock of a cook whose heat-on time is known
// by the clock on the wall.
func sinceHeatOn(c *study.Cook, t time.Time) (string, bool) {
	const aYear = 365 * 24 * time.Hour
	if !c.ZeroSet || c.ZeroUS < aYear.Microseconds() {
		return "", false
	}
	since := t.UnixMicro() - c.ZeroUS
	if absUS(since) > (24 * time.Hour).Microseconds() {
		return "", false
	}
	return clockOf(since), true
}

// addPhoto takes a photo in. Words come before the file in the form, so that
// they are kept whatever is wrong with the file.
func (d *Desk) addPhoto(w http.ResponseWriter, r *http.Request) {
	in := map[string]string{}
	problem := func(err error) { d.refuseCook(w, r, "photos", in, err) }
	mr, err := r.MultipartReader()
	if err != nil {
		problem(fault.New("form-bad", "%s", say("form-bad")).WithFix("%s", say("photo-none-fix")).Wrap(err))
		return
	}
	file, err := readPhotoForm(mr, in)
	if err != nil {
		problem(err)
		return
	}
	if rec, _, ok := d.findCook(w, r); !ok {
		return
	} else if in["taken"] != "" {
		if _, err := parseDayTime(in["taken"], d.zoneOf(rec.Study)); err != nil {
			problem(err)
			return
		}
	}
	defer d.writing(r.PathValue("id"))()
	rec, c, ok := d.findCook(w, r)
	if !ok {
		return
	}
	n := bench.NewPhoto{File: file, Caption: in["caption"], Alt: in["alt"], Zone: d.zoneOf(rec.Study), Now: d.s.opt.Now()}
	if in["taken"] != "" {
		n.TakenAt, _ = parseDayTime(in["taken"], n.Zone)
	}
	var clean *photo.Photo
	if waited := d.photos.work(r.Context(), func() { _, clean, err = bench.AddPhoto(r.Context(), d.nb, rec.Study.ID, c, n) }); waited != nil {
		return // nobody waits for the answer any more
	}
	if err != nil {
		problem(err)
		return
	}
	said := say("photo-added")
	if clean.Placed {
		said = say("photo-added-placed")
	}
	d.doneCook(w, r, rec, c, "photos", said)
}

// readPhotoForm reads words and one file.
func readPhotoForm(mr *multipart.Reader, in map[string]string) ([]byte, error) {
	var file []byte
	for {
		p, err := mr.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, photoCut(err)
		}
		if p.FileName() == "" && p.FormName() != "photo" {
			b, err := io.ReadAll(io.LimitReader(p, 4*maxCaption+1))
			if err != nil {
				return nil, photoCut(err)
			}
			if in[p.FormName()] = strings.TrimSpace(string(b)); len([]rune(in[p.FormName()])) > maxCaption {
				return nil, fault.New("photo-words", "%s", say("photo-words", maxCaption)).WithFix("%s", say("photo-words-fix"))
			}
			continue
		}
		b, err := io.ReadAll(io.LimitReader(p, photo.MaxBytes+1))
		if err == nil {
			var more int64
			if more, err = io.Copy(io.Discard, p); err == nil && more > 0 {
				return nil, fault.New("photo-large", "%s", say("photo-large", (int64(len(b))+more)>>20, photo.MaxBytes>>20)).WithFix("%s", say("photo-large-fix"))
			}
		}
		if err != nil {
			return nil, photoCut(err)
		}
		if len(b) > 0 && file == nil {
			file = b
		}
	}
	if file == nil {
		return nil, fault.New("photo-none", "%s", say("photo-none")).WithFix("%s", say("photo-none-fix"))
	}
	return file, nil
}

func photoCut(err error) error {
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		return fault.New("photo-large", "%s", say("photo-large", maxPhotoForm>>20, photo.MaxBytes>>20)).WithFix("%s", say("photo-large-fix"))
	}
	return fault.New("upload-cut", "%s", say("upload-cut")).WithFix("%s", say("upload-cut-fix")).Wrap(err)
}

// parseDayTime reads the day and time of a photo.
func parseDayTime(text string, zone *time.Location) (time.Time, error) {
	for _, layout := range []string{dayTime, "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02T15:04"} {
		if t, err := time.ParseInLocation(layout, text, zone); err == nil {
			return t, nil
		}
	}
	return time.Time{}, fault.New("photo-time", "%s", say("photo-time")).On("taken", text).WithFix("%s", say("photo-time-fix"))
}

// savePhoto changes what is said of a photo, puts it into the trash, takes it
// out, or deletes it from the trash for good, which the lead alone may.
func (d *Desk) savePhoto(w http.ResponseWriter, r *http.Request) {
	r.ParseForm()
	if r.PostForm != nil {
		r.PostForm.Set("photo", r.PathValue("photo"))
	}
	find := func(c *study.Cook) (*study.Photo, error) {
		i := slices.IndexFunc(c.Photos, func(p study.Photo) bool { return p.ID == r.PathValue("photo") })
		if i < 0 {
			return nil, entryGone()
		}
		return &c.Photos[i], nil
	}
	if do := r.FormValue("do"); do == "show" || do == "hide" {
		d.changeCook(w, r, "photos", func(rec *bench.Record, c *study.Cook) (string, error) {
			p, err := find(c)
			if err != nil {
				return "", err
			}
			if d.roleOf(r) != tasting.Lead {
				return "", fault.New("photo-show", "%s", say("photo-show-not")).WithFix("%s", say("photo-show-not-fix"))
			}
			what := say("photo-hidden", c.Label, captionOf(*p))
			if do == "show" {
				what = say("photo-shown", c.Label, captionOf(*p))
			}
			if err := d.s.access.showPhoto(p.ID, do == "show"); err != nil {
				return "", err
			}
			return what, d.nb.AppendEvents(r.Context(), rec.Study.ID, study.Event{At: d.s.opt.Now(), Study: rec.Study.ID, Kind: study.EventChanged, What: what})
		})
		return
	}
	if r.FormValue("do") == "delete" {
		d.changeCook(w, r, "photos", func(rec *bench.Record, c *study.Cook) (string, error) {
			p, err := find(c)
			if err != nil {
				return "", err
			}
			if p.TrashedAt.IsZero() || d.roleOf(r) != tasting.Lead {
				return "", fault.New("photo-delete", "%s", say("photo-delete-not")).WithFix("%s", say("photo-delete-not-fix"))
			}
			next := *c
			next.Photos = slices.DeleteFunc(slices.Clone(c.Photos), func(o study.Photo) bool { return o.ID == p.ID })
			what := say("photo-deleted", c.Label)
			return what, d.nb.PutCook(r.Context(), rec.Study.ID, next, study.Event{At: d.s.opt.Now(), Study: rec.Study.ID, Kind: study.EventChanged, What: what})
		})
		return
	}
	d.editEntry(w, r, "photos", func(rec *bench.Record, c *study.Cook) (out edited, err error) {
		was, err := find(c)
		if err != nil {
			return out, err
		}
		p := *was
		switch r.FormValue("do") {
		case "trash":
			p.TrashedAt, out.what = d.s.opt.Now(), say("photo-trashed", c.Label, captionOf(p))
		case "restore":
			p.TrashedAt, out.what = time.Time{}, say("photo-restored", c.Label, captionOf(p))
		default:
			if err := seen(r, *was, captionOf(*was)); err != nil {
				return out, err
			}
			p.Caption, p.Alt = strings.TrimSpace(r.FormValue("caption")), strings.TrimSpace(r.FormValue("alt"))
			if len([]rune(p.Caption)) > maxCaption || len([]rune(p.Alt)) > maxCaption {
				return out, fault.New("photo-words", "%s", say("photo-words", maxCaption)).WithFix("%s", say("photo-words-fix"))
			}
			switch text := strings.TrimSpace(r.FormValue("taken")); {
			case text == "":
				p.TakenAt = time.Time{}
			default:
				if p.TakenAt, err = parseDayTime(text, d.zoneOf(rec.Study)); err != nil {
					return out, err
				}
			}
			out.what = say("photo-changed", c.Label, captionOf(p))
		}
		if bench.SameEntry(*was, p) {
			return edited{}, nil
		}
		out.Change = bench.Change{Before: &bench.Entry{Photo: was}, After: &bench.Entry{Photo: &p}}
		return out, nil
	})
}

// tastingAhead tells that a photo could still tell somebody who tastes blind
// what is in a cup: a tasting is open, or a question waits for one.
func (d *Desk) tastingAhead(rec *bench.Record) bool {
	over := map[string]bool{} // questions
	for _, t := range rec.Study.Tastings {
		over[t.Question] = true
	}
	for _, t := range d.s.room.Tastings() {
		if t.Study != rec.Study.ID {
			continue
		}
		if !d.s.room.Closed(t.ID) {
			return true
		}
		over[t.Question] = true
	}
	return slices.ContainsFunc(rec.Study.Questions, func(q study.Question) bool { return q.Tasting != nil && !over[q.ID] })
}

// forReaders are the photos that the lead chose to show to readers; none as
// long as a tasting is ahead.
func (d *Desk) forReaders(rec *bench.Record) func(study.Photo) bool {
	ahead := d.tastingAhead(rec)
	return func(p study.Photo) bool { return !ahead && d.s.access.photoShown(p.ID) }
}

func captionOf(p study.Photo) string {
	switch {
	case p.Caption != "":
		return fmt.Sprintf("“%s”", p.Caption)
	case p.Alt != "":
		return fmt.Sprintf("“%s”", p.Alt)
	}
	return say("photo-untitled")
}

// photoFile sends a photo, or a small one of it.
func (d *Desk) photoFile(w http.ResponseWriter, r *http.Request) {
	_, c, ok := d.findCook(w, r)
	if !ok {
		return
	}
	i := slices.IndexFunc(c.Photos, func(p study.Photo) bool { return p.ID == r.PathValue("photo") })
	if i < 0 {
		d.s.fail(w, r, http.StatusNotFound, entryGone())
		return
	}
	p := c.Photos[i]
	full := func() ([]byte, error) {
		f, err := d.nb.Raw(r.Context(), p.SHA256)
		if err != nil {
			return nil, err
		}
		return f.Bytes, nil
	}
	kind := p.Type
	var b []byte
	var err error
	if r.FormValue("size") == "small" {
		kind = photo.JPEG
		b, err = d.photos.small(r.Context(), p.SHA256, full)
	} else {
		b, err = full()
	}
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	if kind != photo.PNG {
		kind = photo.JPEG // never what a package says it is
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Cache-Control", "private, max-age=3600")
	w.Header().Set("Content-Disposition", "inline")
	w.Write(b)
}
