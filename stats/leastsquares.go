package stats

import (
	"math"

	"trivet/fault"
)

// LinearFit is an ordinary least-squares fit y = b₀ + b₁x₁ + … .
type LinearFit struct {
	// Coefficients and their standard errors, intercept first if there is one.
	// A predictor that depends on those before it has coefficient 0 and
	// standard error NaN; Dependent lists such predictors by index.
	Coefficients []float64
	SE           []float64
	Dependent    []int
	DFResidual   int
	SSResidual   float64
	SSRegression float64 // about the mean, or about zero without an intercept
	ResidualSD   float64
	RSquared     float64
	F            float64
	Residuals    []float64
}

// LeastSquares fits y on the predictors by Householder QR after centring (if
// there is an intercept) and scaling every column; normal equations are never
// formed. Each predictor is as long as y.
func LeastSquares(y []float64, predictors [][]float64, intercept bool) (*LinearFit, error) {
	n := len(y)
	for j, x := range predictors {
		if len(x) != n {
			return nil, fault.New("column-length", "predictor %d has %d values, the response has %d", j+1, len(x), n)
		}
		for i, v := range x {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return nil, fault.New("covariate-not-finite", "predictor %d is not a number", j+1).AtRow(i + 1)
			}
		}
	}
	for i, v := range y {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fault.New("response-not-finite", "the response is not a number").AtRow(i + 1)
		}
	}
	var g *factor
	if intercept {
		g = &factor{levels: []string{""}, index: make([]int, n)}
	}
	b := newBasis(n, predictors, g)
	base := 0
	if intercept {
		base = 1
	}
	df := n - b.qr.rank() - base
	if df < 0 || n == 0 {
		return nil, fault.New("too-few-rows", "%d rows cannot carry %d coefficients", n, b.qr.rank()+base).
			WithFix("add rows or drop predictors")
	}
	yc, mean := b.centre(y)
	gamma, residuals, ss := b.regress(yc)
	fit := &LinearFit{
		DFResidual: df, SSResidual: ss, SSRegression: dot(gamma, gamma), Residuals: residuals,
		ResidualSD: math.Sqrt(ss / float64(df)), Dependent: b.qr.dropped,
	}
	slopes := b.qr.solve(gamma)
	fit.RSquared = fit.SSRegression / (fit.SSRegression + ss)
	if ss == 0 {
		fit.RSquared = 1
	}
	fit.F = fit.SSRegression / float64(b.qr.rank()) / (ss / float64(df))
	se := func(l0 float64, l []float64) float64 {
		w, estimable := b.functional(l0, l)
		if !estimable {
			return math.NaN()
		}
		return fit.ResidualSD * math.Sqrt(dot(w, w)+b.levelVariance(l0))
	}
	if intercept {
		b0 := mean[0]
		for j, s := range slopes {
			b0 -= s * b.means[j][0]
		}
		fit.Coefficients = append(fit.Coefficients, b0)
		fit.SE = append(fit.SE, se(1, make([]float64, len(predictors))))
	}
	for j := range predictors {
		l := make([]float64, len(predictors))
		l[j] = 1
		fit.Coefficients = append(fit.Coefficients, slopes[j])
		fit.SE = append(fit.SE, se(0, l))
	}
	fit.refine(b, y, predictors, intercept)
	return fit, nil
}

// refine polishes the coefficients on the predictors as given.
func (fit *LinearFit) refine(b *basis, y []float64, predictors [][]float64, intercept bool) {
	var columns [][]float64
	var place []int
	if intercept {
		ones := make([]float64, len(y))
		for i := range ones {
			ones[i] = 1
		}
		columns, place = append(columns, ones), append(place, 0)
	}
	base := len(columns)
	for _, j := range b.qr.kept {
		columns, place = append(columns, predictors[j]), append(place, base+j)
	}
	x := make([]float64, len(place))
	for k, j := range place {
		x[k] = fit.Coefficients[j]
	}
	refineLeastSquares(columns, y, x, fit.Residuals)
	for k, j := range place {
		fit.Coefficients[j] = x[k]
	}
}
