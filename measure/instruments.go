package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/steam"
	"trivet/study"
	"trivet/trace"
)

// Uncertainties of the fixed points themselves, half widths; our choice for a
// kitchen, no source. Slush that is stirred holds 0 °C to a tenth; boiling
// water superheats, and the weather moves the pressure.
const (
	iceHalfK  = 0.1
	boilHalfK = 0.5
)

// Correction turns what a sensor reads into what it should have read.
//
// From two points T = T_lo + (R − R_lo)(T_hi − T_lo)/(R_hi − R_lo), from one
// T = R − (R_1 − T_1). It is kept beside the readings, which stay as they are.
type Correction struct {
	LowR, LowC   float64 // reading and truth of the lower point, °C
	HighR, HighC float64
	LowU, HighU  float64 // standard uncertainty of reading less truth there, K
	Points       int     // 1 or 2
	What         string  // sentence
}

// CheckOf makes the correction of an instrument's checks; false when it has
// none that a temperature can be corrected by. The boiling point is that at
// the standard atmosphere's pressure at the stated altitude (IAPWS saturation
// line; ICAO atmosphere).
func CheckOf(x study.Instrument) (c Correction, ok bool) {
	mean1 := func(v []float64, half float64) (m, u float64) {
		m = mean(v)
		ss := 0.0
		for _, r := range v {
			ss += squared(r - m)
		}
		if n := float64(len(v)); n > 1 {
			u = math.Sqrt(ss / (n - 1) / n)
		} else {
			u = 0.1 / math.Sqrt(12)
		}
		return m, math.Hypot(u, rectangular(half))
	}
	boilC := steam.BoilingPointC(steam.PressureAtAltitudePa(x.AltitudeM))
	switch {
	case len(x.IceC) > 0 && len(x.BoilC) > 0:
		c.Points = 2
		c.LowR, c.LowU = mean1(x.IceC, iceHalfK)
		c.HighR, c.HighU = mean1(x.BoilC, boilHalfK)
		c.HighC = boilC
		if c.HighR-c.LowR < 20 {
			return Correction{}, false
		}
		c.What = fmt.Sprintf("reads %.2f °C in ice and %.2f °C where water boils at %.2f °C (%.0f m)", c.LowR, c.HighR, boilC, x.AltitudeM)
	case len(x.IceC) > 0:
		c.Points = 1
		c.LowR, c.LowU = mean1(x.IceC, iceHalfK)
		c.What = fmt.Sprintf("reads %.2f °C in ice", c.LowR)
	case len(x.BoilC) > 0:
		c.Points = 1
		c.LowR, c.LowU = mean1(x.BoilC, boilHalfK)
		c.LowC = boilC
		c.What = fmt.Sprintf("reads %.2f °C where water boils at %.2f °C (%.0f m)", c.LowR, boilC, x.AltitudeM)
	default:
		return Correction{}, false
	}
	return c, true
}

// At corrects a reading.
func (c Correction) At(readC float64) float64 {
	if c.Points < 2 {
		return readC - (c.LowR - c.LowC)
	}
	return c.LowC + (readC-c.LowR)*(c.HighC-c.LowC)/(c.HighR-c.LowR)
}

// U is the standard uncertainty of a corrected reading by its checks: of two
// points in proportion to how near they are; of one, with 0.5 % of the
// distance from it for a slope that was not checked.
func (c Correction) U(readC float64) float64 {
	if c.Points < 2 {
		return math.Hypot(c.LowU, 0.005*(readC-c.LowR))
	}
	w := (readC - c.LowR) / (c.HighR - c.LowR)
	return math.Hypot((1-w)*c.LowU, w*c.HighU)
}

// correct applies the checks of the instruments that the channels name, and
// notes each.
func (v *view) correct(s *series) {
	x, ok := v.in.instrument(s.ch)
	if !ok {
		return
	}
	if s.ch.Class == "" {
		s.ch.Class = x.Class
	}
	switch s.ch.Unit {
	case trace.DegC, trace.DegF, trace.Kelvin:
		c, ok := CheckOf(x)
		if !ok || s.ch.CheckedUK > 0 || s.ch.OffsetK != 0 { // what the map says stands
			return
		}
		for k := range s.value {
			s.value[k] = c.At(s.value[k])
		}
		s.ch.CheckedUK = c.U(median(slices.Clone(s.value)))
		v.notes = append(v.notes, fault.Notef("sensor-corrected", "%s is corrected by its check: %s %s", s.ch.ID, x.ID, c.What))
	case trace.Gram, trace.Ounce:
		if x.MassKg > 0 && x.ReadKg > 0 && math.Abs(x.ReadKg/x.MassKg-1) < 0.2 {
			f := x.MassKg / x.ReadKg
			for k := range s.value {
				s.value[k] *= f
			}
			v.notes = append(v.notes, fault.Notef("scale-corrected", "%s is corrected by its check mass: %s shows %.4g g for %.4g g", s.ch.ID, x.ID, 1e3*x.ReadKg, 1e3*x.MassKg))
		}
	}
}

// LagCorrected is what a sensor with time constant tauS would have read
// without lag, T = R + τ dR/dt, the slope by a straight line over ±τ (at
// least two samples on each side). Cooks are corrected so where the register
// gives their sensor a time constant; lethality takes the lower of both.
func LagCorrected(timeS, readC []float64, tauS float64) ([]float64, error) {
	if !(tauS > 0) || len(timeS) != len(readC) {
		return nil, fault.New("lag", "a lag correction needs a time constant above zero and a time for each reading")
	}
	every := 0.0
	if n := len(timeS); n > 1 {
		every = (timeS[n-1] - timeS[0]) / float64(n-1)
	}
	slope, ok, err := trace.Smooth(timeS, readC, math.Max(tauS, 2*every), 1, 1)
	if err != nil {
		return nil, err
	}
	out := slices.Clone(readC)
	for i := range out {
		if ok[i] {
			out[i] += tauS * slope[i]
		}
	}
	return out, nil
}

// StemError is the share of the difference between handle and tip that a stem
// of length lM adds to its reading: 1/cosh(mL), m = √(hP/kA) = √(4h/(kd)) of a
// rod of diameter dM and conductivity k in a medium with film coefficient h
// (fin with an adiabatic tip: F. P. Incropera, D. P. DeWitt, Fundamentals of
// Heat and Mass Transfer, table 3.4).
func StemError(lM, dM, kWMK, hWM2K float64) float64 {
	return 1 / math.Cosh(math.Sqrt(4*hWM2K/(kWMK*dM))*lM)
}

// InstrumentLine describes an instrument and its checks for a report.
func InstrumentLine(x study.Instrument) string {
	var parts []string
	add := func(format string, args ...any) { parts = append(parts, fmt.Sprintf(format, args...)) }
	if x.What != "" {
		add("%s", x.What)
	}
	if x.Class != "" {
		add("class %s", x.Class)
	}
	if x.Pan != "" {
		add("measures the pan %s", x.Pan)
	}
	if c, ok := CheckOf(x); ok {
		add("%s: at 55 °C corrected by %+.2f K, u %.2f K", c.What, c.At(55)-55, c.U(55))
	}
	if x.MassKg > 0 && x.ReadKg > 0 {
		add("shows %.5g g for %.5g g", 1e3*x.ReadKg, 1e3*x.MassKg)
	}
	if x.LagS > 0 {
		add("corrected for a lag of %.3g s", x.LagS)
	}
	if t := x.Stem; t != nil {
		add("corrected for %.2g %% of the difference to its handle", 100*StemError(t.LengthM, t.DiameterM, t.ConductivityWMK, t.FilmWM2K))
	}
	if x.Checked != "" {
		add("checked %s", x.Checked)
	}
	if x.Note != "" {
		add("%s", x.Note)
	}
	if len(parts) == 0 {
		return "nothing is said of it"
	}
	return strings.Join(parts, "; ")
}
