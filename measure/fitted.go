package measure

import (
	"math"
	"slices"

	"trivet/fault"
	"trivet/steam"
	"trivet/study"
	"trivet/trace"
)

// Largest root mean square misfits with which a fitted profile is used, K;
// beyond them the sensors are taken as they are. Five sensors inside the
// piece hold the smooth remainder even where steady contacts describe the
// cook poorly (in cooks computed with boiling and drip the centre stays
// within 0.7 K at a misfit of 2.4 K); a sensor meant for the core stands
// against anything but a good fit.
const (
	goodMisfitK = 1.5
	mostMisfitK = 3
)

// contactK is how far a sensor on a face may be off for its contact, half
// width, K (our choice, no source).
const contactK = 1

// amongSensorsK is the most that sensors without a check are taken to differ
// among themselves, standard uncertainty, K: what those of one log share of
// their class drops out of a profile (our choice, no source; a check against
// ice says better). A sensor on a face may be of another kind: what its class
// has beyond this stands in budgets that the faces enter.
const amongSensorsK = 0.3

// newFit fits a profile to the sensors of the cook, see [view.fit].
func (v *view) newFit() *Profile {
	thick, known := v.thicknessM()
	all := v.held(trace.Core, trace.Depth, trace.Surface)
	if !known || len(all) < MinProfileSensors {
		return nil
	}
	opt := ProfileOptions{ThicknessM: thick, ThicknessUM: v.thicknessU(), BoilingC: v.boilingC(), OffS: math.NaN()}
	for _, m := range v.in.Cook.Marks {
		at := float64(m.AtUS) / 1e6
		switch m.Kind {
		case study.Turn:
			opt.TurnsS = append(opt.TurnsS, at)
		case study.FatIn, study.SpooningStart, study.SpooningStop:
			opt.ChangesS = append(opt.ChangesS, at)
		case study.OffHeat:
			opt.OffS = at
		case study.Cut, study.Served:
			if opt.EndS == 0 || at < opt.EndS {
				opt.EndS = at
			}
		}
	}
	var sensors []ProfileSensor
	for _, s := range all {
		p := ProfileSensor{ID: s.ch.ID, TimeS: s.timeS, C: s.value, RelativeUK: s.ch.CheckedUK}
		if p.RelativeUK == 0 {
			p.RelativeUK = min(amongSensorsK, calibration(s.ch, 50).StdU)
		}
		switch s.ch.Place {
		case trace.Core:
			p.DepthM = thick / 2
		case trace.Depth:
			p.DepthM, p.OnProbe = s.ch.DepthM, true
		case trace.Surface:
			if s.ch.Side == "B" {
				p.DepthM = thick
			}
			p.RelativeUK = math.Hypot(p.RelativeUK, rectangular(contactK))
		}
		sensors = append(sensors, p)
	}
	opt.ChangesS = append(opt.ChangesS, v.movesNoted()...)
	pr, err := FitProfile(sensors, opt)
	if err != nil {
		v.notes = append(v.notes, fault.Notef("profile-refused", "no profile was fitted to the sensors: %s", err))
		return nil
	}
	pr = v.withChanges(pr, sensors, &opt)
	left := ""
	if !pr.good(sensors, thick) {
		if pr, left = withoutWorst(pr, sensors, opt); left == "" {
			v.notes = append(v.notes, fault.Notef("profile-refused",
				"no profile that conducts heat between steady faces fits the %d sensors (%.1f K off in all, %s by %.1f K and most at %.0f s from heat on): they are taken as they are; a mark that is missing or late there, or a wrong depth does that",
				pr.Sensors, pr.MisfitK, pr.worst, pr.worstK, pr.worstS))
			return nil
		}
	}
	if left != "" {
		v.notes = append(v.notes, fault.Notef("profile-without",
			"sensor %s does not go with a profile that conducts heat through the others and was left out of the fit; check its depth", left))
	}
	v.notes = append(v.notes, fault.Notef("profile-fitted", "core and faces are read from a heat-equation profile fitted to %d sensors (misfit %.2g K)", pr.Sensors, pr.MisfitK))
	v.notes = append(v.notes, pr.Notes...)
	return pr
}

// boilingC is where water boils in the kitchen, °C: at the altitude that the
// register of instruments states for its checks, by the standard atmosphere; 0
// where it states none.
func (v *view) boilingC() float64 {
	for _, x := range v.in.Instruments {
		if x.AltitudeM != 0 {
			return steam.BoilingPointC(steam.PressureAtAltitudePa(x.AltitudeM))
		}
	}
	return 0
}

// good tells whether a profile fits its sensors well enough to be read.
func (p *Profile) good(sensors []ProfileSensor, thicknessM float64) bool {
	limit := float64(goodMisfitK)
	inside, core := 0, false
	for _, s := range sensors {
		if s.OnProbe {
			inside++
		} else if s.DepthM > 0.1e-3 && thicknessM-s.DepthM > 0.1e-3 {
			core = true
		}
	}
	if inside >= 5 && !core {
		limit = mostMisfitK
	}
	return p.MisfitK <= limit
}

// withoutWorst fits a profile to all sensors but the one that it misses most,
// and names that one where it helps: the fit is good then, and at least twice
// as good. A core is what the fit is for: it is not left out.
func withoutWorst(all *Profile, sensors []ProfileSensor, opt ProfileOptions) (pr *Profile, left string) {
	fewer := slices.DeleteFunc(slices.Clone(sensors), func(s ProfileSensor) bool { return s.ID == all.worst && s.OnProbe })
	if len(fewer) == len(sensors) || len(fewer) < MinProfileSensors {
		return all, ""
	}
	if p, err := FitProfile(fewer, opt); err == nil && p.good(fewer, opt.ThicknessM) && p.MisfitK < all.MisfitK/2 {
		return p, all.worst
	}
	return all, ""
}

// thicknessU is the standard uncertainty of the piece's thickness: from the
// spread of its readings, 0.3 mm at least (a ruler on something soft).
func (v *view) thicknessU() float64 {
	ts := v.in.Piece.ThicknessM
	u := 0.3e-3
	if n := float64(len(ts)); n > 1 {
		ss, m := 0.0, mean(ts)
		for _, t := range ts {
			ss += squared(t - m)
		}
		u = max(u, math.Sqrt(ss/(n-1)/n))
	}
	return u
}

// fittedCore is the centre of the profile as a channel. Its calibration is
// that of the sensor meant for the core, else of the one nearest to it.
func (v *view) fittedCore(p *Profile) series {
	all := v.channels(trace.Core, trace.Depth, trace.Surface)
	best := slices.MinFunc(all, func(a, b series) int {
		far := func(s series) float64 {
			switch s.ch.Place {
			case trace.Core:
				return -1
			case trace.Depth:
				return math.Abs(s.ch.DepthM - p.ThicknessM/2)
			}
			return 1
		}
		if d := far(a) - far(b); d != 0 {
			return int(math.Copysign(1, d))
		}
		return 0
	})
	out := best
	out.ch.Place = trace.Core
	out.fit = p
	out.timeS, out.value = p.TimeS, p.CoreC
	out.everyS = p.TimeS[1] - p.TimeS[0]
	out.longS = out.everyS
	return out
}

// fittedSurface is the mean of both faces of the profile.
func (v *view) fittedSurface(p *Profile, t float64) (Response, bool) {
	a, ua, okA := p.Face(0, t)
	b, ub, okB := p.Face(1, t)
	if !okA || !okB {
		return Response{}, false
	}
	s := v.fittedCore(p)
	m := (a + b) / 2
	return Response{Unit: "°C", Value: m, ResolutionStep: s.stepU, Budget: []Source{
		v.worstCalibration(s.ch, m), {"fit of the profile, carried to the faces", "A", math.Hypot(ua, ub) / 2},
	}}, true
}

// worstCalibration is that of the sensor known worst among those on the faces
// and the one given: where a face has a sensor the profile follows it there.
func (v *view) worstCalibration(ch trace.Channel, tC float64) Source {
	worst := calibration(ch, tC)
	for _, s := range v.held(trace.Surface) {
		if c := calibration(s.ch, tC); c.StdU > worst.StdU {
			worst = c
		}
	}
	return worst
}

// fittedSpread is the hottest less the coldest of the profile.
func (v *view) fittedSpread(p *Profile, t float64) (Response, bool) {
	depth, c, ok := p.Through(t)
	if !ok {
		return Response{}, false
	}
	hot, cold := 0, 0
	for i := range c {
		if c[i] > c[hot] {
			hot = i
		}
		if c[i] < c[cold] {
			cold = i
		}
	}
	s := v.fittedCore(p)
	u := func(i int) float64 {
		x := depth[i]
		_, core, _ := p.Core(t)
		_, near, _ := p.Face(int(math.Round(x)), t)
		share := math.Abs(2*x - 1) // towards a face
		return core + share*(near-core)
	}
	gain := Source{"sensor, slope of its calibration (taken as 0.5 %)", "B", 0.005 * (c[hot] - c[cold])}
	r := Response{Unit: "K", Value: c[hot] - c[cold], ResolutionStep: s.stepU, Budget: []Source{
		{"fit of the profile, hottest place", "A", u(hot)}, {"fit of the profile, coldest place", "A", u(cold)}, gain,
	}}
	// A face's own sensor does not share its error with those inside.
	if face := v.worstCalibration(s.ch, c[hot]); face.StdU > calibration(s.ch, c[hot]).StdU {
		r.Budget = append(r.Budget, face)
	}
	return r, true
}

// fittedEvenShare is the share of the fitted profile within the band about
// the core. The share is no smooth function of the temperatures, so its
// uncertainty is drawn: see [monteCarlo].
func (v *view) fittedEvenShare(p *Profile, t float64) (Response, bool) {
	depth, c, ok := p.Through(t)
	if !ok {
		return Response{}, false
	}
	core, uCore, _ := p.Core(t)
	_, uA, _ := p.Face(0, t)
	_, uB, _ := p.Face(1, t)
	band := v.bandK()
	share := func(errCore, errA, errB float64) float64 {
		at := func(i int) float64 {
			x := depth[i]
			// Errors of the centre and the faces, joined by a parabola.
			l := errA*2*(x-0.5)*(x-1) + errCore*4*x*(1-x) + errB*2*x*(x-0.5)
			return c[i] + l - core - errCore
		}
		in := 0.0
		last := at(0)
		for i := 1; i < len(c); i++ {
			next := at(i)
			in += inside(last, next, band) * (depth[i] - depth[i-1])
			last = next
		}
		return 100 * in
	}
	value := share(0, 0, 0)
	u := monteCarlo("even_share", []float64{uCore, uA, uB}, func(e []float64) float64 { return share(e[0], e[1], e[2]) })
	r := Response{Unit: "%", Value: value, ResolutionStep: 0.1, Budget: []Source{
		{"fit of the profile at the core and both faces (Monte Carlo)", "A", u.sd},
		{"thickness", "B", value * p.ThicknessUM / p.ThicknessM},
		{"depth of the crusts, taken as steady (a third of one)", "B", 100 * p.CrustM / 3 / p.ThicknessM},
	}, draws: u}
	if a, b := v.faceClassU(p, "A", t), v.faceClassU(p, "B", t); a > 0 || b > 0 {
		class := monteCarlo("even_share faces", []float64{a, b}, func(e []float64) float64 { return share(0, e[0], e[1]) })
		r.Budget = append(r.Budget, Source{"sensors on the faces, class (Monte Carlo)", "B", class.sd})
	}
	return r, true
}

// faceClassU is what the class of the sensor on a face has beyond what
// sensors are taken to differ among themselves, standard uncertainty, K; 0 where
// it was checked or there is none.
func (v *view) faceClassU(p *Profile, side string, t float64) float64 {
	faces := v.held(trace.Surface)
	if len(faces) < 2 && p.CrustM == 0 {
		return 0 // a single sensor does not tell its face
	}
	for _, s := range faces {
		if s.ch.Side != side || s.ch.CheckedUK > 0 {
			continue
		}
		tC, _, _ := p.Face(int(side[0]-'A'), t)
		u := calibration(s.ch, tC).StdU
		return math.Sqrt(max(0, u*u-squared(min(amongSensorsK, u))))
	}
	return 0
}

// inside is the share of a straight line from a to b that lies within ±band.
func inside(a, b, band float64) float64 {
	if a > b {
		a, b = b, a
	}
	if b-a < 1e-12 {
		if math.Abs(a) <= band {
			return 1
		}
		return 0
	}
	return max(0, min(b, band)-max(a, -band)) / (b - a)
}
