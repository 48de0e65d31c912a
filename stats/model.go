package stats

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"

	"trivet/fault"
)

// ModelSpec describes a linear or mixed model of one response.
type ModelSpec struct {
	Response   []float64
	Factors    []Column
	Covariates []Covariate
	// Fixed lists the fixed terms in order: a factor, a covariate, or a
	// product such as "recipe:temp" (write the lower terms too).
	Fixed []string
	// Blocks names a factor with fixed effects that come before all terms and
	// may have thousands of levels; empty for none.
	Blocks string
	// Random lists up to two random groupings: a factor such as "block", or
	// the combination of several, such as "block:day".
	Random []string
}

// Component is the variance of one random grouping.
type Component struct {
	Grouping string
	Levels   int
	Variance float64
}

// Model is a fitted linear or mixed model.
type Model struct {
	N          int
	DFResidual int     // rows minus rank of the fixed effects, blocks among them
	Sigma2     float64 // residual variance
	Components []Component
	Notes      []fault.Note

	coding  *coding
	basis   *basis
	level   []float64 // response means taken out: of the whole, or of each block
	gamma   []float64 // coordinates on the basis; with random groupings the constant leads
	lsGamma []float64 // with random groupings: their least-squares values
	seqSS   []float64 // squared least-squares coordinates, for the analysis of variance
	rss     float64   // least-squares residual sum of squares
	ssB     float64   // sum of squares of fixed blocks
	resid   []float64

	reml    *remlProblem
	profile *profile
	curve   *curvature
	active  []int
	hessInv *symmetric
}

// FitModel fits by least squares, or by REML when there are random groupings.
func FitModel(spec ModelSpec) (*Model, error) {
	t := Table{Response: spec.Response, Factors: spec.Factors, Covariates: spec.Covariates,
		Treatment: make([]string, len(spec.Response))}
	for i := range t.Treatment {
		t.Treatment[i] = "all"
	}
	if err := t.Check(); err != nil {
		return nil, err
	}
	factors := make(map[string]factor, len(spec.Factors))
	for _, f := range spec.Factors {
		factors[f.Name] = newFactor(f.Labels)
	}
	covariates := make(map[string][]float64, len(spec.Covariates))
	for _, c := range spec.Covariates {
		covariates[c.Name] = c.Values
	}
	return fitModel(spec, factors, covariates)
}

func fitModel(spec ModelSpec, factors map[string]factor, covariates map[string][]float64) (*Model, error) {
	n := len(spec.Response)
	coding, err := newCoding(n, factors, covariates, spec.Fixed)
	if err != nil {
		return nil, err
	}
	m := &Model{N: n, coding: coding}
	absorbed := factor{levels: []string{""}, index: make([]int, n)}
	if spec.Blocks != "" {
		f, ok := factors[spec.Blocks]
		if !ok {
			return nil, fault.BadUsage("column-unknown", "the model names a column %q that the table does not have", spec.Blocks)
		}
		absorbed = f
	}
	m.basis = newBasis(n, coding.columns, &absorbed)
	yc, level := m.basis.centre(spec.Response)
	m.level = level
	m.gamma, m.resid, m.rss = m.basis.regress(yc)
	m.seqSS = make([]float64, len(m.gamma))
	for k, g := range m.gamma {
		m.seqSS[k] = g * g
	}
	if spec.Blocks != "" {
		grand := Mean(spec.Response)
		for g, size := range m.basis.size {
			m.ssB += float64(size) * (level[g] - grand) * (level[g] - grand)
		}
	}
	m.DFResidual = n - m.basis.qr.rank() - len(absorbed.levels)
	if m.DFResidual < 1 {
		return nil, fault.New("no-error-df", "%d rows and %d fitted effects leave nothing to measure the scatter with",
			n, m.basis.qr.rank()+len(absorbed.levels)).WithFix("add blocks or repeats, or drop effects")
	}
	m.Sigma2 = m.rss / float64(m.DFResidual)
	if m.rss <= 1e-26*dot(yc, yc) {
		return nil, fault.New("zero-variance", "the model fits the data without any scatter, so nothing can be tested").
			WithFix("check that readings were not copied or rounded to the same value")
	}
	if len(spec.Random) == 0 {
		return m, nil
	}
	return m, m.fitRandom(spec, factors)
}

// fitRandom adds the random groupings by REML.
func (m *Model) fitRandom(spec ModelSpec, factors map[string]factor) error {
	if spec.Blocks != "" {
		return fault.BadUsage("blocks-twice", "a model has either fixed blocks or random groupings, not both")
	}
	if len(spec.Random) > 2 {
		return fault.BadUsage("random-too-many", "a model can have at most two random groupings, not %d", len(spec.Random))
	}
	groups := make([]grouping, len(spec.Random))
	for k, text := range spec.Random {
		g, err := newGrouping(text, factors, m.N)
		if err != nil {
			return err
		}
		if err := m.identified(g); err != nil {
			return err
		}
		groups[k] = g
		m.Components = append(m.Components, Component{Grouping: text, Levels: g.levels})
	}
	q := make([][]float64, 0, m.basis.qr.rank()+1)
	constant := make([]float64, m.N)
	for i := range constant {
		constant[i] = 1 / math.Sqrt(float64(m.N))
	}
	q = append(append(q, constant), m.basis.qr.q()...)
	m.reml = newREML(q, m.resid, groups)
	at, curve := m.reml.maximise()
	if at == nil {
		return fault.New("singular-fit", "the variances of %s cannot be estimated from these data", strings.Join(spec.Random, " and ")).
			WithFix("use fixed blocks, or fewer random groupings")
	}
	m.lsGamma = append([]float64{0}, m.gamma...)
	m.setProfile(at, curve)
	for _, c := range m.Components {
		if c.Variance == 0 {
			m.Notes = append(m.Notes, fault.Notef("singular-fit",
				"The variance between levels of %s is estimated as zero; degrees of freedom are those of the model without it.", c.Grouping))
		}
		if c.Levels < 5 {
			m.Notes = append(m.Notes, fault.Notef("few-levels",
				"The variance between levels of %s rests on only %d levels.", c.Grouping, c.Levels))
		}
	}
	return nil
}

// identified refuses a grouping whose variance the data cannot tell from the
// residual scatter, or whose levels the fixed effects already tell apart: the
// likelihood would then be flat and any answer an accident.
func (m *Model) identified(g grouping) error {
	levels := factor{levels: make([]string, g.levels), index: g.index}
	inside := newBasis(m.N, m.coding.columns, &levels).qr.rank()
	if m.N-g.levels-inside < 1 {
		return fault.New("no-error-df", "inside the levels of %q nothing is left to measure the scatter with", g.name).
			WithFix("add blocks or repeats, or complete the table")
	}
	if g.levels+inside == m.basis.qr.rank()+1 {
		return fault.New("confounded", "the levels of %q cannot be told apart from the fixed effects", g.name).
			WithFix("repeat every treatment in several of them")
	}
	return nil
}

// setProfile stores a maximised likelihood.
func (m *Model) setProfile(at *profile, curve *curvature) {
	m.profile, m.curve = at, curve
	m.Sigma2 = at.sigma2
	m.gamma = append([]float64(nil), m.lsGamma...)
	for k, b := range at.beta {
		m.gamma[k] += b
	}
	m.active = []int{0}
	for k, th := range at.theta {
		m.Components[m.reml.order[k]].Variance = th * th * at.sigma2
		if th > 0 {
			m.active = append(m.active, k+1)
		}
	}
	m.hessInv = curve.inverseHessian(m.active)
	if m.hessInv == nil {
		m.Notes = append(m.Notes, fault.Notef("df-unknown",
			"The likelihood is too flat to give degrees of freedom; the residual ones are used."))
	}
}

// newGrouping codes "a" or "a:b" as one random factor.
func newGrouping(text string, factors map[string]factor, n int) (grouping, error) {
	g := grouping{name: text, index: make([]int, n)}
	keys := make([]string, n)
	for _, part := range strings.Split(text, ":") {
		f, ok := factors[part]
		if !ok {
			return g, fault.BadUsage("column-unknown", "the model names a column %q that the table does not have", part)
		}
		for i, l := range f.index {
			keys[i] += f.levels[l] + "\x1f"
		}
	}
	f := newFactor(keys)
	g.index, g.levels = f.index, len(f.levels)
	if g.levels < 2 {
		return g, fault.New("single-block", "%q has a single level, so its variance cannot be estimated", text).
			WithFix("leave it out, or repeat the experiment in more blocks")
	}
	if g.levels == n {
		return g, fault.New("singular-fit", "every row has its own level of %q, which is the same as the residual scatter", text).
			WithFix("leave it out")
	}
	return g, nil
}

// Linear is an estimated linear combination of effects with its t
// distribution.
type Linear struct{ Estimate, SE, DF float64 }

// linear estimates l₀·level + lᵀβ; false when the data cannot tell it.
func (m *Model) linear(l0 float64, l []float64) (Linear, bool) {
	w, extra, estimable := m.coordinates(l0, l)
	if !estimable {
		return Linear{math.NaN(), math.NaN(), math.NaN()}, false
	}
	est := l0*Mean(m.level) + dot(w, m.gamma)
	v := m.unitVariance(w) + extra
	out := Linear{Estimate: est, SE: math.Sqrt(m.Sigma2 * v), DF: float64(m.DFResidual)}
	if m.reml != nil {
		out.DF = m.satterthwaite(w)
	}
	return out, true
}

// coordinates expresses a combination on the basis; extra is variance (σ²=1)
// that the basis does not carry.
func (m *Model) coordinates(l0 float64, l []float64) (w []float64, extra float64, estimable bool) {
	w, estimable = m.basis.functional(l0, l)
	if m.reml == nil {
		return w, m.basis.levelVariance(l0), estimable
	}
	return append([]float64{l0 / math.Sqrt(float64(m.N))}, w...), 0, estimable
}

// unitVariance is wᵀCw at σ²=1.
func (m *Model) unitVariance(w []float64) float64 {
	if m.reml == nil {
		return dot(w, w)
	}
	return dot(w, multiply(m.profile.c.a, w))
}

// satterthwaite is 2v²/(gᵀAg) with v the variance of wᵀγ, g its gradient by
// the variances and A = 2H⁻¹ their covariance, H the Hessian of the deviance.
// The gradient is exact: ∂C/∂ψₖ = C XᵀV⁻¹VₖV⁻¹X C (Satterthwaite 1946; Fai &
// Cornelius 1996, J Stat Comput Simul 54:363). Variances estimated as zero
// are taken as known.
func (m *Model) satterthwaite(w []float64) float64 {
	if m.hessInv == nil {
		return float64(m.DFResidual)
	}
	cw := multiply(m.profile.c.a, w)
	v := dot(w, cw)
	g := make([]float64, len(m.profile.theta)+1)
	g[0] = v
	for k, d := range m.curve.d {
		g[k+1] = dot(cw, multiply(d, cw))
		th := m.profile.theta[k]
		g[0] -= th * th * g[k+1]
	}
	s := 0.0
	k := len(m.active)
	for i, a := range m.active {
		for j, b := range m.active {
			s += g[a] * m.hessInv.a[i*k+j] * g[b]
		}
	}
	vs := m.Sigma2 * v
	return vs * vs / s
}

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

// MarginalMean is the mean at one level of a factor, averaged with equal
// weights over the levels of the other factors, covariates at their mean.
type MarginalMean struct {
	Level string
	Linear
}

// Interval returns the t interval at a confidence level.
func (l Linear) Interval(level float64) Interval {
	h := tQuantile(1-(1-level)/2, l.DF) * l.SE
	return Interval{Low: l.Estimate - h, High: l.Estimate + h, Level: level}
}

// MarginalMeans returns the mean of every level of a factor. A level the data
// cannot tell has NaN.
func (m *Model) MarginalMeans(factorName string) ([]MarginalMean, error) {
	f, err := m.factor(factorName)
	if err != nil {
		return nil, err
	}
	out := make([]MarginalMean, len(f.levels))
	for i, level := range f.levels {
		lin, _ := m.linear(1, m.coding.row(map[string]int{factorName: i}))
		out[i] = MarginalMean{Level: level, Linear: lin}
	}
	return out, nil
}

func (m *Model) factor(name string) (factor, error) {
	f, ok := m.coding.factors[name]
	if !ok {
		return f, fault.BadUsage("column-unknown", "the model has no factor %q", name)
	}
	return f, nil
}

// Combination estimates Σ weightᵢ × (marginal mean of level i) of a factor,
// with the weights in the order of its sorted levels; at fixes the levels of
// other factors (nil averages over them). It is an error when the data cannot
// tell it.
func (m *Model) Combination(factorName string, weights []float64, at map[string]string) (Linear, error) {
	f, err := m.factor(factorName)
	if err != nil {
		return Linear{}, err
	}
	if len(weights) != len(f.levels) {
		return Linear{}, fault.BadUsage("weights", "%d weights for %d levels of %q", len(weights), len(f.levels), factorName)
	}
	fixed := map[string]int{}
	for other, level := range at {
		g, err := m.factor(other)
		if err != nil {
			return Linear{}, err
		}
		i := slices.Index(g.levels, level)
		if i < 0 {
			return Linear{}, fault.BadUsage("level-unknown", "%q has no level %q", other, level).WithFix("%s", suggest(level, g.levels))
		}
		fixed[other] = i
	}
	l := make([]float64, len(m.coding.columns))
	l0 := 0.0
	for i, w := range weights {
		if w == 0 {
			continue
		}
		fixed[factorName] = i
		axpy(l, m.coding.row(fixed), w)
		l0 += w
	}
	if math.Abs(l0) < 1e-12 {
		l0 = 0
	}
	lin, ok := m.linear(l0, l)
	if !ok {
		return lin, fault.New("not-estimable", "this comparison of levels of %q cannot be told from the other effects", factorName).
			WithFix("drop the effects it is mixed with, or complete the table")
	}
	return lin, nil
}

// Levels returns the sorted levels of a factor; nil if there is none.
func (m *Model) Levels(factorName string) []string { return m.coding.factors[factorName].levels }

// difference estimates level a minus level b of a factor.
func (m *Model) difference(factorName string, a, b int) (Linear, error) {
	w := make([]float64, len(m.coding.factors[factorName].levels))
	w[a], w[b] = 1, -1
	return m.Combination(factorName, w, nil)
}
