package study

import (
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"trivet/quantity"
)

func (p *parser) instrument(n ast.Node, at string) {
	x := Instrument{}
	readings := func(into *[]float64) func(ast.Node, string) {
		return func(n ast.Node, at string) {
			p.oneOrList(n, at, func(n ast.Node, at string) {
				var c float64
				before := len(p.errs)
				p.amount(quantity.KindTemperature, &c)(n, at)
				if len(p.errs) == before {
					*into = append(*into, c)
				}
			})
		}
	}
	if !p.object(n, at, fields{
		"id": p.slug(&x.ID), "what": p.text(&x.What), "class": p.text(&x.Class), "checked": p.text(&x.Checked),
		"ice": readings(&x.IceC), "boil": readings(&x.BoilC), "altitude": p.amount(quantity.KindLength, &x.AltitudeM),
		"mass": p.amount(quantity.KindMass, &x.MassKg), "read": p.amount(quantity.KindMass, &x.ReadKg), "note": p.text(&x.Note),
		"pan": p.text(&x.Pan), "lag": p.amount(quantity.KindDuration, &x.LagS), "stem": func(n ast.Node, at string) { p.stem(n, at, &x) },
	}) {
		return
	}
	p.needID(n, at, x.ID, "instrument")
	p.study.Instruments = append(p.study.Instruments, x)
}

func (p *parser) stem(n ast.Node, at string, x *Instrument) {
	var s Stem
	var handle float64
	before := len(p.errs)
	seen := false
	warm := p.amount(quantity.KindTemperature, &handle)
	if !p.object(n, at, fields{
		"length": p.amount(quantity.KindLength, &s.LengthM), "diameter": p.amount(quantity.KindLength, &s.DiameterM),
		"conductivity": p.number(&s.ConductivityWMK), "film": p.number(&s.FilmWM2K),
		"handle": func(n ast.Node, at string) { seen = true; warm(n, at) },
	}) || len(p.errs) > before {
		return
	}
	if !(s.LengthM > 0 && s.DiameterM > 0 && s.ConductivityWMK > 0 && s.FilmWM2K > 0) {
		p.report(n, at, "stem", "such as {length: 40 mm, diameter: 3 mm, conductivity: 16, film: 200}",
			"a stem needs length and diameter, its conductivity (W/m K) and the film coefficient about it (W/m² K), all above zero")
		return
	}
	if seen {
		s.HandleC = &handle
	}
	x.Stem = &s
}

// SensorClasses are the tolerance classes that trivet knows, as they are
// written: those of ASTM E230 and IEC 60584-1 for thermocouples, of IEC 60751
// for platinum, and interchangeable thermistors.
func SensorClasses() []string {
	return []string{"T special", "T standard", "T class 1", "T class 2",
		"K special", "K standard", "K class 1", "K class 2",
		"N special", "N standard", "N class 1", "N class 2",
		"J special", "J standard", "Pt AA", "Pt A", "Pt B", "thermistor"}
}

// What a check must not exceed to be one; our choices.
const (
	iceFarC   = 5.0
	boilFarC  = 5.0
	seaLevelC = 99.5 // below it water hardly boils at sea level
	perMetreC = 0.0034
	scatterC  = 1.0  // between repeated readings of one point
	massFar   = 0.02 // of a check mass
)

// instruments looks for checks that are missing or cannot be right.
func (c *checker) instruments() {
	s := c.study
	for _, x := range s.Instruments {
		at := "instruments[" + x.ID + "]"
		if x.Class != "" && !slices.Contains(SensorClasses(), x.Class) {
			c.add(Doubt, "class-unknown", at+".class", 0, "no tolerance is known for class %q, so ±2.2 K is taken; write one of %s", x.Class, strings.Join(SensorClasses(), ", "))
		}
		for _, r := range x.IceC {
			if r < -iceFarC || r > iceFarC {
				c.add(Doubt, "ice-far", at+".ice", 0, "a sensor that reads %.1f °C in melting ice is broken, or it was not in ice; check it again in stirred slush", r)
				break
			}
		}
		for _, r := range x.BoilC {
			boils := 100 - perMetreC*x.AltitudeM
			if r < boils-boilFarC || r > boils+boilFarC {
				c.add(Doubt, "boil-far", at+".boil", 0, "a sensor that reads %.1f °C where water boils at about %.0f °C is broken, or the altitude of %.0f m is not that of the kitchen; check both", r, boils, x.AltitudeM)
				break
			}
			if x.AltitudeM == 0 && r < seaLevelC {
				c.add(Doubt, "boil-low", at+".boil", 0, "it read %.1f °C in boiling water, and sea level is taken for it; write the altitude where it was boiled", r)
				break
			}
		}
		for _, repeats := range []struct {
			key string
			c   []float64
		}{{".ice", x.IceC}, {".boil", x.BoilC}} {
			if len(repeats.c) > 1 && slices.Max(repeats.c)-slices.Min(repeats.c) > scatterC {
				c.add(Doubt, "check-scatters", at+repeats.key, 0, "readings of one fixed point lie %.1f K apart; wait until each stands still, stir, and read again", slices.Max(repeats.c)-slices.Min(repeats.c))
			}
		}
		sensor := x.Class != "" || len(x.IceC)+len(x.BoilC) > 0 || x.LagS > 0 || x.Stem != nil
		if sensor && len(x.IceC)+len(x.BoilC) == 0 {
			c.add(Doubt, "not-checked", at+".ice", 0, "nothing says what %s reads in melting ice; check it on the day and write ice: 0.2 °C", x.ID)
		}
		if (x.MassKg > 0) != (x.ReadKg > 0) {
			c.add(Doubt, "mass-half", at, 0, "a check mass needs what the scale showed for it; write both mass and read")
		}
		if ratio := x.ReadKg / x.MassKg; x.MassKg > 0 && x.ReadKg > 0 && (ratio < 1-massFar || ratio > 1+massFar) {
			c.add(Doubt, "mass-far", at+".read", 0, "the scale showed %.0f g for %.0f g, and all its readings would be corrected by that; check mass and read", 1000*x.ReadKg, 1000*x.MassKg)
		}
	}
	panned := slices.ContainsFunc(s.Controlled, func(k Control) bool { return k.Name == "pan" })
	if panned && len(s.Instruments) > 0 && !slices.ContainsFunc(s.Instruments, func(x Instrument) bool { return x.Pan != "" }) {
		c.add(Doubt, "pan-how", "instruments", 0, "the pan is controlled, and no instrument says how it is measured; write pan: pressed to the middle of its floor")
	}
}
