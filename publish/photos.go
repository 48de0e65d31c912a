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

// photosOf are the photos of a cook that are not in its trash.
func photosOf(ctx context.Context, rd bench.Reader, s *study.Study, c *study.Cook) ([]Photo, error) {
	var out []Photo
	for _, p := range c.ShownPhotos() {
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

// photoView is a photo in the page.
type photoView struct {
	Photo
	Source template.URL
}

func (p Photo) view(cook string) photoView {
	if p.Alt == "" {
		p.Alt = english.PhotoNoAlt + " " + cook
	}
	return photoView{p, template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(p.JPEG))}
}
