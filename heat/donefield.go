package heat

import (
	"slices"

	"trivet/doneness"
)

// DoneField follows what heat does to every cell of a piece. It is an
// [Observer]: give it to [Options] and read it after the run.
type DoneField struct {
	Model doneness.Model
	// Pull is the moment the first trailing rest began, nil without one; End
	// is the end of the cook.
	Pull, End *DoneMoment
	// Asked holds the moments asked for, in order of time; those after the
	// end are left out.
	Asked []DoneMoment

	moments []float64 // still to come, rising
	pullLeg int       // first leg of the trailing rests; the number of legs without any
	now     DoneMoment
}

// DoneMoment is the state of every cell at one moment. Cells are numbered as
// in [Grid].
type DoneMoment struct {
	TimeS        float64
	State        []doneness.State
	FaceA, FaceB doneness.State // of the very faces
}

var _ Observer = (*DoneField)(nil)

// NewDoneField returns the observer for a cook, with the moments to keep in
// seconds from the cook's start.
func NewDoneField(m doneness.Model, spec *Spec, atS ...float64) *DoneField {
	f := &DoneField{Model: m, moments: slices.Sorted(slices.Values(atS)), pullLeg: len(spec.Legs)}
	for f.pullLeg > 0 && spec.Legs[f.pullLeg-1].Rest {
		f.pullLeg--
	}
	return f
}

// Begin starts a cook anew.
func (f *DoneField) Begin(g Grid) {
	f.now = DoneMoment{State: make([]doneness.State, len(g.DepthsM)*max(1, g.RadialCells))}
	f.Pull, f.End, f.Asked = nil, nil, nil
}

// Step adds one accepted step, in which every temperature goes linearly.
func (f *DoneField) Step(s Step) {
	if f.Pull == nil && s.Leg >= f.pullLeg {
		f.Pull = f.now.copyAt(s.FromS)
	}
	for len(f.moments) > 0 && f.moments[0] <= s.ToS {
		at := f.now.copyAt(max(f.moments[0], s.FromS))
		if s.ToS > s.FromS {
			f.advance(at, s, (at.TimeS-s.FromS)/(s.ToS-s.FromS))
		}
		f.Asked = append(f.Asked, *at)
		f.moments = f.moments[1:]
	}
	f.advance(&f.now, s, 1)
	f.now.TimeS = s.ToS
	f.End = &f.now
}

// advance adds the first share of a step to m.
func (f *DoneField) advance(m *DoneMoment, s Step, share float64) {
	seconds := (s.ToS - s.FromS) * share
	for i := range m.State {
		f.Model.Advance(&m.State[i], s.FromC[i], s.FromC[i]+(s.ToC[i]-s.FromC[i])*share, seconds)
	}
	f.Model.Advance(&m.FaceA, s.FromA, s.FromA+(s.ToA-s.FromA)*share, seconds)
	f.Model.Advance(&m.FaceB, s.FromB, s.FromB+(s.ToB-s.FromB)*share, seconds)
}

func (m *DoneMoment) copyAt(t float64) *DoneMoment {
	c := *m
	c.TimeS, c.State = t, slices.Clone(m.State)
	return &c
}

// FamilyOf returns the doneness family of a food by its name; a composition
// or material without a name is Plain.
func FamilyOf(p Piece) doneness.Family {
	has := func(words ...string) bool {
		for _, w := range words {
			if slices.Contains(foodWords(p.Food), w) {
				return true
			}
		}
		return false
	}
	switch {
	case has("beef"):
		return doneness.Beef
	case has("lamb"):
		return doneness.Lamb
	case has("pork"):
		return doneness.Pork
	case has("chicken", "duck", "turkey"):
		return doneness.Poultry
	case has("salmon"):
		return doneness.Salmon
	case has("cod", "tuna"):
		return doneness.Fish
	}
	return doneness.Plain
}
