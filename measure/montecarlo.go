package measure

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
)

// monteCarloDraws is enough for a standard deviation to 1.6 % and limits to a
// few per cent of it.
const monteCarloDraws = 2000

// drawn is what a propagation of distributions gave.
type drawn struct {
	n        int
	sd       float64
	low, top float64 // the central 95.45 % of the value less the estimate
}

// monteCarlo propagates normal errors with standard uncertainties u through f
// (JCGM 101:2008, clause 7): the draws come from ChaCha8 seeded by the name,
// so that one record always gives one result. f of no error is the estimate.
func monteCarlo(name string, u []float64, f func(errs []float64) float64) drawn {
	var seed [32]byte
	h := fnv.New128a()
	h.Write([]byte("trivet measure " + name))
	copy(seed[:], h.Sum(nil))
	r := rand.New(rand.NewChaCha8(seed))
	e := make([]float64, len(u))
	zero := f(e)
	out := make([]float64, monteCarloDraws)
	m := 0.0
	for i := range out {
		for k := range e {
			e[k] = u[k] * r.NormFloat64()
		}
		out[i] = f(e)
		m += out[i]
	}
	m /= monteCarloDraws
	d := drawn{n: monteCarloDraws}
	for _, x := range out {
		d.sd += squared(x - m)
	}
	d.sd = math.Sqrt(d.sd / (monteCarloDraws - 1))
	slices.Sort(out)
	tail := int(math.Round(monteCarloDraws * (1 - coverage) / 2))
	d.low, d.top = out[tail]-zero, out[monteCarloDraws-1-tail]-zero
	return d
}
