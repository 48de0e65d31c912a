package publish

import (
	"bytes"
	"context"
	"image"
	"image/jpeg"
	"strings"
	"testing"
	"time"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// pictures is a record with nothing but pictures.
type pictures struct {
	bench.Reader
	by map[string][]byte
}

func (p pictures) Raw(_ context.Context, sha256 string) (*bench.RawFile, error) {
	b, ok := p.by[sha256]
	if !ok {
		return nil, fault.BadUsage("raw-unknown", "none")
	}
	return &bench.RawFile{SHA256: sha256, Bytes: b}, nil
}

// Photos stand in the report with caption, time and words for who does not
// see them; one in the trash does not, nor one whose picture is not here.
func TestPhotosStandInTheReport(t *testing.T) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 1600, 1200)), nil); err != nil {
		t.Fatal(err)
	}
	noon := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	c := study.Cook{Label: "L01-first", Photos: []study.Photo{
		{ID: "1", SHA256: "aa", Caption: "cut <after> the rest", Alt: "a chop, pink within", TakenAt: noon},
		{ID: "2", SHA256: "aa", Caption: "thrown away", TrashedAt: noon},
		{ID: "3", SHA256: "bb", Caption: "lost"},
		{ID: "4", SHA256: "aa"},
	}}
	got, err := photosOf(t.Context(), pictures{by: map[string][]byte{"aa": b.Bytes()}}, &study.Study{HasUTCOffset: true, UTCOffset: 120}, &c, nil)
	if err != nil || len(got) != 2 {
		t.Fatal(got, err)
	}
	if got[0].WidthPx != photoSide || got[0].HeightPx != photoSide*3/4 || got[0].Taken != "1 May 2026, 14:00" {
		t.Errorf("%d × %d, %s", got[0].WidthPx, got[0].HeightPx, got[0].Taken)
	}
	var page bytes.Buffer
	if err := (Report{Study: "s", Title: "T", Cooks: []Cook{{Label: c.Label, Role: "planned", Photos: got}}}).WriteHTML(&page); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`src="data:image/jpeg;base64,/9j/`, "cut &lt;after&gt; the rest", `alt="a chop, pink within"`, `alt="Photo without a description, of cook L01-first"`, "1 May 2026, 14:00", "img-src data:"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the report does not say %s", want)
		}
	}
}
