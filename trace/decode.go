package trace

import (
	"encoding/binary"
	"encoding/json"
	"hash/crc32"
	"math"
	"sync"

	"github.com/klauspost/compress/zstd"

	"trivet/fault"
)

// Chunk is what the header of a stored trace says of one chunk: it can be
// drawn or searched without decoding. Min and Max are in the unit channels
// are read in and 0 when Present is 0.
type Chunk struct {
	FirstUS, LastUS  int64
	Samples, Present int
	Min, Max         float64

	least, most int64
	data        []byte
}

// Stored is a stored trace whose header has been read and checked.
type Stored struct {
	Channel   Channel
	Elapsed   bool
	OffsetMin int
	Quantum   float64
	Source    string
	Samples   int
	Chunks    []Chunk
}

// zstdReader is shared: DecodeAll may be called from many goroutines.
var zstdReader = sync.OnceValue(func() *zstd.Decoder {
	r, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(0), zstd.WithDecoderMaxMemory(mostPayload), zstd.WithDecoderMaxWindow(1<<20))
	if err != nil { // constant options: cannot happen
		return nil
	}
	return r
})

// mostPayload bounds the payload of a chunk: runs, and 88 bits at worst for
// each time and count.
const mostPayload = 1 << 18

func corrupt(format string, args ...any) *fault.Error {
	return fault.New("trace-corrupt", "the stored trace is corrupt: "+format, args...).WithFix("restore it from a backup or load its log again")
}

// Decode reads a stored trace. Corrupt bytes give an error of code
// "trace-corrupt", bytes of a newer version one of code "trace-version".
func Decode(b []byte) (*Trace, error) { return DecodeRange(b, math.MinInt64, math.MaxInt64) }

// DecodeRange reads the samples of a stored trace from fromUS to toUS, both
// included; other chunks are neither decoded nor checked.
func DecodeRange(b []byte, fromUS, toUS int64) (*Trace, error) {
	s, err := Open(b)
	if err != nil {
		return nil, err
	}
	return s.Range(fromUS, toUS)
}

// Open reads and checks the header of a stored trace. The chunks share b's
// memory.
func Open(b []byte) (*Stored, error) {
	if len(b) < 5 || string(b[:4]) != magic {
		return nil, corrupt("it does not begin as one")
	}
	if b[4] != codecVersion {
		return nil, fault.New("trace-version", "the stored trace has version %d, and this program reads up to %d", b[4], codecVersion).
			WithFix("read it with a newer trivet")
	}
	r := &reader{b: b[5:]}
	head := &reader{b: r.bytes(r.uvarint())}
	sum := r.bytes(4)
	if r.bad {
		return nil, corrupt("the header is cut off")
	}
	if at := len(b) - len(r.b) - 4; binary.LittleEndian.Uint32(sum) != crc32.Checksum(b[:at], castagnoli) {
		return nil, corrupt("the checksum of its header does not fit")
	}
	s := &Stored{}
	s.Elapsed = head.byte()&flagElapsed != 0
	s.OffsetMin = int(head.varint())
	if q := head.bytes(8); q != nil {
		s.Quantum = math.Float64frombits(binary.LittleEndian.Uint64(q))
	}
	channel := head.bytes(head.uvarint())
	s.Source = string(head.bytes(head.uvarint()))
	samples, chunks := head.uvarint(), head.uvarint()
	if head.bad || !(s.Quantum > 0) || math.IsInf(s.Quantum, 0) || samples > MaxSamples {
		return nil, corrupt("its header makes no sense")
	}
	if err := json.Unmarshal(channel, &s.Channel); err != nil {
		return nil, corrupt("the channel cannot be read").Wrap(err)
	}
	s.Samples = int(samples)
	if err := s.index(head, r, chunks); err != nil {
		return nil, err
	}
	return s, nil
}

// index reads the chunks' entries from the header and cuts the body.
func (s *Stored) index(head, body *reader, chunks uint64) error {
	last, total := int64(0), 0
	for i := uint64(0); i < chunks; i++ {
		var c Chunk
		c.FirstUS = last + head.varint()
		c.LastUS = c.FirstUS + int64(head.uvarint())
		samples, present := head.uvarint(), head.uvarint()
		if head.bad || samples >= chunkSamples || present > samples+1 || c.LastUS < c.FirstUS || i > 0 && c.FirstUS <= last {
			return corrupt("the entry of chunk %d (from 1) makes no sense", i+1)
		}
		c.Samples, c.Present = int(samples)+1, int(present)
		if present > 0 {
			c.least = head.varint()
			c.most = c.least + int64(head.uvarint())
			c.Min, c.Max = s.Channel.Read(scaled(c.least, s.Quantum)), s.Channel.Read(scaled(c.most, s.Quantum))
		}
		c.data = body.bytes(head.uvarint())
		if head.bad || body.bad {
			return corrupt("chunk %d (from 1) is cut off", i+1)
		}
		last = c.LastUS
		total += c.Samples
		s.Chunks = append(s.Chunks, c)
	}
	if total != s.Samples || len(head.b) > 0 || len(body.b) > 0 {
		return corrupt("its parts do not add up")
	}
	return nil
}

// Range decodes the samples from fromUS to toUS, both included.
func (s *Stored) Range(fromUS, toUS int64) (*Trace, error) {
	t := &Trace{Channel: s.Channel, Elapsed: s.Elapsed, OffsetMin: s.OffsetMin, Quantum: s.Quantum, Source: s.Source}
	cut := false
	n, most := 0, 0 // samples told, and what the bytes can well hold
	for _, c := range s.Chunks {
		if c.LastUS >= fromUS && c.FirstUS <= toUS {
			n, most = n+c.Samples, most+64*len(c.data)
		}
	}
	if n = min(n, most); n > 0 {
		t.TimesUS, t.Counts = make([]int64, 0, n), make([]int64, 0, n)
	}
	var times, counts [chunkSamples]int64
	for i := range s.Chunks {
		c := &s.Chunks[i]
		if c.LastUS < fromUS || c.FirstUS > toUS {
			continue
		}
		cut = cut || c.FirstUS < fromUS || c.LastUS > toUS
		if err := c.decode(t, times[:c.Samples], counts[:c.Present]); err != nil {
			return nil, corrupt("chunk %d (from 1): %v", i+1, err.Message)
		}
	}
	if cut {
		t = t.Slice(fromUS, toUS)
	}
	return t, nil
}

// decode appends the chunk's samples to t.
func (c *Chunk) decode(t *Trace, times, counts []int64) *fault.Error {
	bad := func(text string) *fault.Error { return fault.New("trace-corrupt", "%s", text) }
	if len(c.data) < 5 {
		return bad("it is cut off")
	}
	data, sum := c.data[:len(c.data)-4], c.data[len(c.data)-4:]
	if binary.LittleEndian.Uint32(sum) != crc32.Checksum(data, castagnoli) {
		return bad("its checksum does not fit")
	}
	payload := data[1:]
	switch data[0] {
	case encodingRice:
	case encodingZstd:
		n, k := binary.Uvarint(payload)
		if k <= 0 || n > mostPayload {
			return bad("its length makes no sense")
		}
		raw, err := zstdReader().DecodeAll(payload[k:], make([]byte, 0, n))
		if err != nil || uint64(len(raw)) != n {
			return bad("it cannot be decompressed")
		}
		payload = raw
	default:
		return bad("its encoding is not known here")
	}
	r := &reader{b: payload}
	base := len(t.TimesUS)
	if c.Present < c.Samples && !readRuns(r, t, base, c) {
		return bad("its missing samples do not add up")
	}
	if !readTimes(r, times, c) {
		return bad("its times do not add up")
	}
	if !readCounts(r, counts, c) || r.bad || len(r.b) > 0 {
		return bad("its values do not add up")
	}
	t.TimesUS = append(t.TimesUS, times...)
	if c.Present == c.Samples {
		t.Counts = append(t.Counts, counts...)
		return nil
	}
	for i := range times {
		v := int64(0)
		if !t.Missing.Has(base + i) {
			v, counts = counts[0], counts[1:]
		}
		t.Counts = append(t.Counts, v)
	}
	return nil
}

// readRuns marks the missing samples of a chunk that begins at index base.
func readRuns(r *reader, t *Trace, base int, c *Chunk) bool {
	present := 0
	for i, missing := 0, false; i < c.Samples; missing = !missing {
		run := r.uvarint()
		if r.bad || run > uint64(c.Samples-i) || run == 0 && i > 0 {
			return false
		}
		for end := i + int(run); i < end; i++ {
			if missing {
				t.Missing.Set(base + i)
			} else {
				present++
			}
		}
		if run == 0 && missing {
			return false
		}
	}
	return present == c.Present
}

func readTimes(r *reader, out []int64, c *Chunk) bool {
	out[0] = c.FirstUS
	if len(out) == 1 {
		return c.FirstUS == c.LastUS
	}
	unit, model := r.uvarint(), r.byte()
	if unit == 0 || r.bad {
		return false
	}
	rest := out[1:]
	switch model {
	case modelStep:
		step := r.uvarint()
		r.residuals(rest)
		at := uint64(c.FirstUS)
		for i, v := range rest {
			at += unit * (step + uint64(v))
			rest[i] = int64(at)
		}
	case modelGrid:
		d, m := (uint64(c.LastUS)-uint64(c.FirstUS))/unit, uint64(len(rest))
		if d >= 1<<50 {
			return false
		}
		r.residuals(rest)
		for i, v := range rest {
			rest[i] = int64(uint64(c.FirstUS) + unit*(uint64(i+1)*d/m+uint64(v)))
		}
	default:
		return false
	}
	for i, us := range rest {
		if us <= out[i] {
			return false
		}
	}
	return !r.bad && rest[len(rest)-1] == c.LastUS
}

func readCounts(r *reader, out []int64, c *Chunk) bool {
	if len(out) == 0 {
		return true
	}
	out[0] = r.varint()
	order := r.byte()
	rest := out[1:]
	r.residuals(rest)
	if r.bad {
		return false
	}
	now, slope := out[0], int64(0)
	least, most := now, now
	switch order {
	case 1:
		for i, v := range rest {
			now += v
			rest[i] = now
			least, most = min(least, now), max(most, now)
		}
	case 2:
		for i, v := range rest {
			slope += v
			now += slope
			rest[i] = now
			least, most = min(least, now), max(most, now)
		}
	default:
		return false
	}
	return least == c.least && most == c.most
}
