package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// A contact is fitted as what its film amounts to, ln(1 + stiffBi/Bi): for a
// gentle contact that is the logarithm of its resistance, for a stiff one the
// depth of food that insulates as much, and adds up with the thickness of the
// piece to what sensors inside can tell.
const stiffBi = 100

// Films hold Bi between 3e-3 and 1e7.
const (
	leastFilm = 1e-5
	mostFilm  = 10.5
)

// filmOf a Biot number.
func filmOf(bi float64) float64 { return math.Log1p(stiffBi / bi) }

// biOf is the Biot number of a film.
func biOf(film float64) float64 { return stiffBi / math.Expm1(film) }

// isFilm tells whether a parameter is the film of a contact.
func (f *profileFit) isFilm(i int) bool { return i >= pLegs && i < f.films && (i-pLegs)%2 == 0 }

const (
	// thinBi parts what is expected of films: thicker ones as likely in each
	// ratio, thinner ones as likely by depth. On 30 mm of food it is that of
	// some 8000 W/(m² K), as boiling water has (common practice, no source).
	thinBi = 500
	// nearFilm is walked however certain it seems: half a millimetre in 30.
	nearFilm = 1
	// filmDoubt is how much wider the spread of the walk is stated than what is
	// expected of films makes it: that is our choice, and skew at that.
	filmDoubt = 1.3
	// unlikely ends the walk: there χ² is so much above its least.
	unlikely = 10
)

// settle ends the search: parameters, their covariance, and the model.
//
// Behind a stiff contact the sensors tell the thickness of the piece and of
// the films on it together, hardly apart: χ² lies flat along a valley that
// ends where the film does, and its lowest point is anywhere there. A film that
// is not clear of nothing by five standard uncertainties is therefore walked
// along its valley, all else fitted at each step, and the parameters are the
// means over that walk, weighted by their probability: their expected error is
// the least there is; below a crust the faces are not told, and it is left (A. Gelman et al. 2013, Bayesian Data Analysis, 3rd ed.,
// §2.5 and §10.3, posterior mean by a grid).
func (f *profileFit) settle(p []float64, widen float64) (cov *mat.SymDense, jac, out []float64) {
	cov, jac, out, chi2 := f.fit(p, widen, 0)
	at := f.thinnest(p)
	if at < 0 || f.boils || p[at] > max(nearFilm, 5*math.Sqrt(cov.At(at, at))) {
		return cov, jac, out
	}
	f.fixed[at] = true
	defer func() { f.fixed[at] = false }()
	walk, weight := f.walk(p, at, widen, chi2, math.Sqrt(cov.At(at, at)))
	centre := make([]float64, len(p))
	for k, w := range weight {
		for i, x := range walk[k] {
			centre[i] += w * x
		}
	}
	copy(p, centre)
	cov, jac, out, _ = f.fit(p, widen, 1)
	for k, w := range weight {
		for i := range p {
			for j := i; j < len(p); j++ {
				cov.SetSym(i, j, cov.At(i, j)+squared(filmDoubt)*w*(walk[k][i]-centre[i])*(walk[k][j]-centre[j]))
			}
		}
	}
	return cov, jac, out
}

// thinnest is the parameter of the thinnest film, −1 where there is none.
func (f *profileFit) thinnest(p []float64) int {
	at := -1
	for i, x := range p {
		if f.isFilm(i) && (at < 0 || x < p[at]) {
			at = i
		}
	}
	return at
}

// walk goes along the valley of a film from where the search ended, down to no
// film and up, until no sensor agrees any more, and weighs each step: by χ²,
// what is expected of films, and how far it is between its neighbours.
func (f *profileFit) walk(p []float64, at int, widen, chi2, u float64) (steps [][]float64, weight []float64) {
	steps, weight = [][]float64{slices.Clone(p)}, []float64{chi2}
	least := chi2
	go1 := func(way float64) {
		q, last := p, chi2
		stretch := 1.0
		for range 16 {
			if way < 0 && q[at] <= leastFilm || last > least+unlikely {
				return
			}
			next := slices.Clone(q)
			f.thicken(next, at, max(leastFilm, q[at]+way*stretch*min(u, 0.1+0.25*q[at])))
			_, c := f.improve(next, widen, 6)
			steps, weight = append(steps, next), append(weight, c)
			if c-last < 1 {
				stretch *= 1.25
			}
			q, last, least = next, c, min(least, c)
		}
	}
	go1(-1)
	slices.Reverse(steps)
	slices.Reverse(weight)
	go1(1)
	thin := filmOf(thinBi)
	total := 0.0
	for k, c := range weight {
		before, after := steps[max(k-1, 0)][at], steps[min(k+1, len(steps)-1)][at]
		weight[k] = math.Exp((least-c)/2) * (after - before) / (steps[k][at] + thin)
		total += weight[k]
	}
	for k := range weight {
		weight[k] /= total
	}
	return steps, weight
}

// thicken gives a film its value and lets the piece, the probe in it and the
// other stiff films make up for it.
func (f *profileFit) thicken(p []float64, at int, film float64) {
	more := film - p[at]
	for i := range p {
		if f.isFilm(i) && p[i] < 1 {
			p[i] = max(leastFilm, p[i]+more)
		}
	}
	p[at] = film
	mm := more * p[pThick] / stiffBi
	p[pThick] -= 2 * mm
	p[pShift] -= mm
}
