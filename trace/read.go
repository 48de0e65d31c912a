package trace

import (
	"math"
	"sort"

	"trivet/fault"
)

// GramsPerOunce is the avoirdupois ounce (NIST SP 811, 2008, appendix B.8).
const GramsPerOunce = 28.349523125

// Len is the number of samples, missing ones included.
func (t *Trace) Len() int { return len(t.TimesUS) }

// Raw returns sample i as it was recorded, in the channel's own unit, and
// false if it is missing. A decimal quantum gives the decimal that was
// printed: count 213 of 0.1 is 21.3.
func (t *Trace) Raw(i int) (float64, bool) {
	if t.Missing.Has(i) {
		return 0, false
	}
	return scaled(t.Counts[i], t.Quantum), true
}

// scaled is count × quantum, by a division where the quantum is one part of
// a whole number, so that it rounds once.
func scaled(count int64, quantum float64) float64 {
	if inv := math.Round(1 / quantum); inv >= 1 && 1/inv == quantum {
		return float64(count) / inv
	}
	return float64(count) * quantum
}

// Value returns sample i in the unit channels are read in, and false if it
// is missing: °C for temperatures, with the channel's OffsetK subtracted; g
// for masses; the recorded unit otherwise.
func (t *Trace) Value(i int) (float64, bool) {
	v, ok := t.Raw(i)
	if !ok {
		return 0, false
	}
	return t.Channel.Read(v), true
}

// Read converts a recorded value to the unit channels are read in: °C less
// OffsetK, g, or as recorded.
func (c Channel) Read(v float64) float64 {
	switch c.Unit {
	case DegC:
		return v - c.OffsetK
	case DegF:
		return (v-32)/1.8 - c.OffsetK
	case Kelvin:
		return v - 273.15 - c.OffsetK
	case Ounce:
		return v * GramsPerOunce
	}
	return v
}

// IsTemperature tells whether the channel is read in °C.
func (c Channel) IsTemperature() bool {
	return c.Unit == DegC || c.Unit == DegF || c.Unit == Kelvin
}

// Resolution is the size of one count in the unit channels are read in: K,
// g, or as recorded. The standard uncertainty of it is Resolution/√12.
func (t *Trace) Resolution() float64 {
	switch t.Channel.Unit {
	case DegF:
		return t.Quantum / 1.8
	case Ounce:
		return t.Quantum * GramsPerOunce
	}
	return t.Quantum
}

// Points returns the samples that have a value: times in seconds from zeroUS
// and values as [Trace.Value] gives them.
func (t *Trace) Points(zeroUS int64) (timesS, values []float64) {
	n := t.Len() - t.Missing.Count()
	timesS, values = make([]float64, 0, n), make([]float64, 0, n)
	for i, us := range t.TimesUS {
		if v, ok := t.Value(i); ok {
			timesS = append(timesS, float64(us-zeroUS)/1e6)
			values = append(values, v)
		}
	}
	return timesS, values
}

// Index is the first sample at or after the time, Len() if there is none.
func (t *Trace) Index(us int64) int {
	return sort.Search(len(t.TimesUS), func(i int) bool { return t.TimesUS[i] >= us })
}

// Slice returns the samples from fromUS to toUS, both included. Times and
// counts share their memory with t.
func (t *Trace) Slice(fromUS, toUS int64) *Trace {
	lo, hi := t.Index(fromUS), t.Len()
	if toUS < math.MaxInt64 {
		hi = t.Index(toUS + 1)
	}
	out := *t
	if lo >= hi {
		out.TimesUS, out.Counts, out.Missing = nil, nil, Bitmap{}
		return &out
	}
	out.TimesUS, out.Counts = t.TimesUS[lo:hi:hi], t.Counts[lo:hi:hi]
	out.Missing = t.Missing.Slice(lo, hi)
	return &out
}

// Validate checks what every trace promises: as many counts as times, times
// strictly increasing, a finite quantum above zero, missing samples inside
// the trace with a count of zero.
func (t *Trace) Validate() error {
	if len(t.TimesUS) != len(t.Counts) {
		return fault.New("trace-shape", "a trace has %d times and %d values", len(t.TimesUS), len(t.Counts)).On("trace", t.Channel.ID)
	}
	if !(t.Quantum > 0) || math.IsInf(t.Quantum, 0) {
		return fault.New("trace-quantum", "the value of one count must be finite and above zero, not %v", t.Quantum).On("trace", t.Channel.ID)
	}
	for i, us := range t.TimesUS {
		if i > 0 && us <= t.TimesUS[i-1] {
			return fault.New("trace-order", "sample %d (from 1) is not later than the one before", i+1).On("trace", t.Channel.ID)
		}
	}
	for i := range t.Missing.words {
		for j := 0; j < 64 && t.Missing.words[i] != 0; j++ {
			at := i<<6 + j
			if !t.Missing.Has(at) {
				continue
			}
			if at >= len(t.Counts) || t.Counts[at] != 0 {
				return fault.New("trace-missing", "sample %d (from 1) is marked missing but is outside the trace or has a value", at+1).On("trace", t.Channel.ID)
			}
		}
	}
	return nil
}
