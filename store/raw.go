package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"io"
	"iter"
	"math"
	"slices"
	"sync"

	"github.com/klauspost/compress/zstd"

	"trivet/bench"
	"trivet/fault"
)

// maxRaw bounds what a stored log may unpack to where it is read whole.
const maxRaw = 1 << 31

// rawBlock is how much of a log is packed as one block.
const rawBlock = 1 << 20

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

// packedRaw is a log as its table rows.
type packedRaw struct {
	sha256, name, codec string
	size                int64
	bytes               []byte                   // the first block
	more                iter.Seq2[[]byte, error] // the others
}

func packRaw(raw []bench.RawFile) ([]packedRaw, error) {
	out := make([]packedRaw, 0, len(raw))
	for _, f := range raw {
		sum := sha256.Sum256(f.Bytes)
		if got := hex.EncodeToString(sum[:]); got != f.SHA256 {
			return nil, fault.New("raw-hash", "the log %q is not what its hash says", f.Name).On("sha256", f.SHA256).
				WithFix("its SHA-256 is %s; read the file again", got)
		}
		p := packedRaw{sha256: f.SHA256, name: f.Name, size: int64(len(f.Bytes))}
		if len(f.Bytes) <= rawBlock {
			p.codec, p.bytes = packBlock(f.Bytes)
		} else {
			var blocks [][]byte
			for b := range slices.Chunk(f.Bytes, rawBlock) {
				blocks = append(blocks, packZstd(b))
			}
			p.codec, p.bytes = "zstd", blocks[0]
			p.more = func(yield func([]byte, error) bool) {
				for _, b := range blocks[1:] {
					if !yield(b, nil) {
						return
					}
				}
			}
		}
		out = append(out, p)
	}
	return out, nil
}

// packBlock packs a log of one block where that makes it smaller.
func packBlock(b []byte) (codec string, packed []byte) {
	if small := packZstd(b); len(small) < len(b) {
		return "zstd", small
	}
	return "none", notNil(b)
}

func packZstd(b []byte) []byte {
	enc, _ := codecs()
	return enc.EncodeAll(b, nil)
}

// putRaw keeps logs of a study. A log is known by its hash, so one that is
// there already is the same one.
func (c *change) putRaw(studyID string, files []packedRaw) (added bool, err error) {
	for _, f := range files {
		fresh, err := c.exec(`INSERT INTO raw_file (sha256, name, size, codec, bytes) VALUES (?,?,?,?,?) ON CONFLICT DO NOTHING`,
			f.sha256, f.name, f.size, f.codec, f.bytes)
		if err != nil {
			return added, err
		}
		if fresh > 0 && f.more != nil {
			seq := 0
			for b, err := range f.more {
				if err != nil {
					return added, err
				}
				seq++
				if _, err := c.exec(`INSERT INTO raw_block (sha256, seq, bytes) VALUES (?,?,?)`, f.sha256, seq, b); err != nil {
					return added, err
				}
			}
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
func (n *Notebook) Raw(ctx context.Context, sha256Hex string) (*bench.RawFile, error) {
	f := &bench.RawFile{SHA256: sha256Hex}
	var b bytes.Buffer
	err := n.view(ctx, func(q *query) (err error) {
		f.Name, err = q.raw(sha256Hex, &b, maxRaw)
		return err
	})
	if err != nil {
		return nil, err
	}
	f.Bytes = b.Bytes()
	return f, nil
}

// RawName is the name of a log.
func (n *Notebook) RawName(ctx context.Context, sha256Hex string) (name string, err error) {
	err = n.view(ctx, func(q *query) error {
		found, err := q.one(`SELECT name FROM raw_file WHERE sha256 = ?`, []any{sha256Hex}, &name)
		if err == nil && !found {
			err = unknownRaw(sha256Hex)
		}
		return err
	})
	return name, err
}

func unknownRaw(sha256Hex string) *fault.Error {
	return fault.BadUsage("raw-unknown", "the notebook holds no log with this hash").On("sha256", sha256Hex)
}

// CopyRaw writes a log exactly as it came, block by block, and returns its
// name. What was written is the log only if there is no error: its hash is
// known at the end.
func (n *Notebook) CopyRaw(ctx context.Context, sha256Hex string, to io.Writer) (name string, err error) {
	err = n.view(ctx, func(q *query) (err error) {
		name, err = q.raw(sha256Hex, to, math.MaxInt64)
		return err
	})
	return name, err
}

func (q *query) raw(sha256Hex string, to io.Writer, most int64) (string, error) {
	f := &bench.RawFile{SHA256: sha256Hex}
	var codec string
	var size int64
	found, err := q.one(`SELECT name, codec, size, bytes FROM raw_file WHERE sha256 = ?`, []any{sha256Hex}, &f.Name, &codec, &size, &f.Bytes)
	switch {
	case err != nil:
		return "", err
	case !found:
		return "", unknownRaw(sha256Hex)
	case size > most:
		return "", fault.New("raw-size", "the log %q has %d bytes and is too large to be read whole", f.Name, size).On("sha256", sha256Hex)
	}
	sum := sha256.New()
	to = io.MultiWriter(sum, to)
	write := func(b []byte) error {
		if codec == "zstd" {
			_, dec := codecs()
			var err error
			if b, err = dec.DecodeAll(b, nil); err != nil {
				return damagedRaw(f).Wrap(err)
			}
		}
		_, err := to.Write(b)
		return err
	}
	if err := write(f.Bytes); err != nil {
		return "", err
	}
	if err := q.each(`SELECT bytes FROM raw_block WHERE sha256 = ? ORDER BY seq`, []any{sha256Hex}, func(r *sql.Rows) error {
		var b sql.RawBytes
		if err := r.Scan(&b); err != nil {
			return err
		}
		return write(b)
	}); err != nil {
		return "", err
	}
	if hex.EncodeToString(sum.Sum(nil)) != f.SHA256 {
		return "", damagedRaw(f)
	}
	return f.Name, nil
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
