package stats

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"trivet/fault"
)

// FTest is the test that a set of linear combinations is zero.
type FTest struct {
	Term         string
	NumDF, DenDF float64
	F, P         float64
}

// Test is the marginal test of one fixed term: that its effects, averaged
// with equal weights over the levels of every other factor, are zero ("type
// III"). With random groupings the denominator degrees of freedom follow Fai
// & Cornelius (1996): the combinations are turned into uncorrelated ones,
// whose Satterthwaite ν give E = Σ ν/(ν−2) over ν > 2 and 2E/(E−q). That
// depends slightly on which combinations one starts from; they are the
// differences from the first level, as in lmerTest.
func (m *Model) Test(termName string) (FTest, error) {
	i := slices.IndexFunc(m.coding.terms, func(t term) bool { return t.name == termName })
	if i < 0 {
		return FTest{}, fault.BadUsage("term-unknown", "the model has no term %q", termName)
	}
	t := m.coding.terms[i]
	var rows [][]float64
	for _, l := range m.coding.differences(t) {
		w, _, estimable := m.coordinates(0, l)
		if !estimable {
			return FTest{}, fault.New("not-estimable", "the effect of %q cannot be told from the other effects", termName).
				WithFix("drop the term, or the ones it is mixed with")
		}
		rows = append(rows, w)
	}
	f := m.test(rows)
	f.Term = termName
	return f, nil
}

// test is the F test of independent rows of coordinates.
func (m *Model) test(rows [][]float64) FTest {
	q := len(rows)
	cov := mat.NewSymDense(q, nil)
	for a := range rows {
		ca := rows[a]
		if m.reml != nil {
			ca = multiply(m.profile.c.a, ca)
		}
		for b := a; b < q; b++ {
			cov.SetSym(a, b, dot(ca, rows[b]))
		}
	}
	var eig mat.EigenSym
	if !eig.Factorize(cov, true) {
		return FTest{NumDF: float64(q), DenDF: math.NaN(), F: math.NaN(), P: math.NaN()}
	}
	values := eig.Values(nil)
	var vectors mat.Dense
	eig.VectorsTo(&vectors)
	out := FTest{NumDF: float64(q)}
	nu := make([]float64, q)
	for k := range q {
		l := make([]float64, len(rows[0]))
		for a := range rows {
			axpy(l, rows[a], vectors.At(a, k))
		}
		est := dot(l, m.gamma)
		out.F += est * est / (m.Sigma2 * values[k]) / float64(q)
		nu[k] = float64(m.DFResidual)
		if m.reml != nil {
			nu[k] = m.satterthwaite(l)
		}
	}
	out.DenDF = combineDF(nu)
	out.P = fUpper(out.F, out.NumDF, out.DenDF)
	return out
}

// combineDF is the denominator of Fai & Cornelius for one-row degrees of
// freedom nu; equal ones are returned as they are.
func combineDF(nu []float64) float64 {
	if slices.Max(nu)-slices.Min(nu) <= 1e-8*slices.Max(nu) {
		return Mean(nu)
	}
	e := 0.0
	for _, v := range nu {
		if v > 2 {
			e += v / (v - 2)
		}
	}
	q := float64(len(nu))
	if e <= q {
		return 0
	}
	return 2 * e / (e - q)
}
