package heat

// causes is the heat flux of a face by cause, W/m², into the piece.
type causes struct {
	contact, convection, radiation, fat, condensation, prescribed float64
	evaporation                                                   float64 // out of the piece
}

// causes splits the flux of a solved surface. Its parts sum to
// surf.q + evaporation.
func (b *boundary) causes(surf *surface) causes {
	ts := surf.tempC
	if b.fixedH != 0 {
		return causes{prescribed: surf.q}
	}
	c := causes{
		contact:      b.contactH * (b.contactC - ts),
		fat:          b.fatH * (b.fatC - ts),
		condensation: b.steamH * (b.steamC - ts),
		prescribed:   b.flux,
	}
	if latent := latentHeat(ts) * surf.j; latent >= 0 {
		c.evaporation = latent
	} else {
		c.condensation -= latent
	}
	if b.radK != 0 {
		c.radiation = b.radK * (b.radT4 - pow4(ts+zeroC))
	}
	// Convection takes the rest, so that the parts sum to the flux exactly.
	c.convection = surf.q + c.evaporation - c.contact - c.fat - c.condensation - c.prescribed - c.radiation
	if b.convH == 0 && b.naturalC == 0 {
		// No convection here: rounding belongs to the largest part instead.
		if b.contactH != 0 {
			c.contact += c.convection
		} else {
			c.prescribed += c.convection
		}
		c.convection = 0
	}
	return c
}

func (f *FaceHeat) add(c *causes, x float64) {
	f.Contact += x * c.contact
	f.Convection += x * c.convection
	f.Radiation += x * c.radiation
	f.Fat += x * c.fat
	f.Condensation += x * c.condensation
	f.Prescribed += x * c.prescribed
}

func (f *FaceHeat) sum() {
	f.In = f.Contact + f.Convection + f.Radiation + f.Fat + f.Condensation + f.Prescribed
}
