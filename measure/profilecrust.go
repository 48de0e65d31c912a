package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"trivet/fault"
)

// boilingC is the temperature of the boiling front under a crust at sea level,
// °C; higher up it is lower, see [ProfileOptions.BoilingC].
const boilingC = 100

// crustK is how far above boiling a reading counts as dry crust, K: above what
// dissolved salts and what sensors are off do. Boiled food stays below.
const crustK = 3

// crustC is that reading, °C.
func (o *ProfileOptions) crustC() float64 { return o.boilC() + crustK }

// boilC is where water boils in this kitchen, °C.
func (o *ProfileOptions) boilC() float64 {
	if o.BoilingC > 0 {
		return o.BoilingC
	}
	return boilingC
}

// What is expected of the crusts of both faces together before the sensors
// tell, mm: 1.5 ± 1. In cooks computed with a boiling front (two minutes a side
// at 190 to 230 °C, then an oven) they make 1 to 3.5 mm.
const (
	crustsMM  = 1.5
	crustsUMM = 1
)

// dropCrust leaves out the sensors that get hotter than boiling: the wet food
// ends short of them. Where either face gets as hot, neither face's
// readings are of the wet food.
func (f *profileFit) dropCrust() {
	nt := len(f.timeS)
	for i := range f.sensors {
		if slices.ContainsFunc(f.y[i*nt:(i+1)*nt], func(c float64) bool { return c > f.opt.crustC() }) {
			f.boils = true
			f.silence(i)
		}
	}
	if f.boils {
		for _, i := range f.face {
			if i >= 0 {
				f.silence(i)
			}
		}
	}
}

// expectCrust tells the fit that the wet food is thinner than the piece.
func (f *profileFit) expectCrust() {
	f.boils = true
	f.prior[pThick] = 1e3*f.opt.ThicknessM - crustsMM
	f.priorU[pThick] = math.Hypot(crustsUMM, 1e3*f.opt.ThicknessUM)
}

// boiled tells from a fit whether a face boiled: the model has it as hot, or
// wants a slab thinner than the piece can be.
func (f *profileFit) boiled(p, out []float64) bool {
	if f.boils || f.driven {
		return f.boils
	}
	hottest := slices.Max(out[(len(f.sensors)+1)*len(f.timeS):])
	return hottest > f.opt.crustC() || p[pThick] < 1e3*(f.opt.ThicknessM-3*f.opt.ThicknessUM)
}

// withCrust goes on from a fit with a thinner wet slab: from where it is, and
// from crusts twice as deep as expected, which it may not find by itself.
func (f *profileFit) withCrust(p []float64) (best, out []float64) {
	f.expectCrust()
	deep := slices.Clone(p)
	deep[pThick] = min(deep[pThick], 1e3*f.opt.ThicknessM-2*crustsMM)
	out, here := f.improve(p, 1, 12)
	other, there := f.improve(deep, 1, 12)
	if there < here {
		return deep, other
	}
	return p, out
}

// wholeMM is the thickness of the piece and the depth of each crust, mm. The
// crusts count as equal: the heat met both faces in turn.
func (f *profileFit) wholeMM(p []float64) (whole, crust float64) {
	whole = p[pThick]
	if f.boils {
		whole = max(whole, 1e3*f.opt.ThicknessM)
	}
	return whole, (whole - p[pThick]) / 2
}

// unevenCrusts is how far the centre of the piece may lie from that of the wet
// food, as a share of a crust's depth, standard uncertainty: one crust may be
// deeper than the other by a fifth (our choice; it is 0.1 in computed cooks
// with one turn).
const unevenCrusts = 0.1

// crustFilm is how many times better wet food conducts than its crust (some
// 0.5 against 0.1 W/(m K), common practice, no source): what the face may be
// off from the edge of the wet food.
const crustFilm = 5

// restoreCrusts puts the crusts back on the wet slab that was fitted: depths,
// shift and thickness are those of the whole piece, and the field runs to its
// faces, where it has what their sensors read, else what the wet food has at
// its edge.
func (f *profileFit) restoreCrusts(pr *Profile, p []float64, cov *mat.SymDense) {
	whole, crust := f.wholeMM(p)
	if crust <= 0 {
		return
	}
	pr.ThicknessM, pr.ThicknessUM = whole/1e3, f.opt.ThicknessUM
	pr.CrustM = crust / 1e3
	pr.CrustUM = math.Sqrt(cov.At(pThick, pThick)) / 2e3
	pr.ShiftM = (p[pShift] + crust) / 1e3
	pr.ShiftUM = math.Sqrt(max(0, cov.At(pShift, pShift)+cov.At(pThick, pThick)/4-cov.At(pShift, pThick))) / 1e3
	wet := p[pThick] / whole
	edge := crust / whole
	depth := make([]float64, 0, len(pr.depth)+2)
	depth = append(depth, 0)
	for _, x := range pr.depth {
		depth = append(depth, edge+wet*x)
	}
	depth = append(depth, 1)
	nt, n := len(pr.TimeS), len(pr.depth)
	field := make([]float64, 0, nt*len(depth))
	for k := range nt {
		row := pr.field[k*n : (k+1)*n]
		field = append(field, row[0])
		field = append(field, row...)
		field = append(field, row[n-1])
		pr.ColdestM[k] = (crust + pr.ColdestM[k]*1e3) / 1e3
		for side, near := range [2]int{0, n - 1} {
			steep := (row[near] - row[n/2+(near-n/2)*9/10]) / (0.05 * p[pThick])
			pr.FaceU[side][k] = math.Hypot(pr.FaceU[side][k], crustFilm*steep*crust)
		}
		slope := (row[n/2+1] - row[n/2-1]) / (2 * (pr.depth[1] - pr.depth[0]) * p[pThick]) // K/mm
		pr.CoreU[k] = math.Hypot(pr.CoreU[k], slope*unevenCrusts*crust)
	}
	pr.depth, pr.field = depth, field
}

// crusts widens the uncertainty of a face that the model puts above boiling:
// there it is a dry crust, and what sensors in the wet food tell is the
// boiling front below it.
func (f *profileFit) crusts(pr *Profile) {
	for side := range f.face {
		if f.told(side) {
			continue
		}
		first, high := math.NaN(), 0.0
		for k, c := range pr.FaceC[side] {
			if over := c - f.opt.boilC(); c > f.opt.crustC() {
				pr.FaceU[side][k] = math.Hypot(pr.FaceU[side][k], over)
				high = max(high, c)
				if math.IsNaN(first) {
					first = pr.TimeS[k]
				}
			}
		}
		if high > 0 {
			pr.Notes = append(pr.Notes, fault.Notef("face-above-boiling",
				"side %c is put at up to %.0f °C (from %.0f s on): a face above boiling is a dry crust, which no sensor inside the wet food tells; what is told is the boiling front below it, and the uncertainty reaches down to that", 'A'+rune(side), high, first))
		}
	}
	if pr.CrustM > 0 {
		faces := "the faces are not told"
		if f.told(0) || f.told(1) {
			faces = "the faces are given as their own sensors read them"
		}
		pr.Notes = append(pr.Notes, fault.Notef("profile-below-crust",
			"a face boiled: core and even share come from the sensors inside the wet food, which is put at %.1f of %.1f mm; the rest is crust, and %s", 1e3*(pr.ThicknessM-2*pr.CrustM), 1e3*pr.ThicknessM, faces))
	}
}
