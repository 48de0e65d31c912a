package trace

import (
	"math"

	"trivet/fault"
)

// MostDecimals is the finest decimal quantum [Build] chooses, 1e-9.
const MostDecimals = 9

// mostCount keeps counts where a float64 tells every integer apart.
const mostCount = 1 << 53

// Build makes a trace of float samples in the channel's unit. Times are in µs
// and must strictly increase. A NaN is a missing sample; an infinity is
// refused. Decimals is how many the source printed and sets the quantum,
// 10^−decimals; a negative value takes the fewest that tell every sample
// exactly, at most [MostDecimals].
func Build(ch Channel, timesUS []int64, values []float64, decimals int) (*Trace, error) {
	if len(timesUS) != len(values) {
		return nil, fault.New("trace-shape", "there are %d times and %d values", len(timesUS), len(values)).On("trace", ch.ID)
	}
	if decimals > MostDecimals {
		return nil, fault.New("trace-quantum", "%d decimals are more than the %d a trace keeps", decimals, MostDecimals).On("trace", ch.ID)
	}
	if decimals < 0 {
		decimals = Decimals(values)
	}
	scale := math.Pow10(decimals)
	t := &Trace{Channel: ch, TimesUS: timesUS, Counts: make([]int64, len(values)), Quantum: 1 / scale}
	for i, v := range values {
		if math.IsNaN(v) {
			t.Missing.Set(i)
			continue
		}
		c := math.Round(v * scale)
		if math.Abs(c) > mostCount || math.IsInf(v, 0) {
			return nil, fault.New("trace-range", "sample %d (from 1) is too large to keep with %d decimals", i+1, decimals).On("trace", ch.ID)
		}
		t.Counts[i] = int64(c)
	}
	if err := t.Validate(); err != nil {
		return nil, err
	}
	return t, nil
}

// Decimals is the fewest decimals that tell every value exactly, at most
// [MostDecimals]. NaN and infinities are passed over.
func Decimals(values []float64) int {
	d := 0
	for _, v := range values {
		for d < MostDecimals && !told(v, d) {
			d++
		}
	}
	return d
}

// told tells whether v is a number of d decimals.
func told(v float64, d int) bool {
	s := math.Pow10(d)
	return math.IsNaN(v) || math.IsInf(v, 0) || math.Round(v*s)/s == v
}
