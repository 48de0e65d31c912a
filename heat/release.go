package heat

import "math"

// Defaults of the moisture model.
const (
	// DefaultWaterDiffusivity feeds the surface, m²/s: 4e-10 in van der Sman
	// 2007 (AIChE J. 53:2986–2995) as restated later.
	DefaultWaterDiffusivity = 4e-10
	// DefaultCrustConductivity of dry crust, W/(m·K); 0.1–0.3, from memory.
	DefaultCrustConductivity = 0.2
	// boundWater stays in the crust when a cell has boiled dry, kg/kg of dry
	// solids; residual bound water is about 0.03–0.05.
	boundWater = 0.04
)

// DefaultRelease returns the water-holding capacity of a food class; nil
// means that no juice is pressed out.
//
// The meat values are fitted to the moisture of cooked beef, 69.7, 64.7 and
// 60.3 % at 60, 70 and 80 °C ("Fluid content and tenderness of three muscles
// of beef cooked to three internal temperatures", J. Food Sci., abstract).
// The rate for meat is a guess: 3e-4 s⁻¹ at 60 °C with 100 kJ/mol, no source.
// The fish values, rate included, are set by hand to salmon losses of 6–9 % at
// low and 12–16 % at high heat (Głuchowski et al. 2020, Molecules 25:5661),
// with a second step because cod loses most above 80 °C though its proteins
// denature from 35 °C (Skipnes et al. 2008). Eggs set without pressing out
// juice.
func DefaultRelease(class FoodClass) *Release {
	switch class {
	case Meat:
		return &Release{A1: 0.17, T1C: 55, W1K: 3, A2: 0.30, T2C: 69, W2K: 4, RatePerS60: 3e-4, EaJMol: 100e3}
	case Fish:
		return &Release{A1: 0.13, T1C: 43, W1K: 3, A2: 0.12, T2C: 72, W2K: 6, RatePerS60: 3e-3, EaJMol: 100e3}
	}
	return nil
}

// Held returns X_eq(T)/X0, the share of its raw water that food at tC holds
// in the long run.
func (r *Release) Held(tC float64) float64 {
	return 1 - r.A1*logistic((tC-r.T1C)/r.W1K) - r.A2*logistic((tC-r.T2C)/r.W2K)
}

// RatePerS returns the first-order rate of release at tC, s⁻¹.
func (r *Release) RatePerS(tC float64) float64 {
	const gas = 8.31446261815324
	return r.RatePerS60 * math.Exp(-r.EaJMol/gas*(1/(tC+zeroC)-1/(60+zeroC)))
}

func (r *Release) check() error {
	c := checker{}
	c.between("a1", r.A1, 0, 1)
	c.between("a2", r.A2, 0, 1)
	c.between("a1 + a2", r.A1+r.A2, 0, 1)
	c.between("t1", r.T1C, 0, 150)
	c.between("t2", r.T2C, 0, 150)
	c.above("w1", r.W1K, 0)
	c.above("w2", r.W2K, 0)
	c.atLeast("rate", r.RatePerS60, 0)
	c.between("activation energy", r.EaJMol, 0, 1e6)
	return c.err
}

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// releaseTable holds the release law at whole kelvins from 0 to releaseTop °C.
type releaseTable struct {
	on         bool
	held, rate [releaseTop + 2]float64
}

const releaseTop = 120

func (t *releaseTable) set(r *Release) {
	t.on = r != nil && r.RatePerS60 > 0 && r.A1+r.A2 > 0
	if !t.on {
		return
	}
	for i := range t.held {
		t.held[i] = r.Held(float64(i))
		t.rate[i] = r.RatePerS(float64(i))
	}
}

// at returns the held share and the rate, linear between whole kelvins (the
// curvature of the exponential makes that at most 0.02 % high).
func (t *releaseTable) at(tC float64) (held, rate float64) {
	if !(tC > 0) {
		tC = 0
	}
	if tC > releaseTop {
		tC = releaseTop
	}
	i := int(tC)
	f := tC - float64(i)
	return t.held[i] + f*(t.held[i+1]-t.held[i]), t.rate[i] + f*(t.rate[i+1]-t.rate[i])
}
