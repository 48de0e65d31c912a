package stats

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"trivet/fault"
)

const (
	exactBootstrap     = 10     // up to this many values all resamples are listed
	bootstrapDraws     = 10_000 // resamples beyond
	leastBootstrapSize = 8
)

// BootstrapMean is the bootstrap of the mean of one value per block. Blocks
// are resampled, never pieces inside them.
type BootstrapMean struct {
	N            int
	Mean         float64
	SE           float64 // standard deviation of the resampled means
	Bias         float64 // z₀, the median bias on the normal scale
	Acceleration float64 // a, from the jackknife
	Exact        bool
	Notes        []fault.Note

	values []float64 // resampled means, sorted
	weight []float64 // cumulative probability up to and including each
}

// Bootstrap resamples the values (one difference per block). Up to ten values
// it lists every resample with its probability; beyond, it draws 10,000 from
// the stream ("bootstrap") of seed.
func Bootstrap(x []float64, seed string) (*BootstrapMean, error) {
	return BootstrapDraws(x, seed, bootstrapDraws)
}

// BootstrapDraws is [Bootstrap] with so many resamples where not all are
// listed, rounded up to whole thousands.
func BootstrapDraws(x []float64, seed string, draws int) (*BootstrapMean, error) {
	n := len(x)
	if draws < 1 || draws > mostDraws {
		return nil, fault.BadUsage("draws-range", "the number of resamples must lie between 1 and %d", mostDraws).WithFix("10000 are usual")
	}
	if n < 2 {
		return nil, fault.New("too-few-blocks", "a bootstrap of %d blocks has nothing to resample", n).WithFix("cook in more blocks")
	}
	b := &BootstrapMean{N: n, Mean: Mean(x), Exact: n <= exactBootstrap}
	if n < leastBootstrapSize {
		b.Notes = append(b.Notes, fault.Notef("bootstrap-few-blocks",
			"With fewer than %d blocks a bootstrap interval is too short to be trusted; use the t interval.", leastBootstrapSize))
	}
	c := centred(x)
	var means, p []float64
	if b.Exact {
		means, p = allResamples(c)
	} else {
		means, p = drawResamples(c, seed, draws)
	}
	order := seq(len(means))
	slices.SortFunc(order, func(i, j int) int {
		switch {
		case means[i] < means[j]:
			return -1
		case means[i] > means[j]:
			return 1
		}
		return i - j
	})
	tol := flipTol * slices.MaxFunc(c, func(a, b float64) int { return sign(math.Abs(a) - math.Abs(b)) })
	tol = math.Abs(tol)
	cumulative, below, second := 0.0, 0.0, 0.0
	for _, i := range order {
		cumulative += p[i]
		b.values = append(b.values, b.Mean+means[i])
		b.weight = append(b.weight, cumulative)
		second += p[i] * means[i] * means[i]
		switch {
		case means[i] < -tol:
			below += p[i]
		case means[i] <= tol:
			below += p[i] / 2
		}
	}
	b.SE = math.Sqrt(second)
	b.Bias = distuv.UnitNormal.Quantile(below)
	// Leaving value i out moves the mean by −cᵢ/(n−1), so
	// a = Σcᵢ³ / (6 (Σcᵢ²)^(3/2)).
	var s2, s3 float64
	for _, v := range c {
		s2 += v * v
		s3 += v * v * v
	}
	if s2 > 0 {
		b.Acceleration = s3 / (6 * math.Pow(s2, 1.5))
	}
	return b, nil
}

func sign(x float64) int {
	switch {
	case x < 0:
		return -1
	case x > 0:
		return 1
	}
	return 0
}

// allResamples lists the means of all multisets of n of the n values with
// their multinomial probabilities.
func allResamples(c []float64) (means, p []float64) {
	n := len(c)
	factorial := make([]float64, n+1)
	factorial[0] = 1
	for i := 1; i <= n; i++ {
		factorial[i] = factorial[i-1] * float64(i)
	}
	all := factorial[n] / math.Pow(float64(n), float64(n))
	var walk func(i, left int, sum, weight float64)
	walk = func(i, left int, sum, weight float64) {
		if i == n-1 {
			means = append(means, (sum+float64(left)*c[i])/float64(n))
			p = append(p, weight/factorial[left])
			return
		}
		for k := 0; k <= left; k++ {
			walk(i+1, left-k, sum+float64(k)*c[i], weight/factorial[k])
		}
	}
	walk(0, n, 0, all)
	return means, p
}

// drawResamples draws random resamples, all equally likely.
func drawResamples(c []float64, seed string, draws int) (means, p []float64) {
	n := uint64(len(c))
	const chunk = 1000
	draws = (draws + chunk - 1) / chunk * chunk
	means, p = make([]float64, draws), make([]float64, draws)
	for start := 0; start < draws; start += chunk {
		s := NewStream(seed, "bootstrap", uint64(start/chunk))
		for k := start; k < start+chunk; k++ {
			sum := 0.0
			for range n {
				sum += c[Bounded(s, n)]
			}
			means[k], p[k] = sum/float64(n), 1/float64(draws)
		}
	}
	return means, p
}

// quantile is the smallest resampled mean whose cumulative probability
// reaches p.
func (b *BootstrapMean) quantile(p float64) float64 {
	i, _ := slices.BinarySearch(b.weight, p-1e-12)
	return b.values[min(i, len(b.values)-1)]
}

// Percentile is the percentile interval.
func (b *BootstrapMean) Percentile(level float64) Interval {
	return Interval{Low: b.quantile((1 - level) / 2), High: b.quantile((1 + level) / 2), Level: level}
}

// BCa is the bias-corrected and accelerated interval: the quantiles at
// Φ(z₀ + (z₀+z)/(1 − a(z₀+z))) for z = ±z_{1−α/2} (Efron 1987, JASA 82:171;
// DiCiccio & Efron 1996, Stat Sci 11:189).
func (b *BootstrapMean) BCa(level float64) Interval {
	lo, hi := b.bcaShares(level)
	return Interval{Low: b.quantile(lo), High: b.quantile(hi), Level: level}
}

func (b *BootstrapMean) bcaShares(level float64) (lo, hi float64) {
	z := distuv.UnitNormal.Quantile((1 + level) / 2)
	at := func(z float64) float64 {
		return bigPhi(b.Bias + (b.Bias+z)/(1-b.Acceleration*(b.Bias+z)))
	}
	return at(-z), at(z)
}
