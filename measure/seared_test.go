package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"trivet/heat"
)

// seared is a computed cook with a sear in a hot pan, and its truth.
type seared struct {
	kind       string // "first", "last", "pan": seared before an oven, after it, all in a pan
	res        *heat.Result
	thickM     float64
	shiftM     float64
	turnsS     []float64
	movesS     []float64
	offS, endS float64
}

// searedCook draws a chop of 25 to 38 mm, a pan of 190 to 230 °C with 250 to
// 450 W/(m² K) of contact, and, but for a cook all in the pan, an oven of 120
// to 170 °C.
func searedCook(t testing.TB, kind string, seed uint64) seared {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 77))
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	c := seared{kind: kind, thickM: between(.025, .038), shiftM: between(-3e-3, 3e-3)}
	contact := between(250, 450)
	pan, air := heat.Pan{TempC: between(190, 230), Contact: contact}, heat.Air{TempC: 25}
	h := between(15, 25)
	oven := heat.Air{TempC: between(120, 170), H: &h}
	side := math.Round(between(60, 120))
	var legs []heat.Leg
	switch kind {
	case "first":
		core := between(50, 60)
		legs = []heat.Leg{leg("sear", pan, air, 2*side, side), {Name: "oven", Bottom: oven, Top: oven, Ends: heat.EndRule{CoreC: &core}}}
	case "last":
		core := between(45, 52)
		legs = []heat.Leg{{Name: "oven", Bottom: oven, Top: oven, Ends: heat.EndRule{CoreC: &core}}, leg("sear", pan, air, 2*side, side)}
	case "pan":
		gap := math.Round(between(60, 240))
		n := math.Ceil(720 / gap * squared(c.thickM/.030))
		var turns []float64
		for k := 1.0; k < n; k++ {
			turns = append(turns, k*gap)
		}
		pan.TempC = between(160, 200)
		legs = []heat.Leg{leg("pan", pan, air, n*gap, turns...)}
	}
	legs = append(legs, leg("rest", heat.Board{TempC: 23}, heat.Air{TempC: 23}, 360))
	var depths []float64
	for i := range 121 {
		depths = append(depths, float64(i)/120*c.thickM)
	}
	res, err := heat.Simulate(&heat.Spec{
		Piece:    heat.Piece{Shape: heat.Slab, ThicknessM: c.thickM, StartC: between(4, 12), Food: "pork top loin chop, lean"},
		Moisture: heat.Moisture{On: true}, Legs: legs, Output: heat.Output{EveryS: 1, DepthsM: depths},
	}, heat.Options{})
	if err != nil {
		t.Fatal(err)
	}
	c.res = res
	for _, e := range res.Events {
		if e.Kind == heat.Turned {
			c.turnsS = append(c.turnsS, e.TimeS)
		}
	}
	for i, l := range res.Legs {
		if l.Rest {
			c.offS = l.StartS
			break
		} else if i > 0 {
			c.movesS = append(c.movesS, l.StartS)
		}
	}
	c.endS = res.TimeS[len(res.TimeS)-1]
	return c
}

// at is the true temperature at a depth and time.
func (c seared) at(d, s float64) float64 {
	i := min(max(int(math.Round(s)), 0), len(c.res.TimeS)-1)
	x := min(max(d/c.thickM, 0), 1) * 120
	k := min(int(x), 119)
	return c.res.DepthC[i][k] + (x-float64(k))*(c.res.DepthC[i][k+1]-c.res.DepthC[i][k])
}

// evenShare is the true share within the band about the centre, %.
func (c seared) evenShare(s float64) float64 {
	in, last := 0.0, 0.0
	for k := range 121 {
		v := c.at(float64(k)/120*c.thickM, s) - c.at(c.thickM/2, s)
		if k > 0 {
			in += inside(last, v, evenBandK)
		}
		last = v
	}
	return 100 * in / 120
}

// probe is a probe of eight sensors spread over the piece, read at 1 Hz.
func (c seared) probe(noise float64, seed uint64, faces bool) []ProfileSensor {
	r := rand.New(rand.NewPCG(seed, 78))
	var out []ProfileSensor
	add := func(id string, d, shift float64, on bool, rel float64) {
		s := ProfileSensor{ID: id, DepthM: d, OnProbe: on, RelativeUK: rel}
		bias := 0.1 * r.NormFloat64()
		if !on {
			bias = rel * r.NormFloat64()
		}
		for t := -20.0; t <= c.endS; t++ {
			s.TimeS = append(s.TimeS, t)
			s.C = append(s.C, math.Round((c.at(d+shift, t)+bias+noise*r.NormFloat64())*10)/10)
		}
		out = append(out, s)
	}
	if faces {
		add("core", c.thickM/2, 0, false, 0.1)
		for i, x := range []float64{5. / 30, 10. / 30, 20. / 30, 25. / 30} {
			add("d"+string(rune('1'+i)), x*c.thickM, c.shiftM, true, 0.1)
		}
		add("A", 0, 0, false, 0.6)
		add("B", c.thickM, 0, false, 0.6)
		return out
	}
	for i, x := range eight {
		add("d"+string(rune('1'+i)), x/.030*c.thickM, c.shiftM, true, 0.1)
	}
	return out
}

func (c seared) options() ProfileOptions {
	return ProfileOptions{ThicknessM: c.thickM, TurnsS: c.turnsS, ChangesS: c.movesS, OffS: c.offS}
}

// Seared food boils at its faces, and a dry crust that conducts otherwise
// grows there. The centre, and how much of the piece is about as warm, must be
// told from the wet food below it.
func TestProfileOfSearedCooks(t *testing.T) {
	for _, c := range []struct {
		kind  string
		faces bool
	}{
		{"first", false}, {"first", true}, {"last", false}, {"last", true}, {"pan", false}, {"pan", true},
	} {
		what := map[string]string{"first": "seared, then oven", "last": "oven, then seared", "pan": "all in the pan"}[c.kind] + ", a probe of eight"
		if c.faces {
			what = what[:len(what)-len("a probe of eight")] + "core, four on a probe, both faces"
		}
		t.Run(what, func(t *testing.T) {
			const cooks = 8
			var squares, n, covered, even, mostRMS, most, misfit, shiftZ float64
			far := 0
			for seed := range uint64(cooks) {
				k := searedCook(t, c.kind, seed)
				pr, err := FitProfile(k.probe(0.3, seed, c.faces), k.options())
				if err != nil {
					t.Fatal(err)
				}
				sum, m, worst := 0.0, 0.0, 0.0
				for i, s := range pr.TimeS {
					if s < 20 {
						continue
					}
					e := math.Abs(pr.CoreC[i] - k.at(k.thickM/2, s))
					sum, m, worst = sum+e*e, m+1, max(worst, e)
					if e <= 2*pr.CoreU[i] {
						covered++
					}
				}
				squares, n = squares+sum, n+m
				mostRMS, most, misfit = max(mostRMS, math.Sqrt(sum/m)), max(most, worst), max(misfit, pr.MisfitK)
				if worst > 0.5 {
					far++
				}
				shiftZ = max(shiftZ, math.Abs(pr.ShiftM-k.shiftM)/math.Hypot(pr.ShiftUM, 0.1e-3))
				even += squared(evenShareOf(pr, k.offS)-k.evenShare(k.offS)) / cooks
			}
			t.Logf("centre off by %.2f K (root mean square), %.2f in the worst cook, %.2f K at most; %.1f %% within 2 u; even_share off by %.1f points; misfit %.2f K at most; shift within %.1f u",
				math.Sqrt(squares/n), mostRMS, most, 100*covered/n, math.Sqrt(even), misfit, shiftZ)
			if mostRMS > 0.2 || most > 0.7 || far > 1 || covered < 0.9*n || math.Sqrt(even) > 3 || misfit > goodMisfitK || shiftZ > 5 {
				t.Errorf("beyond 0.2 K (root mean square of a cook), 0.5 K at most, 90 %% within 2 u, 3 points; %d cooks beyond 0.5 K", far)
			}
		})
	}
}

// evenShareOf a fitted profile, %.
func evenShareOf(p *Profile, s float64) float64 {
	depth, c, _ := p.Through(s)
	core, _, _ := p.Core(s)
	in := 0.0
	for i := 1; i < len(c); i++ {
		in += inside(c[i-1]-core, c[i]-core, evenBandK) * (depth[i] - depth[i-1])
	}
	return 100 * in
}

func BenchmarkFitProfileSeared(b *testing.B) {
	c := searedCook(b, "last", 2)
	sensors := c.probe(0.3, 2, false)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := FitProfile(sensors, c.options()); err != nil {
			b.Fatal(err)
		}
	}
}
