package stats

import "math"

// Layout is what the size of an experiment depends on: the noncentrality of
// its F test for given treatment effects, its degrees of freedom, and the
// standard error of one comparison, all for an error variance of 1.
type Layout struct {
	Treatments int
	// Replication is the number of pieces of each treatment, times the
	// efficiency of the design: λ = Replication · Σ τ²/σ².
	Replication float64
	DF1, DF2    float64 // of the F test of all treatments
}

// SE is the standard error of a difference of two treatments when the error
// has standard deviation sd: sd √(2/replication).
func (l Layout) SE(sd float64) float64 { return sd * math.Sqrt(2/l.Replication) }

// Lambda is the noncentrality of the F test of all treatments for treatment
// effects tau (deviations from their mean are taken here) and error SD sd.
func (l Layout) Lambda(tau []float64, sd float64) float64 {
	m, ss := Mean(tau), 0.0
	for _, t := range tau {
		ss += (t - m) * (t - m)
	}
	return l.Replication * ss / (sd * sd)
}

// Power is the chance that the F test of all treatments at level alpha finds
// them different.
func (l Layout) Power(tau []float64, sd, alpha float64) float64 {
	return PowerF(l.Lambda(tau, sd), l.DF1, l.DF2, alpha)
}

// RandomisedBlocks is a complete block design: λ = b Στ²/σ² on t−1 and
// (t−1)(b−1) degrees of freedom.
func RandomisedBlocks(treatments, blocks int) Layout {
	t, b := float64(treatments), float64(blocks)
	return Layout{treatments, b, t - 1, (t - 1) * (b - 1)}
}

// OneWay has perTreatment pieces of each treatment and no blocks: λ = n
// Στ²/σ² on t−1 and t(n−1) degrees of freedom.
func OneWay(treatments, perTreatment int) Layout {
	t, n := float64(treatments), float64(perTreatment)
	return Layout{treatments, n, t - 1, t * (n - 1)}
}

// LatinSquares is a number of t × t squares, each with rows and columns of
// its own: λ = r·t Στ²/σ² on t−1 and (t−1)(r(t−1)−1) degrees of freedom.
func LatinSquares(treatments, squares int) Layout {
	t, r := float64(treatments), float64(squares)
	return Layout{treatments, r * t, t - 1, (t - 1) * (r*(t-1) - 1)}
}

// IncompleteBlocks is a balanced incomplete block design of b blocks of k
// pieces: with r = bk/t and efficiency E = λt/(rk), the noncentrality is
// rE Στ²/σ² on t−1 and bk − b − t + 1 degrees of freedom (Yates 1936, J
// Agricultural Science 26:424).
func IncompleteBlocks(treatments, blockSize, blocks int) Layout {
	t, k, b := float64(treatments), float64(blockSize), float64(blocks)
	r := b * k / t
	lambda := r * (k - 1) / (t - 1)
	return Layout{treatments, lambda * t / k, t - 1, b*k - b - t + 1}
}

// TwoLevelFactorial is one factor of a 2^k design of runs runs read with a
// model of df2 error degrees of freedom; its two "treatments" are the levels
// of the factor, each on half the runs.
func TwoLevelFactorial(runs int, df2 float64) Layout {
	return Layout{2, float64(runs) / 2, 1, df2}
}
