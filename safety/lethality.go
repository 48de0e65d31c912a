package safety

import (
	"math"

	"trivet/fault"
)

// Kinetics is a first-order heat resistance: D = DS seconds at RefC cut a
// population to a tenth, and ZK kelvins change D tenfold. There is no
// default; a source always stands beside the numbers.
type Kinetics struct {
	DS, RefC, ZK float64
	Source       string
}

// Check refuses values that describe nothing.
func (k Kinetics) Check() error {
	if !(k.DS > 0) || !(k.ZK > 0) || math.IsInf(k.DS+k.ZK, 0) || math.IsNaN(k.RefC) || k.RefC < -50 || k.RefC > 150 {
		return fault.BadUsage("kinetics", "D and z must be positive and the reference temperature a cooking temperature").
			WithFix("such as --d 106.2s --dref 60 --z 5.56")
	}
	return nil
}

// Log is a record of the coldest estimated point: times in seconds,
// increasing, temperatures in °C.
type Log struct {
	TimeS, TempC []float64
	// GapS is the longest step between samples that still counts as
	// continuous; longer ones are gaps and earn nothing. 0 means ten times
	// the median step, at least 10 s.
	GapS float64
}

// Check refuses a log that cannot be read.
func (l Log) Check() error {
	if len(l.TimeS) != len(l.TempC) {
		return fault.New("log-shape", "%d times and %d temperatures", len(l.TimeS), len(l.TempC))
	}
	if len(l.TimeS) < 2 {
		return fault.New("log-short", "the log has fewer than two samples").WithFix("log the coldest point through the cook")
	}
	for i := range l.TimeS {
		if math.IsNaN(l.TimeS[i]) || math.IsNaN(l.TempC[i]) || math.IsInf(l.TimeS[i], 0) || math.IsInf(l.TempC[i], 0) {
			return fault.New("log-value", "a time or temperature is not a number").AtRow(i + 1)
		}
		if i > 0 && l.TimeS[i] <= l.TimeS[i-1] {
			return fault.New("log-order", "the times do not increase").AtRow(i + 1)
		}
	}
	return nil
}

// gap is the step above which samples are not joined.
func (l Log) gap() float64 {
	if l.GapS > 0 {
		return l.GapS
	}
	steps := make([]float64, 0, len(l.TimeS))
	for i := 1; i < len(l.TimeS); i++ {
		steps = append(steps, l.TimeS[i]-l.TimeS[i-1])
	}
	return math.Max(10, 10*middle(steps))
}

// Gaps returns the number of gaps and their total length, s.
func (l Log) Gaps() (n int, totalS float64) {
	limit := l.gap()
	for i := 1; i < len(l.TimeS); i++ {
		if d := l.TimeS[i] - l.TimeS[i-1]; d > limit {
			n++
			totalS += d
		}
	}
	return n, totalS
}

// Log10 is the log10 reduction that the kinetics give for a log,
//
//	L = (1/D) ∫ 10^((T(t) − T_ref)/z) dt,
//
// exact for temperatures that are linear in time between samples: a segment
// from r1 to r2 (r the integrand) contributes Δt (r2 − r1)/ln(r2/r1). The
// trapezium rule on r would read high at slow logging. Nothing is counted
// below baseC (−Inf counts all) nor across gaps; shiftK is added to every
// temperature first, so that ± an uncertainty gives a range.
func (k Kinetics) Log10(l Log, baseC, shiftK float64) float64 {
	limit := l.gap()
	sum := 0.0
	for i := 1; i < len(l.TimeS); i++ {
		dt := l.TimeS[i] - l.TimeS[i-1]
		if dt > limit {
			continue
		}
		a, b := l.TempC[i-1]+shiftK, l.TempC[i]+shiftK
		part, lo, hi := aboveBase(a, b, baseC)
		if part == 0 {
			continue
		}
		sum += part * dt * meanPower((lo-k.RefC)/k.ZK, (hi-k.RefC)/k.ZK)
	}
	return sum / k.DS
}

// aboveBase is the share of a segment from a to b that lies at or above
// base, and its end temperatures.
func aboveBase(a, b, base float64) (share, lo, hi float64) {
	switch {
	case a >= base && b >= base:
		return 1, a, b
	case a < base && b < base:
		return 0, 0, 0
	case b > a:
		return (b - base) / (b - a), base, b
	}
	return (a - base) / (a - b), a, base
}

// meanPower is the mean of 10^x over x from p to q:
// (10^q − 10^p)/((q − p) ln 10).
func meanPower(p, q float64) float64 {
	d := (q - p) * math.Ln10
	if math.Abs(d) < 1e-6 {
		return math.Pow(10, (p+q)/2) * (1 + d*d/24)
	}
	return math.Pow(10, p) * math.Expm1(d) / d
}

// LongestAbove is the longest unbroken time the log, lowered by downK, is at
// or above tC, s. Crossings are interpolated; a gap breaks.
func (l Log) LongestAbove(tC, downK float64) float64 {
	limit := l.gap()
	best, run := 0.0, 0.0
	for i := 1; i < len(l.TimeS); i++ {
		dt := l.TimeS[i] - l.TimeS[i-1]
		a, b := l.TempC[i-1]-downK, l.TempC[i]-downK
		if dt > limit {
			run = 0
			continue
		}
		share, _, _ := aboveBase(a, b, tC)
		switch {
		case a >= tC && b >= tC:
			run += dt
		case b >= tC: // rises through
			run = share * dt
		case a >= tC: // falls through
			run += share * dt
			best = math.Max(best, run)
			run = 0
		default:
			run = 0
		}
		best = math.Max(best, run)
	}
	return best
}

// Peak is the highest temperature of the log.
func (l Log) Peak() float64 {
	p := math.Inf(-1)
	for _, t := range l.TempC {
		p = math.Max(p, t)
	}
	return p
}
