package trace

import "fmt"

// fatIn finds where a fat channel begins to rise, or the pan sags with
// nothing felt in the piece: something cold came into the pan, and fat is
// what mostly does.
func (g *eventGrid) fatIn(found []named, sags []sag, onUS, offUS int64) []Event {
	const (
		awayS = 12  // from what the faces tell, s
		echo  = 0.5 // of a sag just before
		echoS = 60

		panAlone = 0.9 // most confidence of a sag: other things are cold, too
	)
	for _, s := range g.fat {
		if us, ok := bends(s.t, +1, 0.5, DetectOptions{}.filled()); ok {
			return []Event{{Kind: FatIn, AtUS: us, Confidence: confidence(FatIn, 1e3), Channels: []string{s.t.Channel.ID}, Why: s.t.Channel.ID + " begins to rise"}}
		}
	}
	var out []Event
	for _, s := range sags {
		us := g.us(s.at)
		if s.z < sagLeast || us < onUS+awayS*1e6 || us > offUS-awayS*1e6 {
			continue
		}
		told := false
		for _, c := range found {
			told = told || abs(g.us(c.at)-us) < awayS*1e6
		}
		for _, o := range sags {
			d := float64(s.at-o.at) * g.dt
			told = told || d > 0 && d < echoS && s.z < echo*o.z
		}
		if told || !g.comesBack(s, sags) {
			continue
		}
		e := Event{Kind: FatIn, AtUS: us, Confidence: min(confidence(FatIn, s.amp), panAlone), Why: fmt.Sprintf("the pan sags by %.0f K and no face of the piece feels a turn", s.amp)}
		for _, p := range g.pan {
			e.Channels = append(e.Channels, p.t.Channel.ID)
		}
		out = append(out, e)
	}
	return out
}

// comesBack tells whether the pan recovers from a sag, as from something cold,
// and does not go on falling, as behind a burner that was turned down. Where
// the next sag comes too soon to tell, it counts as if it did.
func (g *eventGrid) comesBack(s sag, all []sag) bool {
	const (
		lowS, backS = 20, 65 // where it is lowest, and where it must have come back
		halfS       = 5
		share       = 0.05 // of the sag
	)
	until := g.n
	for _, o := range all {
		if o.at > s.at {
			until = min(until, o.at)
		}
	}
	half := max(1, int(halfS/g.dt))
	low := s.at + int(lowS/g.dt)
	back := min(s.at+int(backS/g.dt), until-half-1)
	if back-low < 2*half {
		return true
	}
	rise := 0.0
	for _, p := range g.pan {
		// Without what is left of the sags before.
		at := func(i int) float64 {
			v := average(p.y[i-half : i+half+1])
			for _, o := range all {
				if o.at < s.at {
					v -= o.amp * sagging(float64(i-o.at)*g.dt)
				}
			}
			return v
		}
		rise = max(rise, (at(back)-at(low))/s.amp)
	}
	return rise > share*float64(back-low)*g.dt/(backS-lowS)
}
