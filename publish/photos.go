package publish

import (
	"bytes"
	"context"
	"encoding/base64"
	"html/template"
	"image"
	_ "image/jpeg" // what photo.Thumbnail writes
	"time"

	"trivet/bench"
	"trivet/fault"
	"trivet/photo"
	"trivet/study"
)

// photoSide is the longest side of a photo in a report, in pixels: some
// 100 kB each. The data package holds them larger.
const photoSide = 1000

// photosOf are the photos of a cook that are not in its trash, all or those
// that which chooses.
func photosOf(ctx context.Context, rd bench.Reader, s *study.Study, c *study.Cook, which func(study.Photo) bool) ([]Photo, error) {
	var out []Photo
	for _, p := range c.ShownPhotos() {
		if which != nil && !which(p) {
			continue
		}
		f, err := rd.Raw(ctx, p.SHA256)
		if e := fault.As(err); e != nil && e.Code == "raw-unknown" {
			continue // the record came without the picture
		}
		if err != nil {
			return nil, err
		}
		b, err := photo.Thumbnail(f.Bytes, photoSide)
		if err != nil {
			return nil, err
		}
		size, _, err := image.DecodeConfig(bytes.NewReader(b))
		if err != nil {
			return nil, err
		}
		x := Photo{JPEG: b, WidthPx: size.Width, HeightPx: size.Height, Caption: p.Caption, Alt: p.Alt}
		if !p.TakenAt.IsZero() {
			at := p.TakenAt
			if s.HasUTCOffset {
				at = at.In(time.FixedZone("", 60*s.UTCOffset))
			}
			x.Taken = at.Format("2 January 2006, 15:04")
		}
		out = append(out, x)
	}
	return out, nil
}

// chosenPhotos are the photos that somebody chose to show beside the findings.
func (a *assembler) chosenPhotos(ctx context.Context, rd bench.Reader, r *Report) error {
	for i := range a.rec.Cooks {
		c := &a.rec.Cooks[i]
		photos, err := photosOf(ctx, rd, a.rec.Study, c, a.o.Photos)
		if err != nil {
			return err
		}
		if len(photos) > 0 {
			r.Photos = append(r.Photos, CookPhotos{Cook: c.Label, Treatment: a.words.Treatment(c.Treatment), Photos: photos})
		}
	}
	return nil
}

// photoView is a photo in the page.
type photoView struct {
	Photo
	Source template.URL
}

// View is the photo as the page shows it.
func (p Photo) View(cook string) photoView {
	if p.Alt == "" {
		p.Alt = english.PhotoNoAlt + " " + cook
	}
	return photoView{p, template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(p.JPEG))}
}
