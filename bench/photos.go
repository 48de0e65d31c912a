package bench

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"trivet/fault"
	"trivet/photo"
	"trivet/study"
)

// MaxPhotos is the most photos of one cook, its trash among them.
const MaxPhotos = 60

// NewPhoto is a photo to add to a cook.
type NewPhoto struct {
	File    []byte // as the camera wrote it
	Caption string
	Alt     string // what it shows, for who does not see it; asked for
	// TakenAt is when it was taken, as a person says; zero takes what the
	// camera's clock showed, in Zone where the camera did not know its own.
	TakenAt time.Time
	Zone    *time.Location
	Now     time.Time
}

// AddPhoto cleans a photo of everything but its pixels and adds it to a cook.
// It returns the photo as added and the picture as cleaned. Errors are those
// of [photo.Clean], "photo-many" beyond [MaxPhotos] and "photo-known" for one
// that the cook has.
func AddPhoto(ctx context.Context, nb Notebook, studyID string, c *study.Cook, n NewPhoto) (*study.Photo, *photo.Photo, error) {
	book, ok := nb.(PhotoBook)
	if !ok {
		return nil, nil, fault.New("photo-nowhere", "this record keeps no photos").WithFix("import it into a notebook")
	}
	if len(c.Photos) >= MaxPhotos {
		return nil, nil, fault.New("photo-many", "the cook has %d photos, and no more are kept", len(c.Photos)).
			WithFix("delete some from its trash first")
	}
	clean, err := photo.Clean(n.File)
	if err != nil {
		return nil, nil, err
	}
	p := study.Photo{SHA256: HashOf(clean.Bytes), Type: clean.Type, WidthPx: clean.WidthPx, HeightPx: clean.HeightPx,
		Caption: strings.TrimSpace(n.Caption), Alt: strings.TrimSpace(n.Alt), TakenAt: n.TakenAt, AddedAt: n.Now}
	if i := slices.IndexFunc(c.Photos, func(o study.Photo) bool { return o.SHA256 == p.SHA256 }); i >= 0 {
		fix := "it stands among the photos of this cook"
		if !c.Photos[i].TrashedAt.IsZero() {
			fix = "restore it from the trash of this cook's photos"
		}
		return nil, clean, fault.New("photo-known", "the cook has this photo already").WithFix("%s", fix)
	}
	if p.TakenAt.IsZero() && !clean.Taken.IsZero() {
		p.TakenAt = clean.Taken
		if t := clean.Taken; !clean.Zoned && n.Zone != nil {
			p.TakenAt = time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, n.Zone)
		}
	}
	p.ID = NewID(n.Now, c.Label+" "+p.SHA256)
	what := fmt.Sprintf("a photo was added to cook %s%s", c.Label, captioned(p))
	if clean.Placed {
		what += "; the place written in the file was not kept"
	}
	return &p, clean, book.AddPhoto(ctx, studyID, c.ID, p, clean.Bytes, study.Event{At: n.Now, Study: studyID, Kind: study.EventChanged, What: what, Detail: fmt.Sprintf(`{"photo":%q}`, p.ID)})
}

// captioned names a photo after what precedes it in a sentence.
func captioned(p study.Photo) string {
	text := p.Caption
	if text == "" {
		text = p.Alt
	}
	if text == "" {
		return ""
	}
	return fmt.Sprintf(": %q", text)
}
