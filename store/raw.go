package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"sync"

	"github.com/klauspost/compress/zstd"

	"trivet/bench"
	"trivet/fault"
)

// maxRaw bounds what a stored log may unpack to.
const maxRaw = 1 << 31

// zstd's coder and decoder are safe for concurrent use of EncodeAll and
// DecodeAll.
var codecs = sync.OnceValues(func() (*zstd.Encoder, *zstd.Decoder) {
	enc, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1))
	if err != nil {
		panic(err) // the options above are constant
	}
	dec, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(maxRaw))
	if err != nil {
		panic(err)
	}
	return enc, dec
})

// packedRaw is a log as its table row.
type packedRaw struct {
	sha256, name, codec string
	size                int
	bytes               []byte
}

func packRaw(raw []bench.RawFile) ([]packedRaw, error) {
	out := make([]packedRaw, 0, len(raw))
	enc, _ := codecs()
	for _, f := range raw {
		sum := sha256.Sum256(f.Bytes)
		if got := hex.EncodeToString(sum[:]); got != f.SHA256 {
			return nil, fault.New("raw-hash", "the log %q is not what its hash says", f.Name).On("sha256", f.SHA256).
				WithFix("its SHA-256 is %s; read the file again", got)
		}
		p := packedRaw{sha256: f.SHA256, name: f.Name, codec: "none", size: len(f.Bytes), bytes: notNil(f.Bytes)}
		if small := enc.EncodeAll(f.Bytes, nil); len(small) < len(f.Bytes) {
			p.codec, p.bytes = "zstd", small
		}
		out = append(out, p)
	}
	return out, nil
}

// putRaw keeps logs of a study. A log is known by its hash, so one that is
// there already is the same one.
func (c *change) putRaw(studyID string, files []packedRaw) (added bool, err error) {
	for _, f := range files {
		if _, err := c.exec(`INSERT INTO raw_file (sha256, name, size, codec, bytes) VALUES (?,?,?,?,?) ON CONFLICT DO NOTHING`,
			f.sha256, f.name, f.size, f.codec, f.bytes); err != nil {
			return added, err
		}
		k, err := c.exec(`INSERT INTO study_raw (study, seq, sha256)
			SELECT ?1, (SELECT coalesce(max(seq), 0) + 1 FROM study_raw WHERE study = ?1), ?2
			WHERE true ON CONFLICT DO NOTHING`, studyID, f.sha256)
		if err != nil {
			return added, err
		}
		added = added || k > 0
	}
	return added, nil
}

// Raw reads a log exactly as it came.
func (n *Notebook) Raw(ctx context.Context, sha256Hex string) (out *bench.RawFile, err error) {
	err = n.view(ctx, func(q *query) error {
		f := &bench.RawFile{SHA256: sha256Hex}
		var codec string
		found, err := q.one(`SELECT name, codec, bytes FROM raw_file WHERE sha256 = ?`, []any{sha256Hex}, &f.Name, &codec, &f.Bytes)
		if err != nil {
			return err
		}
		if !found {
			return fault.BadUsage("raw-unknown", "the notebook holds no log with this hash").On("sha256", sha256Hex)
		}
		if err := unpackRaw(f, codec); err != nil {
			return err
		}
		out = f
		return nil
	})
	return out, err
}

func unpackRaw(f *bench.RawFile, codec string) (err error) {
	if codec == "zstd" {
		_, dec := codecs()
		if f.Bytes, err = dec.DecodeAll(f.Bytes, nil); err != nil {
			return damagedRaw(f).Wrap(err)
		}
	}
	sum := sha256.Sum256(f.Bytes)
	if hex.EncodeToString(sum[:]) != f.SHA256 {
		return damagedRaw(f)
	}
	return nil
}

func damagedRaw(f *bench.RawFile) *fault.Error {
	return fault.New("notebook-corrupt", "the stored log %q is damaged", f.Name).On("sha256", f.SHA256).
		WithFix("load the log again, or restore a backup")
}

// RawOf lists the hashes of the logs of a study in the order they came.
func (n *Notebook) RawOf(ctx context.Context, studyID string) (out []string, err error) {
	err = n.view(ctx, func(q *query) error {
		if err := q.mustHaveStudy(studyID); err != nil {
			return err
		}
		return q.each(`SELECT sha256 FROM study_raw WHERE study = ? ORDER BY seq`, []any{studyID}, func(r *sql.Rows) error {
			var h string
			err := r.Scan(&h)
			out = append(out, h)
			return err
		})
	})
	return out, err
}
