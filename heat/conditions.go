package heat

import "math"

// at returns the condition that a side of the piece meets.
func (s *Solver) at(side faceSide) position {
	switch {
	case side == sideRim:
		return rim
	case (side == sideA) == s.aDown:
		return bottom
	}
	return top
}

func (s *Solver) sideAt(p position) faceSide {
	switch {
	case p == rim:
		return sideRim
	case (p == bottom) == s.aDown:
		return sideA
	}
	return sideB
}

// place compiles the faces of the leg as they stand now and starts the
// touch-down clock of those that are new.
func (s *Solver) place(p position, f Face, fresh bool) {
	env := environment{position: p, pressurePa: s.pressurePa, boilC: s.boilC, lengthM: s.faceLength}
	if p == rim {
		env.lengthM = s.spec.Piece.ThicknessM
	}
	s.bc[p] = f.compile(&env)
	b := &s.bc[p]
	if !s.moist {
		b.evapH = 0
	}
	s.fixedPart[p] = *b
	if fresh {
		s.touchedAt[p] = s.t
	}
	if b.plate != nil && s.plateOf != b.plate {
		s.plateOf = b.plate
		s.old.plate, s.now.plate = b.plate.StartC, b.plate.StartC
	}
	if b.oils {
		s.oiled[s.sideAt(p)] = b.oil
	}
}

// plated reports whether a lumped pan takes part.
func (s *Solver) plated() bool { return s.bc[bottom].plate != nil || s.bc[top].plate != nil }

// setBoundaries brings what changes with time to t seconds after the leg's
// start; a is the implicit weight of the stage, 0 in the explicit one.
func (s *Solver) setBoundaries(t, a float64) {
	s.stageA = a
	for p := range s.bc {
		b, fixed := &s.bc[p], &s.fixedPart[p]
		if !b.changes() {
			continue
		}
		if b.riseS > 0 {
			touched := s.legStart + t - s.touchedAt[p]
			b.contactH = fixed.contactH + (fixed.touchH-fixed.contactH)*math.Exp(-touched/b.riseS)
		}
		if b.trace != nil {
			b.contactC = b.trace.at(t)
		}
		if b.airTrace != nil {
			c := b.airTrace.at(t)
			if b.traceIsFixed {
				b.fixedC = c
			} else {
				b.convC = c
				if b.radFollowsAir {
					b.radT4 = pow4(c + zeroC)
				}
			}
		}
		if b.plate != nil {
			b.plateH = b.contactH
			if b.riseS == 0 {
				b.plateH = fixed.contactH
			}
			if a == 0 {
				s.plateKnown = s.old.plate
			} else if s.stageK == 1 {
				s.plateKnown = s.old.plate + a*s.plateRate[0]
			}
		}
	}
}

func (b *boundary) changes() bool {
	return b.riseS > 0 || b.trace != nil || b.airTrace != nil || b.plate != nil
}

// plateLaw turns contact with a lumped pan into plain contact for an implicit
// stage: with the pan's own balance
//
//	C·(T_p − T*)/a = q_burner(T_p) − h_l·(T_p − T_air) − h·(T_p − T_s)
//
// solved for T_p, the piece sees h·A/(A+h)·(T₀ − T_s), A = C/a + h_l + h_b and
// T₀ = (C/a·T* + h_l·T_air + q_b + h_b·T_set)/A; h_b is the controller's gain
// inside its band, q_b its power outside.
func (s *Solver) plateLaw(b *boundary, ts float64) {
	if s.stageA == 0 {
		b.contactH, b.contactC = b.plateH, s.plateKnown
		return
	}
	sum, t0, _ := s.plateBalance(b, ts)
	b.contactH = b.plateH * sum / (sum + b.plateH)
	b.contactC = t0
}

// plateBalance returns A, T₀ and the pan temperature over a surface at ts.
func (s *Solver) plateBalance(b *boundary, ts float64) (sum, t0, plateC float64) {
	p := b.plate
	solve := func(gain, setC, power float64) {
		ca := p.HeatCapacity / s.stageA
		sum = ca + p.LossH + gain
		t0 = (ca*s.plateKnown + p.LossH*p.AirC + power + gain*setC) / sum
		plateC = (sum*t0 + b.plateH*ts) / (sum + b.plateH)
	}
	solve(0, 0, p.BurnerWM2)
	if p.SetC == nil || p.BurnerWM2 == 0 {
		return
	}
	band := orDefault(p.BandK, 5)
	if plateC <= *p.SetC-band {
		return
	}
	solve(p.BurnerWM2/band, *p.SetC, 0)
	if plateC > *p.SetC {
		solve(0, 0, 0)
	}
	return
}

// keepStage stores the solved surfaces of stage k and the pan's rate.
func (s *Solver) keepStage(k int, a float64) {
	pan, area, contact := 0.0, 0.0, 0.0
	s.stagePlate[k] = s.now.plate
	var plate *boundary
	for f := range s.faces {
		fc := &s.faces[f]
		b := &s.bc[s.at(fc.side)]
		fc.stage[k] = fc.surf
		fc.cause[k] = b.causes(&fc.surf)
		if fr := &fc.front; fr.on {
			fc.cause[k].evaporation += fr.latent * fr.area / fc.area
			fr.stageJ[k], fr.stageB[k] = fr.j, fr.boil
		}
		if b.plate != nil {
			plate = b
			area += fc.area
			contact += fc.area * fc.cause[k].contact
			if a != 0 {
				_, _, c := s.plateBalance(b, fc.surf.tempC)
				pan += fc.area * c
			}
		}
	}
	if plate == nil {
		return
	}
	if a != 0 {
		pan /= area
		s.plateRate[k] = (pan - s.plateKnown) / a
		s.now.plate = pan
		s.stagePlate[k] = pan
		return
	}
	p := plate.plate
	power := p.BurnerWM2
	if p.SetC != nil {
		share := (*p.SetC - s.plateKnown) / orDefault(p.BandK, 5)
		power *= max(0, min(1, share))
	}
	s.plateRate[k] = (power - p.LossH*(s.plateKnown-p.AirC) - contact/area) / p.HeatCapacity
}
