package measure

import (
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
	f.dropChanges()
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
