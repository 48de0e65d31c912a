package stats

import (
	"crypto/sha256"
	"encoding/binary"
	"math/bits"
	"math/rand/v2"

	"gonum.org/v1/gonum/mathext"
)

// streamVersion separates these streams from any other use of the same seed.
// It changes when the drawing rules below change.
const streamVersion = "trivet stream 1"

// Stream is a source of random numbers that depends on nothing but the seed,
// purpose and index it was made from. It is not safe for concurrent use: give
// each worker its own index.
//
// The generator is ChaCha8 of math/rand/v2, whose output Go promises to keep
// (C2SP chacha8rand specification).
type Stream struct{ source *rand.ChaCha8 }

var _ rand.Source = (*Stream)(nil)

// NewStream returns the substream of seed for one purpose ("run order",
// "sign flip") and index (of a replicate or a chunk of work). The ChaCha8 key
// is SHA-256 over the version string, seed and purpose, each preceded by its
// length as 8 bytes little-endian, and the index as 8 bytes little-endian, so
// no two triples share a key.
func NewStream(seed, purpose string, index uint64) *Stream {
	return &Stream{source: rand.NewChaCha8(streamKey(seed, purpose, index))}
}

func streamKey(seed, purpose string, index uint64) [sha256.Size]byte {
	var buf []byte
	for _, s := range []string{streamVersion, seed, purpose} {
		buf = binary.LittleEndian.AppendUint64(buf, uint64(len(s)))
		buf = append(buf, s...)
	}
	buf = binary.LittleEndian.AppendUint64(buf, index)
	return sha256.Sum256(buf)
}

// Uint64 returns 64 random bits.
func (s *Stream) Uint64() uint64 { return s.source.Uint64() }

// Float64 returns a multiple of 2⁻⁵³ in [0, 1), from the upper 53 bits of one
// draw.
func (s *Stream) Float64() float64 { return float64(s.source.Uint64()>>11) * 0x1p-53 }

// Normal returns a standard normal value by inversion of one draw, placed in
// the middle of its 2⁻⁵³ cell so that 0 and 1 never occur.
func (s *Stream) Normal() float64 {
	u := (float64(s.source.Uint64()>>11) + 0.5) * 0x1p-53
	return mathext.NormalQuantile(u)
}

// Bounded returns an integer in [0, n), each equally likely, by widening
// multiplication with rejection (Lemire 2019, "Fast random integer generation
// in an interval", ACM TOMACS 29(1):3). Bounded of 0 returns 0.
func Bounded(s *Stream, n uint64) uint64 {
	if n == 0 {
		return 0
	}
	hi, lo := bits.Mul64(s.source.Uint64(), n)
	if lo < n {
		for threshold := -n % n; lo < threshold; {
			hi, lo = bits.Mul64(s.source.Uint64(), n)
		}
	}
	return hi
}

// Shuffle puts items in random order by the Fisher–Yates method (Durstenfeld
// 1964, algorithm 235, CACM 7:420): for i from the last down to 1, item i
// changes place with item Bounded(i+1).
func Shuffle[T any](s *Stream, items []T) {
	for i := len(items) - 1; i > 0; i-- {
		j := Bounded(s, uint64(i)+1)
		items[i], items[j] = items[j], items[i]
	}
}
