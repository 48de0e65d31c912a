package publish

import (
	"math"

	"trivet/stats"
)

// meanInterval is the mean of values with its 95 % t interval, for a figure;
// false for fewer than two.
func meanInterval(x []float64) (mean, lo, hi float64, ok bool) {
	n := float64(len(x))
	if n < 2 {
		return 0, 0, 0, false
	}
	mean = stats.Mean(x)
	i := stats.Contrast{Estimate: mean, SE: stats.SD(x) / math.Sqrt(n), DF: n - 1}.Interval(0.95)
	return mean, i.Low, i.High, true
}
