package tasting

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"

	"trivet/fault"
)

// Curve is a signal-detection curve from answers with sureness: the answers
// form one scale from "surely no" to "surely yes", and each step of it is a
// criterion.
type Curve struct {
	// Points run from (0,0) to (1,1): false-alarm and hit rate as the
	// criterion loosens.
	Points []CurvePoint `json:"points"`
	// Area is the chance that a sample where yes is right ranks above one
	// where it is wrong, ties counting half; AreaSE after DeLong et al. 1988.
	Area   float64 `json:"area"`
	AreaSE float64 `json:"area_se"`
	// DPrime is from the equal-variance normal model by maximum likelihood.
	DPrime   *float64 `json:"d_prime"`
	DPrimeSE *float64 `json:"d_prime_se"`
	// DA = d·√(2/(1+σ²)) and Ratio σ are from the unequal-variance model, σ
	// the spread where yes is right over that where it is wrong.
	DA     *float64     `json:"d_a"`
	Ratio  *float64     `json:"sd_ratio"`
	LogLik [2]float64   `json:"log_lik"` // equal, unequal
	Notes  []fault.Note `json:"notes,omitempty"`
}

// CurvePoint is one criterion.
type CurvePoint struct {
	FalseAlarm float64 `json:"false_alarm"`
	Hit        float64 `json:"hit"`
}

// SurenessCurve builds the curve from single judgements. Sureness must be
// given with every answer or none.
func SurenessCurve(_ ResponseMethod, answers []ResponseAnswer) (*Curve, error) {
	most := 0
	for i, a := range answers {
		if a.Sureness < 1 {
			return nil, fault.New("sureness-missing", "an answer has no sureness though others have").AtRow(i + 1).WithFix("1 is a guess; higher is surer")
		}
		most = max(most, a.Sureness)
	}
	noise, signal := make([]float64, 2*most), make([]float64, 2*most)
	for _, a := range answers {
		grade := most - a.Sureness // surely no first
		if a.Yes {
			grade = most + a.Sureness - 1
		}
		if a.Signal {
			signal[grade]++
		} else {
			noise[grade]++
		}
	}
	return CurveOf(noise, signal)
}

// CurveOf builds the curve from counts of an ordered answer, lowest
// ("surely no") first, for samples where yes is wrong and where it is right.
//
// References: Green & Swets 1966; Dorfman D.D., Alf E., 1969, Maximum
// likelihood estimation of parameters of signal-detection theory, J.
// Mathematical Psychology 6:487-496; DeLong E.R., DeLong D.M.,
// Clarke-Pearson D.L., 1988, Biometrics 44:837-845 (area and its error).
func CurveOf(noise, signal []float64) (*Curve, error) {
	if len(noise) != len(signal) {
		return nil, fault.New("curve-shape", "%d grades against %d", len(noise), len(signal)).WithFix("count the same grades for both")
	}
	var n, s []float64
	nn, ns := 0.0, 0.0
	for i := range noise {
		if noise[i] < 0 || signal[i] < 0 {
			return nil, fault.New("count-range", "a count is negative")
		}
		nn += noise[i]
		ns += signal[i]
		if noise[i]+signal[i] > 0 { // a grade nobody used carries nothing
			n, s = append(n, noise[i]), append(s, signal[i])
		}
	}
	if nn == 0 || ns == 0 {
		return nil, fault.New("one-kind-only", "all samples are of one kind: a curve needs both").WithFix("serve both kinds")
	}
	c := &Curve{Points: []CurvePoint{{0, 0}}}
	f, h := 0.0, 0.0
	for i := len(n) - 1; i >= 0; i-- {
		f += n[i] / nn
		h += s[i] / ns
		c.Points = append(c.Points, CurvePoint{math.Min(1, f), math.Min(1, h)})
	}
	c.area(n, s, nn, ns)
	if len(n) < 2 {
		c.Notes = append(c.Notes, fault.Notef("one-grade", "every answer was the same grade: no d′ can be told"))
		return c, nil
	}
	if equal, se, ll, ok := fitCurve(n, s, false); ok {
		d := equal[len(equal)-2]
		c.DPrime, c.DPrimeSE, c.LogLik[0] = &d, finite(se), ll
	}
	if len(n) < 3 {
		c.Notes = append(c.Notes, fault.Notef("two-grades", "two grades leave the ratio of spreads open"))
		return c, nil
	}
	if un, _, ll, ok := fitCurve(n, s, true); ok {
		d, sigma := un[len(un)-2], math.Exp(un[len(un)-1])
		da := d * math.Sqrt(2/(1+sigma*sigma))
		c.DA, c.Ratio, c.LogLik[1] = &da, &sigma, ll
	} else {
		c.Notes = append(c.Notes, fault.Notef("unequal-not-fitted", "the model with unequal spreads did not settle; the area stands"))
	}
	return c, nil
}

// area fills the Mann-Whitney area and its DeLong standard error.
func (c *Curve) area(n, s []float64, nn, ns float64) {
	below, sum := 0.0, 0.0
	place := make([]float64, len(n)) // chance that a signal of grade i outranks a noise
	for i := range n {
		place[i] = (below + n[i]/2) / nn
		below += n[i]
		sum += s[i] * place[i]
	}
	c.Area = sum / ns
	above := 0.0
	vs, vn := 0.0, 0.0
	for i := len(n) - 1; i >= 0; i-- {
		q := (above + s[i]/2) / ns
		above += s[i]
		vn += n[i] * (q - c.Area) * (q - c.Area)
		vs += s[i] * (place[i] - c.Area) * (place[i] - c.Area)
	}
	if nn > 1 && ns > 1 {
		c.AreaSE = math.Sqrt(vs/(ns-1)/ns + vn/(nn-1)/nn)
	}
}

// fitCurve maximises the multinomial likelihood over thresholds t_k, d and
// ln σ (fixed at 0 unless free):
//
//	P(grade ≤ k | noise) = Φ(t_k),  P(grade ≤ k | signal) = Φ((t_k − d)/σ).
//
// The thresholds are held in order by writing t_{k+1} = t_k + exp(u_k). It
// returns parameters ending in d, ln σ, and the standard error of d from the
// inverse information.
func fitCurve(n, s []float64, free bool) (par []float64, se, ll float64, ok bool) {
	k := len(n) - 1
	nn, ns := sum(n), sum(s)
	start := make([]float64, k+1, k+2)
	cum, prev := 0.0, 0.0
	for i := 0; i < k; i++ {
		cum += (n[i] + s[i])
		t := normalQuantile((cum + 0.25) / (nn + ns + 0.5))
		if i == 0 {
			start[0] = t
		} else {
			start[i] = math.Log(math.Max(t-prev, 1e-3))
		}
		prev = t
	}
	start[k] = 0.1
	if free {
		start = append(start, 0)
	}
	negative := func(p []float64) float64 {
		d, sigma := p[k], 1.0
		if free {
			sigma = math.Exp(p[k+1])
		}
		t, lowN, lowS, total := 0.0, 0.0, 0.0, 0.0
		for i := 0; i <= k; i++ {
			hiN, hiS := 1.0, 1.0
			if i < k {
				if i == 0 {
					t = p[0]
				} else {
					t += math.Exp(p[i])
				}
				hiN, hiS = normalCDF(t), normalCDF((t-d)/sigma)
			}
			total -= weightedLog(n[i], hiN-lowN) + weightedLog(s[i], hiS-lowS)
			lowN, lowS = hiN, hiS
		}
		return total
	}
	gradient := func(g, p []float64) { centralGradient(negative, g, p) }
	r, err := optimize.Minimize(optimize.Problem{Func: negative, Grad: gradient}, start,
		&optimize.Settings{GradientThreshold: 1e-6, Converger: &optimize.FunctionConverge{Absolute: 1e-12, Iterations: 50}}, &optimize.BFGS{})
	if r == nil || math.IsInf(r.F, 1) || math.IsNaN(r.F) || (err != nil && r.Stats.MajorIterations == 0) {
		return nil, 0, 0, false
	}
	par = r.X
	if math.Abs(par[k]) > 15 || (free && math.Abs(par[k+1]) > 4) {
		return nil, 0, 0, false // separated answers: the likelihood has no maximum
	}
	se = math.Sqrt(inverseInformation(negative, par, k))
	if !free {
		par = append(append([]float64{}, par...), 0)
	}
	return par, se, -r.F, true
}

func weightedLog(w, p float64) float64 {
	if w == 0 {
		return 0
	}
	if p <= 0 {
		return math.Inf(-1)
	}
	return w * math.Log(p)
}

func sum(v []float64) float64 {
	t := 0.0
	for _, x := range v {
		t += x
	}
	return t
}

// centralGradient differentiates with a step that balances rounding against
// truncation.
func centralGradient(f func([]float64) float64, g, p []float64) {
	x := append([]float64{}, p...)
	for i := range p {
		h := 1e-5 * math.Max(1, math.Abs(p[i]))
		x[i] = p[i] + h
		up := f(x)
		x[i] = p[i] - h
		g[i] = (up - f(x)) / (2 * h)
		x[i] = p[i]
	}
}

// inverseInformation returns entry (at, at) of the inverse Hessian; NaN when
// it is not positive definite.
func inverseInformation(f func([]float64) float64, p []float64, at int) float64 {
	n := len(p)
	h := mat.NewSymDense(n, nil)
	step := func(i int) float64 { return 1e-4 * math.Max(1, math.Abs(p[i])) }
	x := append([]float64{}, p...)
	eval := func(i int, a float64, j int, b float64) float64 {
		x[i] += a
		x[j] += b
		v := f(x)
		copy(x, p)
		return v
	}
	for i := 0; i < n; i++ {
		for j := i; j < n; j++ {
			a, b := step(i), step(j)
			v := (eval(i, a, j, b) - eval(i, a, j, -b) - eval(i, -a, j, b) + eval(i, -a, j, -b)) / (4 * a * b)
			h.SetSym(i, j, v)
		}
	}
	var c mat.Cholesky
	if !c.Factorize(h) {
		return math.NaN()
	}
	var inv mat.SymDense
	if c.InverseTo(&inv) != nil {
		return math.NaN()
	}
	return inv.At(at, at)
}
