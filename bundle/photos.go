package bundle

import (
	"errors"
	"maps"
	"slices"
	"time"

	"trivet/fault"
	"trivet/study"
)

// picture is a row of the photos table.
type picture struct {
	study.Photo
	file string
}

// photoTable is in packages with photos alone, so that one without is the
// same bytes as it ever was.
var photoTable = table[part[picture]]{
	name: "photos", title: "Photos", about: "Photos of the cooks, in the order they came.",
	foreignKeys: ofCook,
	columns: cookColumns(
		text("id", "UUID of the photo", func(r *part[picture]) *string { return &r.is.ID }).required().unique(),
		text("sha256", "SHA-256 of the picture, hex", func(r *part[picture]) *string { return &r.is.SHA256 }).required(),
		text("file", "path in the package", func(r *part[picture]) *string { return &r.is.file }).required(),
		text("type", "media type", func(r *part[picture]) *string { return &r.is.Type }),
		integer("width_px", "width", func(r *part[picture]) *int { return &r.is.WidthPx }),
		integer("height_px", "height", func(r *part[picture]) *int { return &r.is.HeightPx }),
		text("caption", "caption", func(r *part[picture]) *string { return &r.is.Caption }),
		text("alt", "what it shows, for who does not see it", func(r *part[picture]) *string { return &r.is.Alt }),
		instant("taken_at", "when it was taken", func(r *part[picture]) *time.Time { return &r.is.TakenAt }),
		instant("added_at", "when it was added", func(r *part[picture]) *time.Time { return &r.is.AddedAt }),
	),
}

// photos writes the photos of every cook. Those in the trash stay behind.
func (w *writer) photos(from source) error {
	var rows []part[picture]
	files := map[string][]byte{}
	for i := range from.rec.Cooks {
		k := &from.rec.Cooks[i]
		for _, p := range k.ShownPhotos() {
			f, err := from.raw(p.SHA256)
			if e := fault.As(err); e != nil && e.Code == "raw-unknown" || err == nil && f == nil {
				continue // the notebook never had it
			}
			if err != nil {
				return err
			}
			if got := hashOf(f.Bytes); got != p.SHA256 {
				return fault.New("raw-hash", "a photo of cook %s is not what its hash says", k.Label).On("sha256", p.SHA256).WithFix("its SHA-256 is %s", got)
			}
			row := part[picture]{k.ID, k.Label, picture{p, "photos/" + p.SHA256 + endingOf(p.Type)}}
			rows, files[row.is.file] = append(rows, row), f.Bytes
		}
	}
	if len(rows) == 0 {
		return nil
	}
	for _, path := range slices.Sorted(maps.Keys(files)) {
		if err := w.put(path, files[path]); err != nil {
			return err
		}
	}
	return putTable(w, &photoTable, rows)
}

func endingOf(mediaType string) string {
	if mediaType == "image/png" {
		return ".png"
	}
	return ".jpg"
}

func (p *Package) readPhotos() ([]part[picture], error) {
	if p.sums[photoTable.path()] == "" {
		return nil, nil
	}
	return readTable(p, &photoTable)
}

// indexPhotos finds where the pictures are.
func (p *Package) indexPhotos() error {
	rows, err := p.readPhotos()
	p.pictures = map[string]string{}
	for i, r := range rows {
		switch {
		case !isSafePath(r.is.file) || p.sums[r.is.file] == "":
			return photoTable.bad(i+1, "file", r.is.file, errors.New("there is no such file in the package"))
		case p.sums[r.is.file] != r.is.SHA256:
			return photoTable.bad(i+1, "sha256", r.is.SHA256, errors.New("this is not the hash of the file"))
		}
		p.pictures[r.is.SHA256] = r.is.file
	}
	return err
}

func (p *Package) photos(cooks map[string]*study.Cook) error {
	if p.sums[photoTable.path()] == "" {
		return nil
	}
	return eachPart(p, &photoTable, cooks, func(k *study.Cook, x picture) { k.Photos = append(k.Photos, x.Photo) })
}
