package trace

import (
	"math"
	"slices"
)

// Gap is a span without values between two samples that have one.
type Gap struct {
	FromUS  int64 `json:"from_us"` // last sample before
	ToUS    int64 `json:"to_us"`   // first sample after
	Missing int   `json:"missing"` // samples between that were recorded without a value
}

// Gaps lists the spans between neighbouring values that are longer than
// limitUS.
func (t *Trace) Gaps(limitUS int64) []Gap {
	var out []Gap
	last := -1
	for i := range t.TimesUS {
		if t.Missing.Has(i) {
			continue
		}
		if last >= 0 && t.TimesUS[i]-t.TimesUS[last] > limitUS {
			out = append(out, Gap{t.TimesUS[last], t.TimesUS[i], i - last - 1})
		}
		last = i
	}
	return out
}

// PeriodUS is the median step between samples, 0 with fewer than two.
func (t *Trace) PeriodUS() int64 {
	if t.Len() < 2 {
		return 0
	}
	steps := make([]int64, t.Len()-1)
	for i := range steps {
		steps[i] = t.TimesUS[i+1] - t.TimesUS[i]
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}

// At is the value at a time, by a straight line between the values on either
// side. It is false outside the trace and across a gap longer than
// maxGapUS: a gap is never filled.
func (t *Trace) At(us, maxGapUS int64) (float64, bool) {
	hi := t.Index(us)
	for hi < t.Len() && t.Missing.Has(hi) {
		hi++
	}
	if hi < t.Len() && t.TimesUS[hi] == us {
		return t.Value(hi)
	}
	lo := t.Index(us) - 1
	for lo >= 0 && t.Missing.Has(lo) {
		lo--
	}
	return t.between(lo, hi, us, maxGapUS)
}

// between draws the line from value lo to value hi.
func (t *Trace) between(lo, hi int, us, maxGapUS int64) (float64, bool) {
	if lo < 0 || hi >= t.Len() || t.TimesUS[hi]-t.TimesUS[lo] > maxGapUS {
		return 0, false
	}
	a, _ := t.Value(lo)
	b, _ := t.Value(hi)
	f := float64(us-t.TimesUS[lo]) / float64(t.TimesUS[hi]-t.TimesUS[lo])
	return a + f*(b-a), true
}

// Resample reads the trace at n even steps from fromUS, as [Trace.At] does.
// Samples it cannot tell are marked missing and their value is 0.
func (t *Trace) Resample(fromUS, stepUS int64, n int, maxGapUS int64) ([]float64, Bitmap) {
	out := make([]float64, n)
	var missing Bitmap
	lo, hi := -1, 0
	for i := range out {
		us := fromUS + int64(i)*stepUS
		for hi < t.Len() && (t.TimesUS[hi] < us || t.Missing.Has(hi)) {
			if !t.Missing.Has(hi) {
				lo = hi
			}
			hi++
		}
		var v float64
		var ok bool
		if hi < t.Len() && t.TimesUS[hi] == us {
			v, ok = t.Value(hi)
		} else {
			v, ok = t.between(lo, hi, us, maxGapUS)
		}
		if !ok {
			missing.Set(i)
		}
		out[i] = v
	}
	return out, missing
}

// Mean is the time-weighted mean from fromUS to toUS by the trapezoid rule
// between values, gaps longer than maxGapUS left out. Covered is the share of
// the span that was told by samples; it is 0 when nothing was.
func (t *Trace) Mean(fromUS, toUS, maxGapUS int64) (mean, covered float64) {
	var area, span float64
	last := -1
	for i := max(t.Index(fromUS)-1, 0); i < t.Len(); i++ {
		if t.Missing.Has(i) {
			continue
		}
		if last >= 0 && t.TimesUS[i]-t.TimesUS[last] <= maxGapUS {
			a, b := max(t.TimesUS[last], fromUS), min(t.TimesUS[i], toUS)
			if a < b {
				va, _ := t.between(last, i, a, math.MaxInt64)
				vb, _ := t.between(last, i, b, math.MaxInt64)
				area += (va + vb) / 2 * float64(b-a)
				span += float64(b - a)
			}
		}
		if t.TimesUS[i] >= toUS {
			break
		}
		last = i
	}
	if span == 0 {
		return 0, 0
	}
	return area / span, span / float64(toUS-fromUS)
}
