package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"trivet/fault"
)

// ProfileSensor is one temperature sensor in a slab of food.
type ProfileSensor struct {
	ID     string
	DepthM float64 // nominal depth from side A
	// OnProbe marks a sensor that shares one probe with the others so marked:
	// their spacing is known, how deep the probe went in is not.
	OnProbe bool
	// RelativeUK is the standard uncertainty of this sensor against the
	// others, K; 0 takes 0.1.
	RelativeUK float64
	TimeS, C   []float64
}

// ProfileOptions describe the cook to [FitProfile]. Times are in seconds on
// the sensors' clock.
type ProfileOptions struct {
	ThicknessM  float64
	ThicknessUM float64 // standard uncertainty; 0 takes 0.3 mm
	InsertionUM float64 // of the probe's depth; 0 takes 3 mm/√3, a rectangle of ±3 mm
	HeatOnS     float64
	TurnsS      []float64 // at each the two faces change places
	ChangesS    []float64 // other moments at which the heat on both faces changes
	OffS        float64   // off the heat; NaN or +Inf when not within the log
	EndS        float64   // end of what is fitted; 0 is the end of the log
}

// profileBlocks is the most times at which the fit compares model and
// sensors; a longer log is averaged into that many blocks.
const profileBlocks = 720

// MinProfileSensors is how few sensors a profile is fitted to.
const MinProfileSensors = 3

// places of a parameter in the fit.
const (
	pShift  = iota // of the probe, mm towards side B
	pAlpha         // ln of the diffusivity in m²/s
	pThick         // thickness, mm
	pLegs          // then ln Bi and temperature of the two faces of each leg
	perLeg  = 4
	mostLeg = 4
)

// profileFit is a fit under way.
type profileFit struct {
	opt     ProfileOptions
	sensors []ProfileSensor
	every   float64
	timeS   []float64 // of the blocks
	y       []float64 // block means, sensor by sensor: y[i*nt+k]; NaN where none
	sigma   []float64 // their standard uncertainty by noise and resolution
	noiseK  []float64 // of a single sample, by sensor
	start   basis     // temperatures at the beginning
	breaks  []stretch
	face    [2]int       // sensors on side A and side B, −1 where there is none
	faceC   [2][]float64 // what they read
	drive   [2][]float64 // what bounds the wet slab
	params  int
	prior   []float64
	priorU  []float64
	slab    *slab
}

// stretch is a time with fixed conditions on both faces.
type stretch struct {
	fromS  float64
	leg    int  // set of conditions
	turned bool // face B is where face A was
}

// newProfileFit checks the input and averages it into blocks.
func newProfileFit(sensors []ProfileSensor, opt ProfileOptions) (*profileFit, error) {
	if len(sensors) < MinProfileSensors {
		return nil, absent("a profile needs %d sensors at known depths, there are %d", MinProfileSensors, len(sensors))
	}
	if !(opt.ThicknessM > 1e-3) {
		return nil, absent("the piece has no thickness").WithFix("measure the thickness at several points")
	}
	if opt.ThicknessUM <= 0 {
		opt.ThicknessUM = 0.3e-3
	}
	if opt.InsertionUM <= 0 {
		opt.InsertionUM = rectangular(3e-3)
	}
	if math.IsNaN(opt.OffS) {
		opt.OffS = math.Inf(1)
	}
	f := &profileFit{opt: opt, sensors: sensors, slab: &slab{}}
	from, to := math.Inf(-1), math.Inf(1)
	var gaps []float64
	for _, s := range sensors {
		if len(s.TimeS) < 30 || len(s.C) != len(s.TimeS) {
			return nil, absent("sensor %s has fewer than 30 samples", s.ID)
		}
		from, to = max(from, s.TimeS[0]), min(to, s.TimeS[len(s.TimeS)-1])
		gaps = append(gaps, (s.TimeS[len(s.TimeS)-1]-s.TimeS[0])/float64(len(s.TimeS)-1))
	}
	if opt.EndS > 0 {
		to = min(to, opt.EndS)
	}
	begin := max(from, opt.HeatOnS)
	if to-begin < 60 {
		return nil, absent("the sensors have less than a minute in common after heat on")
	}
	// An odd number of samples a block keeps its mean at its middle.
	period := slices.Max(gaps)
	f.every = period * float64(2*int(math.Ceil(((to-begin)/period/profileBlocks-1)/2))+1)
	nt := int((to-begin)/f.every) + 1
	f.timeS = make([]float64, nt)
	for k := range nt {
		f.timeS[k] = begin + float64(k)*f.every
	}
	f.y = make([]float64, len(sensors)*nt)
	f.sigma = make([]float64, len(sensors)*nt)
	f.noiseK = make([]float64, len(sensors))
	first := make([]float64, len(sensors))
	for i := range sensors {
		s := &sensors[i]
		f.noiseK[i] = sampleNoise(s.C)
		first[i] = f.blocks(i, begin)
	}
	f.initial(first)
	if f.facesMeasured() {
		return f, nil
	}
	f.stretches(begin)
	f.dropChanges()
	f.dropCrust()
	return f, nil
}

// dropCrust leaves out what a sensor reads from when on it is about as hot as
// boiling: the wet food ends there, and a crust once dry stays dry.
func (f *profileFit) dropCrust() {
	nt := len(f.timeS)
	for i := range f.sensors {
		row := f.y[i*nt : (i+1)*nt]
		if k := slices.IndexFunc(row, func(c float64) bool { return c > boilingC-crustSlackK }); k >= 0 {
			for ; k < nt; k++ {
				row[k] = math.NaN()
			}
		}
	}
}

const crustSlackK = 4

// blocks averages the samples of sensor i about each block's time and
// returns what it read at the beginning: its mean over the 15 s before, else
// its first block.
func (f *profileFit) blocks(i int, begin float64) float64 {
	s, nt := &f.sensors[i], len(f.timeS)
	half := f.every / 2
	lo := 0
	for k, t := range f.timeS {
		for lo < len(s.TimeS) && s.TimeS[lo] < t-half {
			lo++
		}
		sum, sumT, n := 0.0, 0.0, 0
		for j := lo; j < len(s.TimeS) && s.TimeS[j] < t+half && (k > 0 || s.TimeS[j] >= begin); j++ {
			sum += s.C[j]
			sumT += s.TimeS[j]
			n++
		}
		f.y[i*nt+k] = math.NaN()
		if n > 0 {
			f.y[i*nt+k] = sum / float64(n)
			// Noise averages out, a floor of 0.03 K for steps of the display.
			f.sigma[i*nt+k] = math.Sqrt(squared(f.noiseK[i])/float64(n) + 0.03*0.03)
		}
	}
	a, _ := slices.BinarySearch(s.TimeS, begin-15)
	b, _ := slices.BinarySearch(s.TimeS, begin+1e-9)
	if b-a >= 3 {
		return mean(s.C[a:b])
	}
	for k := range nt {
		if v := f.y[i*nt+k]; !math.IsNaN(v) {
			return v
		}
	}
	return 0
}

// facesMeasured tells whether both faces have a sensor of their own. Their
// readings then stand as the boundary of the slab, and nothing is assumed of
// what touches it.
func (f *profileFit) facesMeasured() bool {
	f.face = [2]int{-1, -1}
	for i, s := range f.sensors {
		if s.OnProbe {
			continue
		}
		if s.DepthM < 0.1e-3 {
			f.face[0] = i
		}
		if f.opt.ThicknessM-s.DepthM < 0.1e-3 {
			f.face[1] = i
		}
	}
	if f.face[0] < 0 || f.face[1] < 0 {
		f.face = [2]int{-1, -1}
		return false
	}
	nt := len(f.timeS)
	for _, i := range f.face {
		for _, c := range f.y[i*nt : (i+1)*nt] {
			if c > boilingC-crustSlackK {
				for _, i := range f.face {
					for j := range nt {
						f.y[i*nt+j] = math.NaN()
					}
				}
				f.face = [2]int{-1, -1}
				return false
			}
		}
	}
	for k, i := range f.face {
		c := slices.Clone(f.y[i*nt : (i+1)*nt])
		last := math.NaN()
		for j := range c {
			if math.IsNaN(c[j]) {
				c[j] = last
			}
			last = c[j]
		}
		for j := nt - 1; j >= 0; j-- {
			if math.IsNaN(c[j]) {
				c[j] = last
			}
			last = c[j]
		}
		f.faceC[k] = c
		f.drive[k] = slices.Clone(c)
		for j := range c {
			// A face above boiling is a dry crust; the wet slab begins at the
			// front below it, which boils.
			f.drive[k][j] = min(c[j], boilingC)
			f.y[i*nt+j] = math.NaN()
		}
	}
	f.breaks = []stretch{{fromS: f.timeS[0]}}
	f.setPriors(0)
	return true
}

// dropChanges leaves out the first block and those that a change of the faces
// falls into: their mean is not the value at their middle.
func (f *profileFit) dropChanges() {
	nt := len(f.timeS)
	for k, t := range f.timeS {
		if k > 0 && !f.changes(t-f.every/2-1e-9, t+f.every/2) {
			continue
		}
		for i := range f.sensors {
			f.y[i*nt+k] = math.NaN()
		}
	}
}

// sampleNoise is the standard deviation of a sample about a smooth course:
// from second differences, whose variance is six times that of the noise, by
// their median absolute value.
func sampleNoise(v []float64) float64 {
	if len(v) < 5 {
		return 0
	}
	d := make([]float64, 0, len(v)-2)
	for i := 2; i < len(v); i++ {
		d = append(d, math.Abs(v[i]-2*v[i-1]+v[i-2]))
	}
	return 1.4826 * median(d) / math.Sqrt(6)
}

// initial sets the temperatures at the beginning: even where the sensors
// agree, straight between them where they do not.
func (f *profileFit) initial(first []float64) {
	start := make([]float64, fieldNodes)
	defer func() { f.start = project(start) }()
	lo, hi := slices.Min(first), slices.Max(first)
	order := make([]int, len(first))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		if f.sensors[a].DepthM < f.sensors[b].DepthM {
			return -1
		}
		return 1
	})
	for j := range start {
		if hi-lo < 2 {
			start[j] = mean(first)
			continue
		}
		x := float64(j) / (fieldNodes - 1) * f.opt.ThicknessM
		v := first[order[0]]
		for k, i := range order {
			d := f.sensors[i].DepthM
			if x < d {
				if k > 0 {
					p := order[k-1]
					if w := d - f.sensors[p].DepthM; w > 0 {
						v = first[p] + (x-f.sensors[p].DepthM)/w*(first[i]-first[p])
					}
				}
				break
			}
			v = first[i]
		}
		start[j] = v
	}
}

// stretches lays out the legs: the faces keep their conditions from turn to
// turn and change places; other changes and the rest begin a new set.
func (f *profileFit) stretches(begin float64) {
	end := f.timeS[len(f.timeS)-1]
	type event struct {
		at   float64
		turn bool
	}
	var events []event
	for _, t := range f.opt.TurnsS {
		events = append(events, event{t, true})
	}
	for _, t := range append(slices.Clone(f.opt.ChangesS), f.opt.OffS) {
		events = append(events, event{t, false})
	}
	slices.SortFunc(events, func(a, b event) int {
		if a.at < b.at {
			return -1
		}
		return 1
	})
	cur := stretch{fromS: begin}
	f.breaks = []stretch{cur}
	legs := 1
	for _, e := range events {
		if !(e.at < end-20) {
			continue
		}
		cur.fromS = max(e.at, begin)
		if e.turn {
			cur.turned = !cur.turned
		} else if e.at > begin+5 && legs < mostLeg {
			cur.leg = legs
			legs++
		}
		f.breaks = append(f.breaks, cur)
	}
	f.setPriors(legs)
}

// setPriors lays out the parameters of so many legs.
func (f *profileFit) setPriors(legs int) {
	f.params = pLegs + perLeg*legs
	f.prior = make([]float64, f.params)
	f.priorU = make([]float64, f.params)
	set := func(i int, v, u float64) { f.prior[i], f.priorU[i] = v, u }
	set(pShift, 0, 1e3*f.opt.InsertionUM)
	// Meat and its like: 1.3e-7 m²/s give or take a tenth (see diffusivityM2S).
	set(pAlpha, math.Log(diffusivityM2S), 0.1)
	set(pThick, 1e3*f.opt.ThicknessM, 1e3*f.opt.ThicknessUM)
	for l := range legs {
		at := pLegs + perLeg*l
		set(at, math.Log(20), 5)
		set(at+1, 80, 150)
		set(at+2, math.Log(20), 5)
		set(at+3, 60, 100)
	}
}

// contacts of a stretch.
func (f *profileFit) contacts(p []float64, s stretch) [2]contact {
	at := pLegs + perLeg*s.leg
	c := [2]contact{{math.Exp(p[at]), p[at+1]}, {math.Exp(p[at+2]), p[at+3]}}
	if s.turned {
		c[0], c[1] = c[1], c[0]
	}
	return c
}

// where is the depth of sensor i as a share of the thickness.
func (f *profileFit) where(p []float64, i int) float64 {
	d := 1e3 * f.sensors[i].DepthM
	if f.sensors[i].OnProbe {
		return (d + p[pShift]) / p[pThick]
	}
	// A sensor placed by hand stands where it was meant to: scaled with the
	// thickness, so that a face stays a face and the middle the middle.
	return d / (1e3 * f.opt.ThicknessM)
}

// watched places besides the sensors: the centre and both faces.
const watched = 3

// places are the depths that the model is read at.
func (f *profileFit) places(p []float64) []basis {
	out := make([]basis, 0, len(f.sensors)+watched)
	for i := range f.sensors {
		out = append(out, basisAt(f.where(p, i)))
	}
	return append(out, basisAt(0.5), basisAt(0), basisAt(1))
}

// model runs the slab and reads it at places: out[j*nt+k] is place j at block
// time k.
func (f *profileFit) model(p []float64, at []basis, out []float64) {
	if f.face[0] >= 0 {
		f.between(p, at, out)
		return
	}
	nt := len(f.timeS)
	a := math.Exp(p[pAlpha]) / squared(1e-3*p[pThick])
	c := f.start
	k := 0
	for b, s := range f.breaks {
		g := f.slab.enter(&c, f.contacts(p, s), a)
		to := math.Inf(1)
		if b+1 < len(f.breaks) {
			to = f.breaks[b+1].fromS
		}
		if k < nt && f.timeS[k] < to {
			base, share := g.watch(at)
			var ratio basis
			live := 0
			for m := range slabModes {
				first := math.Exp(-g.m.lambda[m] * a * (f.timeS[k] - s.fromS))
				ratio[m] = math.Exp(-g.m.lambda[m] * a * f.every)
				for j := range share {
					share[j][m] *= first
				}
				live = m + 1
			}
			for ; k < nt && f.timeS[k] < to; k++ {
				most := 0.0
				for j := range at {
					v := base[j]
					w := share[j][:live]
					for m, x := range w {
						v += x
						w[m] = x * ratio[m]
					}
					out[j*nt+k] = v
					most = max(most, math.Abs(w[live-1]))
				}
				for live > 1 && most < 1e-7 { // the fast modes die out
					live--
					most = 0
					for j := range at {
						most = max(most, math.Abs(share[j][live-1]))
					}
				}
			}
		}
		if !math.IsInf(to, 1) {
			c = g.after(to - s.fromS)
		}
	}
}

// heldBi is a Biot number that holds a face at the temperature beyond it: the
// face lags by L/Bi, a thousandth of the thickness.
const heldBi = 1000

// boilingC is the temperature of the boiling front under a crust, °C: 100 at
// sea level, 95 at 1500 m, which changes the core by tenths of a kelvin only.
const boilingC = 100

// between runs the slab between faces that were measured. Over a block they
// stand at the mean of its two ends.
func (f *profileFit) between(p []float64, at []basis, out []float64) {
	nt := len(f.timeS)
	a := math.Exp(p[pAlpha]) / squared(1e-3*p[pThick])
	m := f.slab.modes(heldBi, heldBi)
	share := make([]basis, len(at))
	for j, b := range at {
		for i := range slabModes {
			for q := range slabModes {
				share[j][q] += b[i] * m.v[i][q]
			}
		}
	}
	var z, ratio basis
	for q := range slabModes {
		ratio[q] = math.Exp(-m.lambda[q] * a * f.every)
		for i := range slabModes {
			z[q] += m.v[i][q] * f.start[i]
		}
	}
	for k := range nt {
		if k > 0 {
			c0, c1 := steady(contact{heldBi, (f.drive[0][k-1] + f.drive[0][k]) / 2}, contact{heldBi, (f.drive[1][k-1] + f.drive[1][k]) / 2})
			for q := range slabModes {
				to := c0*m.v[0][q] + c1*m.v[1][q]
				z[q] = to + (z[q]-to)*ratio[q]
			}
		}
		for j := range at {
			v := 0.0
			for q, x := range z {
				v += share[j][q] * x
			}
			out[j*nt+k] = v
		}
	}
}

// fit is the least-squares estimate with priors (maximum a posteriori) by
// Levenberg–Marquardt (Marquardt 1963, J. SIAM 11, 431–441). Residuals beyond
// three sigma count by Huber's weights. widen multiplies the variance of the
// data: residuals that hang together over time tell less than their number.
func (f *profileFit) fit(p []float64, widen float64, most int) (cov *mat.SymDense, jac, out []float64, chi2 float64) {
	n, nt, ns := f.params, len(f.timeS), len(f.sensors)
	out = make([]float64, (ns+watched)*nt)
	jac = make([]float64, n*len(out))
	trial := make([]float64, n)
	outTrial := make([]float64, len(out))
	cost := func(p, out []float64) float64 {
		c := 0.0
		for j := range ns * nt {
			if math.IsNaN(f.y[j]) {
				continue
			}
			z := math.Abs(f.y[j]-out[j]) / (f.sigma[j] * math.Sqrt(widen))
			if z > 3 {
				c += 6*z - 9
			} else {
				c += z * z
			}
		}
		for i := range n {
			c += squared((p[i] - f.prior[i]) / f.priorU[i])
		}
		return c
	}
	bounded := func(p []float64) bool {
		for l := pLegs; l < n; l += 2 {
			if l+1 < n && (p[l] < -6 || p[l] > 9 || math.Abs(p[l+1]) > 900) {
				return false
			}
		}
		return math.Abs(p[pShift]) < 20 && p[pThick] > 0.5*f.prior[pThick] && p[pThick] < 1.5*f.prior[pThick] && math.Abs(p[pAlpha]-f.prior[pAlpha]) < 1.5
	}
	f.model(p, f.places(p), out)
	now := cost(p, out)
	lambda := 1e-3
	var normal *mat.SymDense
	for iter := 0; ; iter++ {
		for i := range n {
			h := 0.02
			if i == pShift || i == pThick {
				h = 0.05
			} else if i > pLegs && (i-pLegs)%2 == 1 {
				h = 0.5
			}
			copy(trial, p)
			trial[i] += h
			row := jac[i*len(out) : (i+1)*len(out)]
			f.model(trial, f.places(trial), row)
			for j := range row {
				row[j] = (row[j] - out[j]) / h
			}
		}
		normal = mat.NewSymDense(n, nil)
		right := make([]float64, n)
		for i := range n {
			normal.SetSym(i, i, 1/squared(f.priorU[i]))
			right[i] = (f.prior[i] - p[i]) / squared(f.priorU[i])
		}
		weight := make([]float64, ns*nt)
		for j := range weight {
			if math.IsNaN(f.y[j]) {
				continue
			}
			s2 := squared(f.sigma[j]) * widen
			weight[j] = 1 / s2
			if z := math.Abs(f.y[j]-out[j]) / math.Sqrt(s2); z > 3 {
				weight[j] *= 3 / z
			}
		}
		for i := range n {
			ri := jac[i*len(out) : i*len(out)+ns*nt]
			sum := 0.0
			for j, w := range weight {
				if w > 0 {
					sum += w * ri[j] * (f.y[j] - out[j])
				}
			}
			right[i] += sum
			for k := i; k < n; k++ {
				rk := jac[k*len(out) : k*len(out)+ns*nt]
				sum := 0.0
				for j, w := range weight {
					sum += w * ri[j] * rk[j]
				}
				normal.SetSym(i, k, normal.At(i, k)+sum)
			}
		}
		if iter >= most {
			break
		}
		better := false
		for range 8 {
			damped := mat.NewSymDense(n, nil)
			damped.CopySym(normal)
			for i := range n {
				damped.SetSym(i, i, normal.At(i, i)*(1+lambda))
			}
			var chol mat.Cholesky
			var d mat.VecDense
			if !chol.Factorize(damped) || chol.SolveVecTo(&d, mat.NewVecDense(n, right)) != nil {
				lambda *= 10
				continue
			}
			for i := range n {
				trial[i] = p[i] + d.AtVec(i)
			}
			if !bounded(trial) {
				lambda *= 10
				continue
			}
			f.model(trial, f.places(trial), outTrial)
			if c := cost(trial, outTrial); c < now {
				better = now-c > 1e-3*(1+now/1e3)
				copy(p, trial)
				copy(out, outTrial)
				now = c
				lambda = max(lambda/10, 1e-9)
				break
			}
			lambda *= 10
		}
		if !better {
			most = min(most, iter+1) // one more Jacobian at the end
		}
	}
	var chol mat.Cholesky
	cov = mat.NewSymDense(n, nil)
	if chol.Factorize(normal) {
		_ = chol.InverseTo(cov)
	} else {
		for i := range n {
			cov.SetSym(i, i, squared(f.priorU[i]))
		}
	}
	return cov, jac, out, now
}

// begin proposes where the search starts: gentle, and fierce contact.
func (f *profileFit) begin() [][]float64 {
	hot := math.Inf(-1)
	for _, v := range f.y {
		if v > hot { // NaN is not
			hot = v
		}
	}
	var out [][]float64
	for _, c := range []struct{ bi, above float64 }{{2, 40}, {30, 4}} {
		p := slices.Clone(f.prior)
		for l := pLegs; l < f.params; l += perLeg {
			p[l], p[l+1] = math.Log(c.bi), hot+c.above
			p[l+2], p[l+3] = math.Log(c.bi), hot/2+c.above
		}
		out = append(out, p)
	}
	return out
}

// spread is how many times less the residuals tell than independent ones:
// reduced chi-squared times one plus twice the summed autocorrelation in
// time, at least 1.
func (f *profileFit) spread(out []float64) (widen, rms float64) {
	nt := len(f.timeS)
	var chi, sum2 float64
	n := 0
	lags := min(nt/4, 120)
	acf := make([]float64, lags+1)
	for i := range f.sensors {
		r := make([]float64, nt)
		for k := range nt {
			if y := f.y[i*nt+k]; !math.IsNaN(y) {
				r[k] = (y - out[i*nt+k]) / f.sigma[i*nt+k]
				chi += r[k] * r[k]
				sum2 += squared(y - out[i*nt+k])
				n++
			}
		}
		for l := range acf {
			for k := l; k < nt; k++ {
				acf[l] += r[k] * r[k-l]
			}
		}
	}
	if n == 0 || acf[0] == 0 {
		return 1, 0
	}
	time := 1.0
	for _, a := range acf[1:] {
		rho := a / acf[0]
		if rho < 0.05 {
			break
		}
		time += 2 * rho
	}
	return max(1, chi/float64(max(n-f.params, 1))*time), math.Sqrt(sum2 / float64(n))
}

// worstSensor is the sensor that the model without its remainder misses most
// (root mean square), and when it misses it most.
func (f *profileFit) worstSensor(out []float64) (id string, rmsK, atS float64) {
	nt := len(f.timeS)
	for i, s := range f.sensors {
		sum, n, most, at := 0.0, 0.0, 0.0, 0.0
		for k, t := range f.timeS {
			if y := f.y[i*nt+k]; !math.IsNaN(y) {
				e := math.Abs(y - out[i*nt+k])
				sum, n = sum+e*e, n+1
				if e > most {
					most, at = e, t
				}
			}
		}
		if n > 0 && math.Sqrt(sum/n) > rmsK {
			id, rmsK, atS = s.ID, math.Sqrt(sum/n), at
		}
	}
	return id, rmsK, atS
}

// FitProfile fits the temperature through the thickness of a slab to sensors
// at several depths over time: a solution of the heat equation whose faces
// have steady contacts between the moments given, which change places at each
// turn, plus a smooth remainder at each time (a Gaussian process over depth)
// that takes what steady contacts cannot tell. Unknown are how deep the probe
// went in, the diffusivity, the thickness within its uncertainty, and the
// contacts.
//
// The centre stands mostly on the sensors; a face beyond the outermost sensor
// is told by the model and has the larger uncertainty. Conduction alone looks
// the same when the probe and the piece are shifted together: how deep the
// probe sits is told by the faces' contacts being steady, and is as uncertain
// as InsertionUM where they are not.
//
// Where both faces have sensors of their own, their readings stand for the
// contacts, and changes of heat need not be known.
//
// References: H. S. Carslaw, J. C. Jaeger 1959, Conduction of Heat in Solids,
// chapter III; M. C. Kennedy, A. O'Hagan 2001, Bayesian calibration of
// computer models, J. R. Statist. Soc. B 63, 425–464 (model plus remainder).
func FitProfile(sensors []ProfileSensor, opt ProfileOptions) (*Profile, error) {
	f, err := newProfileFit(sensors, opt)
	if err != nil {
		return nil, err
	}
	var best []float64
	least := math.Inf(1)
	for i, p := range f.begin() {
		if i > 0 && f.params == pLegs {
			break // the starts differ in their contacts alone
		}
		if _, _, _, c := f.fit(p, 1, 5); c < least {
			least, best = c, p
		}
	}
	_, _, out, _ := f.fit(best, 1, 12)
	widen, _ := f.spread(out)
	cov, jac, out, _ := f.fit(best, widen, 5)
	_, rms := f.spread(out)
	pr := f.profile(best, cov, jac, out, rms)
	pr.worst, pr.worstK, pr.worstS = f.worstSensor(out)
	if pr.CoreU == nil || math.IsNaN(pr.CoreC[0]) {
		return nil, fault.New("absent", "no profile fits the sensors")
	}
	return pr, nil
}
