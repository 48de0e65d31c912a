package measure

import (
	"math"

	"trivet/trace"
)

// Defaults used where the record is silent. Each appears in the budget by
// name, so that a reader sees what was assumed.
const (
	// unknownToleranceK is the half width assumed for a sensor of unstated
	// class: the widest common thermocouple class (K, N, J standard,
	// ±2.2 °C: ASTM E230 as tabulated by makers; secondary source).
	unknownToleranceK = 2.2
	// placementM is how far from the intended point a hand-placed probe may
	// sit, half width (common practice, no source).
	placementM = 2e-3
	// diffusivity of lean meat, m²/s: 1.3e-7 (Choi & Okos by composition,
	// range 1.25e-7 to 1.38e-7 at 20 °C).
	diffusivityM2S = 1.3e-7
)

// toleranceK is the half width of a sensor's tolerance at a temperature.
// Classes: ASTM E230/E230M and IEC 60584-1 (thermocouples), IEC 60751
// (platinum), as tabulated by makers (secondary source).
func toleranceK(class string, tC float64) float64 {
	a := math.Abs(tC)
	switch class {
	case "T special", "T class 1":
		return math.Max(0.5, 0.004*a)
	case "T standard", "T class 2":
		return math.Max(1.0, 0.0075*a)
	case "K special", "N special", "J special":
		return math.Max(1.1, 0.004*a)
	case "K class 1", "N class 1":
		return math.Max(1.5, 0.004*a)
	case "K standard", "N standard", "J standard":
		return math.Max(2.2, 0.0075*a)
	case "K class 2", "N class 2":
		return math.Max(2.5, 0.0075*a)
	case "Pt AA":
		return 0.1 + 0.0017*a
	case "Pt A":
		return 0.15 + 0.002*a
	case "Pt B":
		return 0.3 + 0.005*a
	case "thermistor":
		return 0.2
	}
	return unknownToleranceK
}

// checkedSensor names the source of a sensor that was checked.
const checkedSensor = "sensor, checked at a fixed point"

// calibration is the sensor's own standard uncertainty, K: from its check
// where there was one, else from its class.
func calibration(ch trace.Channel, tC float64) Source {
	if ch.CheckedUK > 0 {
		return Source{checkedSensor, "B", ch.CheckedUK}
	}
	if ch.Class == "" {
		return Source{"sensor, class not stated (taken as ±2.2 K)", "B", rectangular(unknownToleranceK)}
	}
	return Source{"sensor, class " + ch.Class, "B", rectangular(toleranceK(ch.Class, tC))}
}

func resolution(s *series) Source {
	return Source{"resolution of the log", "B", s.stepU / math.Sqrt(12)}
}

// placement is the uncertainty of a core reading from the probe's position.
// Near the centre T ≈ T_c + b x² with b = (dT/dt)/(2α) in the quasi-steady
// slab; x rectangular within ±d gives a second moment about the centre of
// b²d⁴/5. The error is one-sided (always warm), so its bias is kept inside.
func placement(slopeKPerS float64) Source {
	b := math.Abs(slopeKPerS) / (2 * diffusivityM2S)
	return Source{"probe within ±2 mm of the centre", "B", b * placementM * placementM / math.Sqrt(5)}
}

// temperatureBudget is the budget of one core temperature read at a time.
func temperatureBudget(s *series, tC, slope, t float64) []Source {
	return append([]Source{calibration(s.ch, tC), resolution(s), s.placed(slope, t)}, s.course(tC, slope, t)...)
}

// placed is what the place of the sensors adds at time t: the fit's own
// uncertainty where there is one, else that of a single probe.
func (s *series) placed(slopeKPerS, t float64) Source {
	if s.fit != nil {
		_, u, _ := s.fit.Core(t)
		return Source{"fit of the profile: noise, depth of the probe, sensors against each other", "A", u}
	}
	return placement(slopeKPerS)
}
