package measure

import (
	"cmp"
	"math"
	"slices"
)

// profileBlocks is the most times at which the fit compares model and
// sensors; a longer log is averaged into that many blocks.
const profileBlocks = 400

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
	if opt.MarkUS <= 0 {
		opt.MarkUS = markUS
	}
	if math.IsNaN(opt.OffS) {
		opt.OffS = math.Inf(1)
	}
	f := &profileFit{opt: opt, sensors: sensors, slab: &slab{}, damping: 1e-3}
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
	f.samples = 2*int(math.Ceil(((to-begin)/period/profileBlocks-1)/2)) + 1
	f.every = period * float64(f.samples)
	grid := begin
	if at, _ := slices.BinarySearch(sensors[0].TimeS, begin-1e-9); at < len(sensors[0].TimeS) {
		grid = sensors[0].TimeS[at] // blocks are middled on samples
	}
	nt := int((to-grid)/f.every) + 1
	f.timeS = make([]float64, nt)
	for k := range nt {
		f.timeS[k] = grid + float64(k)*f.every
	}
	f.under = from > opt.HeatOnS
	f.count = make([]int, len(sensors)*nt)
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
	f.faces()
	f.dropCrust()
	if err := f.enough(); err != nil {
		return nil, err
	}
	if f.face[0] >= 0 && f.face[1] >= 0 && !f.boils {
		f.drive()
		return f, nil
	}
	f.stretches(begin)
	f.dropUneven()
	return f, nil
}

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
		sum, n := 0.0, 0
		for j := lo; j < len(s.TimeS) && s.TimeS[j] < t+half && (k > 0 || s.TimeS[j] >= begin); j++ {
			sum += s.C[j]
			n++
		}
		f.y[i*nt+k] = math.NaN()
		f.count[i*nt+k] = n
		if n > 0 {
			f.y[i*nt+k] = sum / float64(n)
			// Noise averages out, a floor of 0.03 K for steps of the display.
			f.sigma[i*nt+k] = math.Sqrt(squared(f.noiseK[i])/float64(n) + 0.03*0.03)
		}
	}
	// The mark may be late: what comes just before it is not trusted.
	for _, sure := range []float64{2 * f.opt.MarkUS, 0} {
		a, _ := slices.BinarySearch(s.TimeS, begin-15-sure)
		b, _ := slices.BinarySearch(s.TimeS, begin-sure+1e-9)
		if b-a >= 3 {
			return mean(s.C[a:b])
		}
	}
	for k := range nt {
		if v := f.y[i*nt+k]; !math.IsNaN(v) {
			return v
		}
	}
	return 0
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
	lo, hi := slices.Min(first), slices.Max(first)
	if hi-lo < 2 {
		f.start = field{line: line{c0: mean(first)}}
		return
	}
	var knots []point
	for i, s := range f.sensors {
		knots = append(knots, point{min(max(s.DepthM/f.opt.ThicknessM, 0), 1), first[i]})
	}
	slices.SortStableFunc(knots, func(a, b point) int { return cmp.Compare(a.depthM, b.depthM) })
	apart := knots[:1]
	for _, k := range knots[1:] {
		if last := &apart[len(apart)-1]; k.depthM-last.depthM < 1e-3 {
			last.tC = (last.tC + k.tC) / 2
			continue
		}
		apart = append(apart, k)
	}
	f.start = field{knots: apart}
}
