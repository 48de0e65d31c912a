package measure

import (
	"math"

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
	MarkUS      float64   // of the times below, standard uncertainty; 0 takes 1 s
	TurnsS      []float64 // at each the two faces change places
	ChangesS    []float64 // other moments at which the heat on both faces changes
	OffS        float64   // off the heat; NaN or +Inf when not within the log
	EndS        float64   // end of what is fitted; 0 is the end of the log
	BoilingC    float64   // where water boils in this kitchen, °C; 0 takes 100
}

// MinProfileSensors is how few sensors a profile is fitted to.
const MinProfileSensors = 3

// profileFit is a fit under way.
type profileFit struct {
	opt     ProfileOptions
	sensors []ProfileSensor
	every   float64   // between blocks, s
	samples int       // in a block
	count   []int     // samples that each block really has, sensor by sensor
	late    []float64 // how late each mark of a change was found to be
	timeS   []float64 // of the blocks
	y       []float64 // block means, sensor by sensor: y[i*nt+k]; NaN where none
	sigma   []float64 // their standard uncertainty by noise and resolution
	noiseK  []float64 // of a single sample, by sensor
	start   field     // temperatures at the beginning
	breaks  []stretch
	face    [2]int       // sensors on side A and side B, −1 where there is none
	faceC   [2][]float64 // what they read
	driven  bool         // those readings bound the slab
	params  int
	films   int       // how many of them before the times
	times   int       // how many moments of change are fitted
	under   bool      // the log begins with the heat on
	fixed   []bool    // parameters that the search leaves alone
	damping float64   // of the search
	scratch []float64 // derivatives of its steps
	prior   []float64
	priorU  []float64
	slab    *slab
	boils   bool // a face boils: the wet food is thinner than the piece
}

// FitProfile fits the temperature through the thickness of a slab to sensors
// at several depths over time: a solution of the heat equation whose faces
// have steady contacts between the moments given, which change places at each
// turn, plus a smooth remainder at each time (a Gaussian process over depth)
// that takes what steady contacts cannot tell. Unknown are how deep the probe
// went in, the diffusivity, the thickness within its uncertainty, the contacts,
// and how late each moment was marked.
//
// The centre stands mostly on the sensors; a face beyond the outermost sensor
// is told by the model and has the larger uncertainty. Conduction alone looks
// the same when the probe and the piece are shifted together: how deep the
// probe sits is told by the faces' contacts being steady, and is as uncertain
// as InsertionUM where they are not. A face just after a jump hangs on how
// stiff its contact is and on the moment of the jump: within a minute or two it
// is told to 1 K only where MarkUS is well below a second or the contact as
// gentle as a pan's.
//
// Where both faces have sensors of their own and stay below boiling, their
// readings stand for the contacts, and changes of heat need not be known.
// Where a face boils, a dry crust lies on the food that does not conduct as
// the rest: the slab is then the wet food between the crusts, whose thickness
// is fitted, and what sensors read in or on a crust tells nothing of it.
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
	f.trustMarks(true)
	for i, p := range f.begin() {
		if i > 0 && f.params == pLegs {
			break // the starts differ in their contacts alone
		}
		if _, c := f.improve(p, 1, 5); c < least {
			least, best = c, p
		}
	}
	var out []float64
	if !f.boils {
		f.improve(best, 1, 12)
		f.trustMarks(false)
		out, _ = f.improve(best, 1, 8)
	}
	if f.boiled(best, out) {
		f.trustMarks(true)
		best, out = f.withCrust(best)
	}
	widen, _ := f.spread(out)
	f.trustMarks(false)
	f.improve(best, widen, 8)
	cov, jac, out := f.settle(best, widen)
	_, rms := f.spread(out)
	pr := f.profile(best, cov, jac, out, rms)
	pr.worst, pr.worstK, pr.worstS = f.worstSensor(out)
	if pr.CoreU == nil || math.IsNaN(pr.CoreC[0]) {
		return nil, fault.New("absent", "no profile fits the sensors")
	}
	return pr, nil
}
