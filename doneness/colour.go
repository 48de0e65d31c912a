package doneness

import "math"

// ColourCaution stands beside every colour trivet shows.
const ColourCaution = "Colour does not show that a temperature was reached."

// Lab is a colour in CIE 1976 L*a*b*, illuminant D65.
type Lab struct{ L, A, B float64 }

// RGB is a colour in sRGB (IEC 61966-2-1), 0–255 a channel.
type RGB struct{ R, G, B uint8 }

// palette holds the colours between which a cut face moves: raw flesh, flesh
// that has set and turned opaque, flesh whose red is gone, and a dark crust.
// They are CHOSEN by eye to look like the food: no table with a usable source
// was at hand. Only the order of events rests on kinetics.
type palette struct{ raw, set, cooked, crust Lab }

var palettes = map[Family]palette{
	Beef:    {Lab{34, 24, 11}, Lab{48, 24, 15}, Lab{52, 5, 13}, Lab{24, 10, 14}},
	Lamb:    {Lab{37, 22, 11}, Lab{50, 21, 15}, Lab{55, 5, 13}, Lab{26, 10, 15}},
	Pork:    {Lab{55, 12, 8}, Lab{70, 11, 12}, Lab{76, 3, 14}, Lab{34, 13, 24}},
	Poultry: {Lab{60, 7, 10}, Lab{79, 5, 14}, Lab{84, 1, 16}, Lab{38, 14, 28}},
	Fish:    {Lab{68, 0, 4}, Lab{86, -1, 8}, Lab{89, -1, 10}, Lab{42, 13, 28}},
	Salmon:  {Lab{50, 32, 30}, Lab{69, 27, 30}, Lab{76, 18, 27}, Lab{40, 17, 30}},
	Plain:   {Lab{82, 2, 22}, Lab{82, 2, 22}, Lab{82, 2, 22}, Lab{36, 14, 26}},
}

// CutColour returns the colour of a cut face in a state: raw → set as myosin
// unfolds, set → cooked as myoglobin loses its red (a* falls linearly with the
// share lost), and towards the crust as it browns. [ColourCaution] belongs
// beside it.
func (m Model) CutColour(s State) Lab {
	p := m.palette
	c := mix(p.raw, p.set, Share(s.Myosin))
	gone := Share(s.Myoglobin)
	c.L += (p.cooked.L - p.set.L) * gone
	c.A += (p.cooked.A - p.set.A) * gone
	c.B += (p.cooked.B - p.set.B) * gone
	return mix(c, p.crust, Share(s.Browning))
}

func mix(a, b Lab, share float64) Lab {
	return Lab{a.L + (b.L-a.L)*share, a.A + (b.A-a.A)*share, a.B + (b.B-a.B)*share}
}

// White point D65 for the 2° observer (CIE 15:2004).
const whiteX, whiteY, whiteZ = 0.95047, 1.0, 1.08883

// RGB converts to sRGB; colours outside its gamut are clipped channel by
// channel.
//
// Reference: CIE 15:2004 for L*a*b*, IEC 61966-2-1:1999 for sRGB.
func (c Lab) RGB() RGB {
	fy := (c.L + 16) / 116
	inv := func(f float64) float64 {
		const d = 6.0 / 29
		if f > d {
			return f * f * f
		}
		return 3 * d * d * (f - 4.0/29)
	}
	x, y, z := whiteX*inv(fy+c.A/500), whiteY*inv(fy), whiteZ*inv(fy-c.B/200)
	return RGB{
		gamma(3.2404542*x - 1.5371385*y - 0.4985314*z),
		gamma(-0.9692660*x + 1.8760108*y + 0.0415560*z),
		gamma(0.0556434*x - 0.2040259*y + 1.0572252*z),
	}
}

func gamma(v float64) uint8 {
	switch {
	case !(v > 0):
		return 0
	case v <= 0.0031308:
		v *= 12.92
	default:
		v = 1.055*math.Pow(v, 1/2.4) - 0.055
	}
	return uint8(math.Min(255, math.Round(255*v)))
}

// DeltaE returns the CIE 1976 colour difference of two colours.
func (c Lab) DeltaE(d Lab) float64 { return math.Sqrt(sq(c.L-d.L) + sq(c.A-d.A) + sq(c.B-d.B)) }

func sq(x float64) float64 { return x * x }
