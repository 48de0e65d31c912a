package trace

import (
	"bytes"
	"encoding/binary"
	"flag"
	"hash/crc32"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"trivet/fault"
)

var update = flag.Bool("update", false, "write testdata again")

// sameTrace compares everything a stored trace promises to keep.
var sameTrace = cmp.Comparer(func(a, b Bitmap) bool { return a.Equal(b) })

func roundTrip(t interface{ Fatal(...any) }, in *Trace) []byte {
	b, err := Encode([]byte("before"), in)
	if err != nil {
		t.Fatal(err)
	}
	b = b[len("before"):]
	out, err := Decode(b)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(in, out, sameTrace); d != "" {
		t.Fatal("not the same after storing:\n" + d)
	}
	return b
}

// cookLog is a computed stand-in for a logged core: a smooth rise with sensor
// noise, read at 0.1 K.
func cookLog(n int, stepUS, jitterUS, stampUS int64, noiseK float64) *Trace {
	r := rand.New(rand.NewPCG(7, 11))
	t := &Trace{
		Channel: Channel{ID: "core", Place: Core, Unit: DegC, Sensor: "p1"},
		Quantum: 0.1, OffsetMin: 120, Source: "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
	}
	at := int64(1_777_640_587_250_000)
	for i := range n {
		us := at + int64(i)*stepUS
		if jitterUS > 0 {
			us += int64(r.NormFloat64() * float64(jitterUS))
		}
		us -= us % stampUS
		if k := len(t.TimesUS); k > 0 && us <= t.TimesUS[k-1] {
			us = t.TimesUS[k-1] + stampUS
		}
		s := float64(us-at) / 1e6
		v := 5 + 58*(1-math.Exp(-s/700)) + noiseK*r.NormFloat64()
		t.TimesUS = append(t.TimesUS, us)
		t.Counts = append(t.Counts, int64(math.Round(v*10)))
	}
	return t
}

func TestStoredSize(t *testing.T) {
	for _, c := range []struct {
		name                  string
		n                     int
		step, jitter, stampUS int64
		noise                 float64
		most                  float64 // bytes a sample
	}{
		{"1 Hz, regular", 12000, 1_000_000, 0, 1000, 0.05, 0.4},
		{"1 Hz, stamped to ms, 3 ms jitter", 12000, 1_000_000, 3000, 1000, 0.05, 0.9},
		{"10 Hz, stamped to ms, 3 ms jitter", 12000, 100_000, 3000, 1000, 0.1, 1.0},
		// Random microseconds hold log2(σ√(2πe)) bits each, 12 for σ = 1 ms: no
		// coding makes much less of them.
		{"10 Hz, stamped to µs, 1 ms jitter", 12000, 100_000, 1000, 1, 0.1, 2.0},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := cookLog(c.n, c.step, c.jitter, c.stampUS, c.noise)
			per := float64(len(roundTrip(t, in))) / float64(c.n)
			t.Logf("%.3f bytes a sample", per)
			if per > c.most {
				t.Errorf("%.3f bytes a sample, at most %v wanted", per, c.most)
			}
		})
	}
}

func TestStoredShapes(t *testing.T) {
	ch := Channel{ID: "x", Place: Other, DepthM: 0.0123, OffsetK: -0.31, CheckedUK: 0.05, SourceName: "T1 °C"}
	long := cookLog(3*chunkSamples+17, 1e6, 0, 1, 0.1)
	for i := 100; i < 5000; i += 7 {
		long.Missing.Set(i)
		long.Counts[i] = 0
	}
	gone := &Trace{Channel: ch, Quantum: 0.25, TimesUS: []int64{1, 2, 3}, Counts: []int64{0, 0, 0}}
	for i := range 3 {
		gone.Missing.Set(i)
	}
	for name, in := range map[string]*Trace{
		"empty":          {Channel: ch, Quantum: 1},
		"one":            {Channel: ch, Quantum: 1e-9, TimesUS: []int64{-5}, Counts: []int64{math.MinInt64}},
		"all missing":    gone,
		"several chunks": long,
		"extremes": {Channel: ch, Quantum: math.SmallestNonzeroFloat64, Elapsed: true, OffsetMin: -720,
			TimesUS: []int64{math.MinInt64 / 2, -1, 0, math.MaxInt64 / 3}, Counts: []int64{math.MinInt64, math.MaxInt64, 0, -1}},
	} {
		t.Run(name, func(t *testing.T) { roundTrip(t, in) })
	}
}

// Any trace comes back as it was, and any span of it is the slice of it.
func TestStoredIsLossless(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(0, 9000).Draw(rt, "n")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		wide := rapid.IntRange(0, 63).Draw(rt, "bits of a count")
		step := rapid.Int64Range(1, 1e9).Draw(rt, "largest step")
		unit := rapid.SampledFrom([]int64{1, 1000, 1e6}).Draw(rt, "unit")
		gone := rapid.SampledFrom([]float64{0, 0.01, 0.5, 1}).Draw(rt, "missing")
		in := &Trace{Channel: Channel{ID: "c", Unit: DegC}, Quantum: rapid.SampledFrom([]float64{0.1, 1, 1. / 16}).Draw(rt, "q"), Elapsed: true}
		at := r.Int64N(1e15)
		for i := range n {
			at += (1 + r.Int64N(step)) * unit
			in.TimesUS = append(in.TimesUS, at)
			c := int64(r.Uint64()) >> (63 - wide)
			if r.Float64() < gone {
				in.Missing.Set(i)
				c = 0
			}
			in.Counts = append(in.Counts, c)
		}
		b := roundTrip(rt, in)
		if n == 0 {
			return
		}
		from, to := in.TimesUS[r.IntN(n)]-r.Int64N(3), in.TimesUS[r.IntN(n)]+r.Int64N(3)
		got, err := DecodeRange(b, from, to)
		if err != nil {
			rt.Fatal(err)
		}
		want := in.Slice(from, to)
		if len(got.TimesUS) == 0 && len(want.TimesUS) == 0 {
			return
		}
		if d := cmp.Diff(want, got, sameTrace); d != "" {
			rt.Fatal("span differs:\n" + d)
		}
	})
}

func TestChunksTellMinAndMax(t *testing.T) {
	in := cookLog(2*chunkSamples, 1e6, 0, 1, 0.1)
	in.Channel.Unit, in.Channel.OffsetK = DegF, 0.5
	b, _ := Encode(nil, in)
	s, err := Open(b)
	if err != nil || len(s.Chunks) != 2 {
		t.Fatal(s, err)
	}
	for i, c := range s.Chunks {
		least, most := math.Inf(1), math.Inf(-1)
		for j := i * chunkSamples; j < (i+1)*chunkSamples; j++ {
			v, _ := in.Value(j)
			least, most = min(least, v), max(most, v)
		}
		if c.Min != least || c.Max != most || c.FirstUS != in.TimesUS[i*chunkSamples] {
			t.Errorf("chunk %d: %+v, want %v … %v", i, c, least, most)
		}
	}
}

// fixture is the trace stored in testdata/v1.tvtr.
func fixture() *Trace {
	t := &Trace{
		Channel: Channel{ID: "d08", Place: Depth, Unit: DegF, DepthM: 0.008, Sensor: "p2", Class: "T special", OffsetK: 0.2, CheckedUK: 0.1, SourceName: "T2 (°F)"},
		Elapsed: true, OffsetMin: -240, Quantum: 0.1, Source: "00ff",
	}
	for i := range 5000 {
		us := int64(i)*100_000 + int64(i*i%7)*1000
		t.TimesUS = append(t.TimesUS, us)
		t.Counts = append(t.Counts, int64(400+i/9+i*i%3))
		if i%1000 > 990 {
			t.Missing.Set(i)
			t.Counts[i] = 0
		}
	}
	return t
}

// stored are the blocks of version 1 in testdata: one whose chunks are
// compressed, one whose chunks are not. The sums were printed by
// testdata/peer/read_v1.py, a reader in Python written from FORMAT.md alone.
var stored = []struct {
	name                    string
	in                      *Trace
	missing                 int
	times, counts, weighted int64
	encodings               []byte
}{
	{"testdata/v1.tvtr", fixture(), 45, 1249759997000, 3356738, 9450898512, []byte{2, 2}},
	{"testdata/v1-jitter.tvtr", cookLog(5000, 100_000, 3000, 1000, 0.1), 0, 8888204185997518000, 1077360, 3304514982, []byte{1, 1}},
}

// Blocks stored by the first version stay readable, and read as another
// program reads them.
func TestReadsVersion1(t *testing.T) {
	for _, c := range stored {
		if *update {
			b, err := Encode(nil, c.in)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(c.name, b, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		b, err := os.ReadFile(c.name)
		if err != nil {
			t.Fatal(err)
		}
		s, err := Open(b)
		if err != nil {
			t.Fatal(err)
		}
		for i, chunk := range s.Chunks {
			if chunk.data[0] != c.encodings[i] {
				t.Errorf("%s: chunk %d has encoding %d", c.name, i, chunk.data[0])
			}
		}
		got, err := Decode(b)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(c.in, got, sameTrace); d != "" {
			t.Fatal(d)
		}
		var times, counts, weighted, k int64 // weights count present samples
		for i, v := range got.Counts {
			times, counts = times+got.TimesUS[i], counts+v
			if !got.Missing.Has(i) {
				weighted += k * v
				k++
			}
		}
		if got.Missing.Count() != c.missing || times != c.times || counts != c.counts || weighted != c.weighted {
			t.Errorf("%s: %d missing, sums %d %d %d", c.name, got.Missing.Count(), times, counts, weighted)
		}
	}
}

// A partition coded by hand from FORMAT.md: residuals 0, −1, 1, 5 zigzag to
// 0, 1, 2, 10; with k = 1 their codes are 00, 01, 100, 1111100.
func TestRiceByHand(t *testing.T) {
	r := &reader{b: []byte{1, 0b00011001, 0b11110000, 0xaa}}
	out := make([]int64, 4)
	r.residuals(out)
	if r.bad || len(r.b) != 1 || out[0] != 0 || out[1] != -1 || out[2] != 1 || out[3] != 5 {
		t.Error(out, r)
	}
}

func TestCorruptIsRefused(t *testing.T) {
	good, _ := Encode(nil, fixture())
	for i := range good {
		if i%3 != 0 && i > 300 { // every byte of the header, a third of the rest
			continue
		}
		b := bytes.Clone(good)
		b[i] ^= 0x10
		if _, err := Decode(b); fault.As(err) == nil {
			t.Fatalf("byte %d of %d changed, and it was read", i, len(good))
		}
	}
	for n := 0; n < len(good); n += 13 {
		if _, err := Decode(good[:n]); fault.As(err) == nil {
			t.Fatalf("cut to %d bytes, and it was read", n)
		}
	}
	if _, err := Decode(append(bytes.Clone(good), 0)); err == nil {
		t.Error("a byte too many, and it was read")
	}
	newer := bytes.Clone(good)
	newer[4] = 2
	if _, err := Decode(newer); fault.As(err).Code != "trace-version" {
		t.Error(err)
	}
}

// mend writes correct checksums into b, so that what is behind them is
// reached.
func mend(b []byte) {
	if len(b) < 6 {
		return
	}
	n, k := binary.Uvarint(b[5:])
	at := 5 + k + int(n)
	if k <= 0 || n > 1<<20 || at+4 > len(b) {
		return
	}
	binary.LittleEndian.PutUint32(b[at:], crc32.Checksum(b[:at], castagnoli))
	s, err := Open(b)
	if err != nil {
		return
	}
	for _, c := range s.Chunks {
		if n := len(c.data); n >= 4 {
			binary.LittleEndian.PutUint32(c.data[n-4:], crc32.Checksum(c.data[:n-4], castagnoli))
		}
	}
}

// FuzzDecode: no bytes make a panic, whatever their checksums; what is read
// is a valid trace and stores again to the same samples.
func FuzzDecode(f *testing.F) {
	for _, t := range []*Trace{fixture(), cookLog(300, 1e6, 3000, 1000, 0.1), {Quantum: 1}} {
		b, err := Encode(nil, t)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
		f.Add(b[:len(b)/2])
	}
	f.Add([]byte("TVTR\x01"))
	f.Fuzz(func(t *testing.T, b []byte) {
		mend(b)
		got, err := Decode(b)
		if err != nil {
			if fault.As(err) == nil {
				t.Fatal(err)
			}
			return
		}
		if err := got.Validate(); err != nil {
			t.Fatal(err)
		}
		again, err := Encode(nil, got)
		if err != nil {
			return // text that is not UTF-8
		}
		back, err := Decode(again)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(got.Counts, back.Counts); d != "" {
			t.Fatal(d)
		}
	})
}

func BenchmarkEncode(b *testing.B) {
	in := cookLog(100_000, 100_000, 3000, 1000, 0.1)
	var out []byte
	b.ReportAllocs()
	for b.Loop() {
		out, _ = Encode(out[:0], in)
	}
	b.ReportMetric(float64(len(out))/float64(in.Len()), "bytes/sample")
	b.ReportMetric(float64(in.Len())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}

func BenchmarkDecode(b *testing.B) {
	in := cookLog(100_000, 100_000, 3000, 1000, 0.1)
	stored, _ := Encode(nil, in)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Decode(stored); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(stored))/float64(in.Len()), "bytes/sample")
	b.ReportMetric(float64(in.Len())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}

func BenchmarkDecodeRange(b *testing.B) {
	in := cookLog(100_000, 100_000, 3000, 1000, 0.1)
	stored, _ := Encode(nil, in)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := DecodeRange(stored, in.TimesUS[50_000], in.TimesUS[50_600]); err != nil {
			b.Fatal(err)
		}
	}
}
