package store

import (
	"context"
	"database/sql"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

var _ bench.PhotoBook = (*Notebook)(nil)

// AddPhoto adds a photo to a cook, after those it has, and keeps the picture.
func (n *Notebook) AddPhoto(ctx context.Context, studyID, cookID string, p study.Photo, picture []byte, events ...study.Event) error {
	f := bench.RawFile{SHA256: p.SHA256, Name: "photo", Bytes: picture}
	if err := checkPicture(f); err != nil {
		return err
	}
	return n.change(ctx, func(c *change) error {
		if err := c.mustHaveCook(studyID, cookID); err != nil {
			return err
		}
		have, err := c.cook(cookID)
		if err != nil {
			return err
		}
		known, err := sameID(plainCook(have).Photos, plainCook(study.Cook{Photos: []study.Photo{p}}).Photos[0], "photo", func(p study.Photo) string { return p.ID })
		if err != nil || known {
			return err
		}
		if err := c.keepPicture(f); err != nil {
			return err
		}
		if err := c.insertPhoto(cookID, len(have.Photos)+1, p); err != nil {
			return err
		}
		return c.append(studyID, events)
	})
}

func (c *change) insertPhoto(cook string, seq int, p study.Photo) error {
	_, err := c.exec(`INSERT INTO photo (cook, seq, id, sha256, type, width_px, height_px, caption, alt, taken_at, added_at, trashed_at) VALUES (?,?,?,?,?,?,?,?,?,?,?,?)`,
		cook, seq, p.ID, p.SHA256, p.Type, p.WidthPx, p.HeightPx, p.Caption, p.Alt,
		formatTime(p.TakenAt.Round(0)), formatTime(p.AddedAt.Round(0)), formatTime(p.TrashedAt.Round(0)))
	return taken(err, "photo", p.ID)
}

func readPhotos(q *query, cooks []study.Cook, where, arg string) error {
	var taken, added, trashed string
	return readPart(q, cooks, where, arg, "p.id, sha256, type, width_px, height_px, caption, alt, taken_at, added_at, trashed_at", "photo",
		func(r *sql.Rows, cook *sql.RawBytes, p *study.Photo) (err error) {
			if err := r.Scan(cook, &p.ID, &p.SHA256, &p.Type, &p.WidthPx, &p.HeightPx, &p.Caption, &p.Alt, &taken, &added, &trashed); err != nil {
				return err
			}
			if p.TakenAt, err = parseTime(taken); err != nil {
				return err
			}
			if p.AddedAt, err = parseTime(added); err != nil {
				return err
			}
			p.TrashedAt, err = parseTime(trashed)
			return err
		},
		func(k *study.Cook) *[]study.Photo { return &k.Photos })
}

// dropPictures deletes those pictures that nothing names any more.
func (c *change) dropPictures(photos []study.Photo) error {
	for _, p := range photos {
		if _, err := c.exec(`DELETE FROM raw_file WHERE sha256 = ?1
			AND NOT EXISTS (SELECT 1 FROM photo WHERE sha256 = ?1)
			AND NOT EXISTS (SELECT 1 FROM study_raw WHERE sha256 = ?1)`, p.SHA256); err != nil {
			return err
		}
	}
	return nil
}

// keepPicture keeps a picture by its hash. It is compressed already.
func (c *change) keepPicture(f bench.RawFile) error {
	_, err := c.exec(`INSERT INTO raw_file (sha256, name, size, codec, bytes) VALUES (?,?,?,'none',?) ON CONFLICT DO NOTHING`,
		f.SHA256, f.Name, len(f.Bytes), notNil(f.Bytes))
	return err
}

func checkPicture(f bench.RawFile) error {
	if got := bench.HashOf(f.Bytes); got != f.SHA256 {
		return fault.New("raw-hash", "the photo is not what its hash says").On("sha256", f.SHA256).
			WithFix("its SHA-256 is %s; read the file again", got)
	}
	return nil
}

// apart splits the files of a record into its logs and the pictures of its
// cooks.
func apart(raw []bench.RawFile, cooks []study.Cook) (logs, pictures []bench.RawFile) {
	photo, log := map[string]bool{}, map[string]bool{}
	for _, k := range cooks {
		for _, p := range k.Photos {
			photo[p.SHA256] = true
		}
		for _, l := range k.Logs {
			log[l.SHA256] = true
		}
	}
	for _, f := range raw {
		if photo[f.SHA256] && !log[f.SHA256] {
			pictures = append(pictures, f)
		} else {
			logs = append(logs, f)
		}
	}
	return logs, pictures
}

// withoutTrash is a cook as a package holds it: the photos in its trash stay
// behind.
func withoutTrash(k study.Cook) study.Cook {
	k.Photos = k.ShownPhotos()
	return k
}
