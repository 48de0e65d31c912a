package heat

import (
	"math"

	"trivet/steam"
)

// position is where a face lies.
type position int

const (
	bottom position = iota
	top
	rim
)

// environment is what a face needs to know of the cook around it.
type environment struct {
	position   position
	pressurePa float64
	boilC      float64
	lengthM    float64 // of the face along the air
}

// heldFast stands for a perfect contact, W/(m²·K).
const heldFast = 1e8

// boundary is the common law every face compiles to. Into the piece, per m²:
//
//	q(T_s) = Σ h_i·(T_i − T_s) + C·|T_a−T_s|^¼·(T_a−T_s) + εσ·(T_r⁴ − T_s⁴) + flux − L·j(T_s).
type boundary struct {
	contactH, contactC float64
	convH, convC       float64
	naturalC           float64
	radK, radT4        float64 // εσ and the fourth power of the surroundings' temperature, K⁴
	fatH, fatC         float64
	steamH, steamC     float64
	fixedH, fixedC     float64
	flux               float64

	// Evaporation: j = evapH·film(T_s)·p·(ℓ(a_w·p_s/p) − ℓ(p_v/p)).
	evapH    float64
	vapourPa float64
	vapourL  float64    // ℓ(p_v/p), for the cook
	film     [3]float64 // parabola in T_s of M/(R·T_f)·h_m/h, kg/(m²·s·Pa) per W/(m²·K)

	// What changes with time.
	pan           bool
	plate         *Plate
	plateH        float64 // contact coefficient with the plate
	touchH, riseS float64
	trace         *Series // of contactC
	airTrace      *Series // of convC, or of fixedC
	radFollowsAir bool
	traceIsFixed  bool

	oils bool // leaves fat on the side it touches
	oil  float64
}

// setFilm prepares film(T_s): the Chilton–Colburn mass-transfer coefficient
// per unit of h with properties at the mean of surface and air, as the
// parabola through 20, 60 and 100 °C of surface.
func (b *boundary) setFilm(airC, pressurePa float64) {
	at := func(ts float64) float64 {
		f := (ts + airC) / 2
		return steam.MassPerHeatCoefficient(f, pressurePa) * steam.WaterMolarMass / (steam.GasConstant * (f + zeroC))
	}
	y0, y1, y2 := at(20), at(60), at(100)
	d1, d2 := (y1-y0)/40, (y2-2*y1+y0)/3200
	// Newton form, expanded in powers of T_s.
	b.film = [3]float64{y0 - 20*d1 + 1200*d2, d1 - 80*d2, d2}
}

// scale multiplies every flux of the face except evaporation.
func (b *boundary) scale(f float64) {
	b.contactH *= f
	b.touchH *= f
	b.convH *= f
	b.naturalC *= f
	b.radK *= f
	b.steamH *= f
	b.fixedH *= f
	b.flux *= f
}

// linear reports whether the law is linear in T_s.
func (b *boundary) linear() bool { return b.naturalC == 0 && b.radK == 0 && b.evapH == 0 }

// surface is the state of one face element in a stage.
type surface struct {
	tempC float64 // T_s
	q     float64 // heat into the piece, W/m²
	slope float64 // dq/dT_1, T_1 the node's temperature
	j     float64 // evaporated water, kg/(m²·s), negative where it condenses
}

// flow returns q(T_s), its slope and the evaporation. aw is the water activity
// of the surface, evap the share of it that can evaporate.
func (b *boundary) flow(ts, aw, evap, pressurePa float64) (q, dq, j float64) {
	h := b.contactH + b.convH + b.fatH + b.steamH + b.fixedH
	q = b.contactH*b.contactC + b.convH*b.convC + b.fatH*b.fatC + b.steamH*b.steamC + b.fixedH*b.fixedC - h*ts + b.flux
	dq = -h
	if b.naturalC != 0 {
		d := b.convC - ts
		r := b.naturalC * math.Sqrt(math.Sqrt(math.Abs(d)))
		q += r * d
		dq -= 1.25 * r
	}
	if b.radK != 0 {
		k := ts + zeroC
		k2 := k * k
		q += b.radK * (b.radT4 - k2*k2)
		dq -= 4 * b.radK * k2 * k
	}
	if evap *= b.evapH; evap != 0 {
		ps, dps := saturation(ts)
		l, dl := stefanLog(aw * ps / pressurePa)
		l0 := b.vapourL
		f := evap * (b.film[0] + ts*(b.film[1]+ts*b.film[2])) * pressurePa
		df := evap * (b.film[1] + 2*ts*b.film[2]) * pressurePa
		if aw == 0 && l0 > 0 {
			// A surface that has dried takes up no vapour either.
			return q, dq, 0
		}
		j = f * (l - l0)
		heat := latentHeat(ts)
		q -= heat * j
		dq -= heat*(f*dl*aw*dps/pressurePa+df*(l-l0)) + latentSlope*j
	}
	return q, dq, j
}

// solve finds the surface temperature that balances the face's law against
// conduction from the node at t1 through resistance r, m²·K/W:
//
//	(t1 − T_s) + r·q(T_s) = 0,
//
// from the guess s.tempC. The left side falls with T_s, so Newton's method
// within a closing bracket always ends.
func (b *boundary) solve(s *surface, t1, r, aw, evap, pressurePa float64) {
	if b.linear() {
		h := b.contactH + b.convH + b.fatH + b.steamH + b.fixedH
		drive := b.contactH*b.contactC + b.convH*b.convC + b.fatH*b.fatC + b.steamH*b.steamC + b.fixedH*b.fixedC + b.flux
		s.tempC = (t1 + r*drive) / (1 + r*h)
		s.q = drive - h*s.tempC
		s.slope = -h / (1 + r*h)
		s.j = 0
		if b.fixedH != 0 { // drive − h·T_s loses digits when h is huge
			s.q = (drive - h*t1) / (1 + r*h)
		}
		return
	}
	if r <= 0 {
		s.tempC = t1
		var dq float64
		s.q, dq, s.j = b.flow(t1, aw, evap, pressurePa)
		s.slope = dq
		return
	}
	lo, hi := math.Inf(-1), math.Inf(1)
	ts := s.tempC
	var q, dq, j float64
	for range 60 {
		q, dq, j = b.flow(ts, aw, evap, pressurePa)
		g := t1 - ts + r*q
		if g > 0 {
			lo = ts
		} else {
			hi = ts
		}
		step := g / (1 - r*dq)
		next := ts + step
		if !(next > lo && next < hi) && !math.IsInf(lo, 0) && !math.IsInf(hi, 0) {
			next = (lo + hi) / 2
		}
		if math.Abs(step) < 1e-7 {
			break
		}
		ts = next
	}
	s.tempC, s.q, s.j = ts, q, j
	s.slope = dq / (1 - r*dq)
}
