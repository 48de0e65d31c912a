package heat

import "fmt"

// DefaultContact is the contact coefficient of a piece lying in a pan,
// W/(m²·K). Reported values for contact frying run from 200 to 1200 and for
// double-sided grills from 250 to 650 (Wichchukit, Zorrilla & Singh, J. Food
// Process. Preserv.). The crust's own resistance is modelled apart, so the
// coefficient must not fall with browning as well.
const DefaultContact = 400.0

// Pan is contact with a hot plate,
//
//	q = h(t)·(T_pan − T_s),  h(t) = h∞ + (h0 − h∞)·exp(−t/τ),
//
// t from the moment this side of the piece touches down. Nothing evaporates
// into open air from a face in contact; its juice boils inside the piece.
//
// The pan is a set temperature (TempC), a measured trace (Trace) or a lumped
// plate (Plate), the first of Plate, Trace, TempC that is given.
type Pan struct {
	TempC   float64
	Trace   *Series
	Plate   *Plate
	Contact float64 // h∞, W/(m²·K); 0 is DefaultContact
	// TouchContact is h0 and RiseS is τ; RiseS 0 means a constant h∞.
	TouchContact float64
	RiseS        float64
}

// Plate is a pan as one lump of metal per area of contact,
//
//	C·dT/dt = q_burner − h_loss·(T − T_air) − q_contact,
//
// with a proportional controller that gives the full burner power below
// SetC − BandK and none above SetC.
type Plate struct {
	HeatCapacity float64 // C, J/(m²·K): density × specific heat × thickness; 5 mm of cast iron is 16 600
	StartC       float64
	BurnerWM2    float64  // full burner power per area of contact
	SetC         *float64 // controller set-point; nil keeps full power
	BandK        float64  // proportional band; 0 is 5 K
	LossH        float64  // W/(m²·K) to the room
	AirC         float64
}

// Describe names the face.
func (f Pan) Describe() string {
	switch {
	case f.Plate != nil:
		return fmt.Sprintf("pan as a plate from %.4g °C", f.Plate.StartC)
	case f.Trace != nil:
		return "pan by its trace"
	}
	return fmt.Sprintf("pan %.4g °C", f.TempC)
}

func (f Pan) check() error {
	c := checker{}
	c.temperature("pan", f.TempC)
	c.atLeast("contact", f.Contact, 0)
	c.atLeast("touch contact", f.TouchContact, 0)
	c.atLeast("rise", f.RiseS, 0)
	c.series("pan trace", f.Trace)
	if p := f.Plate; p != nil {
		c.above("plate heat capacity", p.HeatCapacity, 0)
		c.temperature("plate start", p.StartC)
		c.atLeast("burner", p.BurnerWM2, 0)
		c.atLeast("band", p.BandK, 0)
		c.atLeast("plate loss", p.LossH, 0)
		c.temperature("plate air", p.AirC)
		if p.SetC != nil {
			c.temperature("set-point", *p.SetC)
		}
	}
	return c.err
}

func (f Pan) compile(*environment) boundary {
	h := orDefault(f.Contact, DefaultContact)
	b := boundary{contactH: h, contactC: f.TempC, pan: true}
	if f.RiseS > 0 {
		b.touchH, b.riseS = f.TouchContact, f.RiseS
	}
	b.trace = f.Trace
	b.plate = f.Plate
	return b
}
