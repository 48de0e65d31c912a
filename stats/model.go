package stats

import (
	"math"
	"strings"

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
	m.noteConfounded()
	if len(spec.Random) == 0 {
		return m, nil
	}
	return m, m.fitRandom(spec, factors)
}

// noteConfounded names the terms that the blocks or earlier terms already
// explain, wholly or in part.
func (m *Model) noteConfounded() {
	for _, t := range m.coding.terms {
		lost := 0
		for _, j := range m.basis.qr.dropped {
			if j >= t.first && j < t.past {
				lost++
			}
		}
		switch {
		case lost == 0:
		case lost == t.past-t.first:
			m.Notes = append(m.Notes, fault.Notef("term-confounded",
				"The effect of %s cannot be told from the blocks or the other effects; it was left out.", t.name))
		default:
			m.Notes = append(m.Notes, fault.Notef("term-confounded",
				"Part of the effect of %s cannot be told from the blocks or the other effects; that part was left out.", t.name))
		}
	}
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
	if len(groups) == 2 && samePartition(groups[0].index, groups[1].index) {
		return fault.New("confounded", "%q and %q divide the rows in the same way", groups[0].name, groups[1].name).
			WithFix("name one of them only")
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

// samePartition reports whether two codings group the rows alike.
func samePartition(a, b []int) bool {
	forward, back := map[int]int{}, map[int]int{}
	for i := range a {
		x, seenA := forward[a[i]]
		y, seenB := back[b[i]]
		if seenA != seenB || seenA && (x != b[i] || y != a[i]) {
			return false
		}
		forward[a[i]], back[b[i]] = b[i], a[i]
	}
	return true
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
