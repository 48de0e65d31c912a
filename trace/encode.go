package trace

import (
	"encoding/binary"
	"hash/crc32"
	"slices"
	"sync"

	"github.com/klauspost/compress/zstd"

	"trivet/fault"
)

// The stored form of a trace is described in FORMAT.md.
const (
	codecVersion = 1
	magic        = "TVTR"
	chunkSamples = 4096

	encodingRice = 1 // payload as it is
	encodingZstd = 2 // the same payload in a zstd frame

	flagElapsed = 1

	modelGrid = 0 // times against an even grid
	modelStep = 1 // steps against one step

	// MaxSamples is the most samples one stored trace may have.
	MaxSamples = 1 << 25
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// zstdWriter is shared: EncodeAll may be called from many goroutines.
var zstdWriter = sync.OnceValue(func() *zstd.Encoder {
	w, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithEncoderCRC(false),
		zstd.WithWindowSize(zstd.MinWindowSize*128), zstd.WithEncoderLevel(zstd.SpeedDefault))
	if err != nil { // constant options: cannot happen
		return nil
	}
	return w
})

// Encode appends the stored form of the trace to dst. It is lossless; see
// FORMAT.md. A trace that breaks the promises of its type is refused.
func Encode(dst []byte, t *Trace) ([]byte, error) {
	if err := t.Validate(); err != nil {
		return dst, err
	}
	if t.Len() > MaxSamples {
		return dst, fault.New("trace-size", "a stored trace has at most %d samples, and this has %d", MaxSamples, t.Len()).
			On("trace", t.Channel.ID).WithFix("store it in parts")
	}
	if n := t.Len(); n > 0 && t.TimesUS[n-1]-t.TimesUS[0] < 0 {
		return dst, fault.New("trace-range", "the trace spans more than 292,000 years").On("trace", t.Channel.ID)
	}
	head, err := appendHead(nil, t)
	if err != nil {
		return dst, err
	}
	var body, scratch []byte
	head = binary.AppendUvarint(head, uint64(t.Len()))
	head = binary.AppendUvarint(head, uint64((t.Len()+chunkSamples-1)/chunkSamples))
	w := &chunkWriter{}
	last := int64(0)
	for lo := 0; lo < t.Len(); lo += chunkSamples {
		hi := min(lo+chunkSamples, t.Len())
		present := w.load(t, lo, hi)
		was := len(body)
		scratch = w.payload(scratch[:0], t.TimesUS[lo:hi])
		body = appendChunk(body, scratch)

		first, end := t.TimesUS[lo], t.TimesUS[hi-1]
		head = binary.AppendVarint(head, first-last)
		head = binary.AppendUvarint(head, uint64(end)-uint64(first))
		head = binary.AppendUvarint(head, uint64(hi-lo-1))
		head = binary.AppendUvarint(head, uint64(present))
		if present > 0 {
			least, most := slices.Min(w.counts), slices.Max(w.counts)
			head = binary.AppendVarint(head, least)
			head = binary.AppendUvarint(head, uint64(most)-uint64(least))
		}
		head = binary.AppendUvarint(head, uint64(len(body)-was))
		last = end
	}
	return frame(dst, head, body), nil
}

// appendChunk frames a payload: encoding id, payload, CRC. It is compressed
// only if that makes it smaller.
func appendChunk(dst, payload []byte) []byte {
	from := len(dst)
	dst = append(dst, encodingZstd)
	dst = binary.AppendUvarint(dst, uint64(len(payload)))
	if w := zstdWriter(); w != nil && len(payload) > 64 {
		dst = w.EncodeAll(payload, dst)
	}
	if n := len(dst) - from; len(payload) <= 64 || n >= len(payload)+1 {
		dst = append(append(dst[:from], encodingRice), payload...)
	}
	return binary.LittleEndian.AppendUint32(dst, crc32.Checksum(dst[from:], castagnoli))
}

// chunkWriter holds the working memory of one chunk.
type chunkWriter struct {
	counts  []int64 // of samples with a value
	runs    []uint64
	z, best []uint64
	a, b    []byte
}

// load takes the samples lo … hi−1 of t and returns how many have a value.
func (w *chunkWriter) load(t *Trace, lo, hi int) int {
	w.counts, w.runs = w.counts[:0], w.runs[:0]
	run, missing := uint64(0), false
	for i := lo; i < hi; i++ {
		if t.Missing.Has(i) != missing {
			w.runs = append(w.runs, run)
			run, missing = 0, !missing
		}
		run++
		if !missing {
			w.counts = append(w.counts, t.Counts[i])
		}
	}
	w.runs = append(w.runs, run)
	return len(w.counts)
}

// payload codes the loaded samples.
func (w *chunkWriter) payload(dst []byte, times []int64) []byte {
	if len(w.counts) < len(times) {
		for _, r := range w.runs {
			dst = binary.AppendUvarint(dst, r)
		}
	}
	if len(times) > 1 {
		dst = w.times(dst, times)
	}
	if len(w.counts) > 0 {
		dst = w.values(dst)
	}
	return dst
}

// times codes the times in the shorter of the two models.
func (w *chunkWriter) times(dst []byte, times []int64) []byte {
	unit := uint64(0)
	for i := 1; i < len(times); i++ {
		unit = gcd(uint64(times[i])-uint64(times[i-1]), unit)
	}
	dst = binary.AppendUvarint(dst, unit)
	m := len(times) - 1
	steps := w.z[:0]
	for i := 1; i < len(times); i++ {
		steps = append(steps, (uint64(times[i])-uint64(times[i-1]))/unit)
	}
	w.best = append(w.best[:0], steps...)
	slices.Sort(w.best)
	step := w.best[m/2]
	for i, s := range steps {
		w.best[i] = zigzag(int64(s - step))
	}
	w.a = binary.AppendUvarint(append(w.a[:0], modelStep), step)
	w.a = appendResiduals(w.a, w.best)
	best := w.a
	if d := (uint64(times[m]) - uint64(times[0])) / unit; d < 1<<50 {
		at := uint64(0)
		for i, s := range steps {
			at += s
			w.best[i] = zigzag(int64(at - uint64(i+1)*d/uint64(m)))
		}
		w.b = appendResiduals(append(w.b[:0], modelGrid), w.best)
		if len(w.b) < len(best) {
			best = w.b
		}
	}
	w.z = steps
	return append(dst, best...)
}

// values codes the counts in the shorter of the two orders.
func (w *chunkWriter) values(dst []byte) []byte {
	c := w.counts
	dst = binary.AppendVarint(dst, c[0])
	z := w.z[:0]
	for i := 1; i < len(c); i++ {
		z = append(z, zigzag(c[i]-c[i-1]))
	}
	w.a = appendResiduals(append(w.a[:0], 1), z)
	before := c[0]
	for i := 1; i < len(c); i++ {
		z[i-1] = zigzag(c[i] - c[i-1] - (c[i-1] - before))
		before = c[i-1]
	}
	w.b = appendResiduals(append(w.b[:0], 2), z)
	w.z = z
	if len(w.b) < len(w.a) {
		return append(dst, w.b...)
	}
	return append(dst, w.a...)
}

func gcd(a, b uint64) uint64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
