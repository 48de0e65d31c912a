package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"trivet/heat"
	"trivet/trace"
)

// simulated is a cook computed by the heat and moisture model: a chop in a
// pan, turned at the times given, then on a board.
type simulated struct {
	thickM, panC float64
	turnsS       []float64
	offS, endS   float64
	probeShiftM  float64
	noiseK       float64
	leadS        int
	depths       []float64
	seed         uint64
	shape        heat.Shape
	stepS        float64
}

// cook returns the truth and what the sensors of the probe and the pan read,
// 1 Hz from leadS before heat on, in steps of 0.1 K.
func (c simulated) cook(t testing.TB) (*heat.Result, []trace.Trace) {
	t.Helper()
	off, rest := c.offS, c.endS-c.offS
	shape := c.shape
	if shape == "" {
		shape = heat.Slab
	}
	var at []float64
	for _, d := range c.depths {
		at = append(at, min(max(d+c.probeShiftM, 0), c.thickM))
	}
	every := c.stepS
	if every == 0 {
		every = 1
	}
	spec := &heat.Spec{
		Piece:    heat.Piece{Shape: shape, ThicknessM: c.thickM, DiameterM: 0.09, StartC: 5, Food: "pork top loin chop, lean"},
		Moisture: heat.Moisture{On: true},
		Legs: []heat.Leg{
			{Name: "pan", Bottom: heat.Pan{TempC: c.panC}, Top: heat.Air{TempC: 30}, Turn: &heat.TurnRule{AtS: c.turnsS}, Ends: heat.EndRule{TimeS: &off}},
			{Name: "rest", Rest: true, Bottom: heat.Board{TempC: 23}, Top: heat.Air{TempC: 23}, Ends: heat.EndRule{TimeS: &rest}},
		},
		Output: heat.Output{EveryS: every, DepthsM: at},
	}
	if len(c.turnsS) == 0 {
		spec.Legs[0].Turn = nil
	}
	res, err := heat.Simulate(spec, heat.Options{})
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(c.seed, 9))
	var out []trace.Trace
	add := func(ch trace.Channel, f func(i int) float64) {
		tr := trace.Trace{Channel: ch, Elapsed: true, Quantum: 0.1}
		for k := -c.leadS; k < len(res.TimeS); k++ {
			i := max(k, 0)
			tr.TimesUS = append(tr.TimesUS, int64(math.Round((float64(k+c.leadS))*every*1e6)))
			v := f(i)
			if k < 0 {
				v = 5
				if ch.Place == trace.Pan {
					v = c.panC
				}
			}
			tr.Counts = append(tr.Counts, int64(math.Round((v+c.noiseK*r.NormFloat64())*10)))
		}
		out = append(out, tr)
	}
	for j, d := range c.depths {
		add(trace.Channel{ID: "d" + string(rune('a'+j)), Place: trace.Depth, Unit: trace.DegC, DepthM: d}, func(i int) float64 { return res.DepthC[i][j] })
	}
	add(trace.Channel{ID: "pan", Place: trace.Pan, Unit: trace.DegC}, func(i int) float64 {
		// The pan sags under the piece and each turned side, and comes back.
		s := res.TimeS[i]
		if s >= off {
			return c.panC
		}
		last := 0.0
		for _, t := range c.turnsS {
			if t <= s {
				last = t
			}
		}
		return c.panC - 15*math.Exp(-(s-last)/60)*(1-math.Exp(-(s-last)/8))
	})
	return res, out
}

// A cook with boiling, drip and evaporation is no pure conduction. The fit
// must still read the core, or say that it cannot.
func TestProfileOfASimulatedCook(t *testing.T) {
	for _, c := range []simulated{
		{thickM: .030, panC: 180, turnsS: []float64{240, 480}, offS: 720, endS: 1200, probeShiftM: 2e-3, noiseK: 0.3, depths: eight, seed: 1},
		{thickM: .030, panC: 200, turnsS: []float64{90, 180, 270, 360, 450, 540, 630}, offS: 700, endS: 1200, probeShiftM: -2e-3, noiseK: 0.3, depths: eight, seed: 2},
		{thickM: .030, panC: 150, turnsS: []float64{300}, offS: 700, endS: 1200, probeShiftM: 3e-3, noiseK: 0.3, depths: eight, seed: 3},
	} {
		c.leadS = 30
		res, traces := c.cook(t)
		var sensors []ProfileSensor
		for _, tr := range traces {
			if tr.Channel.Place != trace.Depth {
				continue
			}
			ts, vs := tr.Points(30e6)
			sensors = append(sensors, ProfileSensor{ID: tr.Channel.ID, DepthM: tr.Channel.DepthM, OnProbe: true, TimeS: ts, C: vs})
		}
		pr, err := FitProfile(sensors, ProfileOptions{ThicknessM: c.thickM, TurnsS: c.turnsS, OffS: c.offS})
		if err != nil {
			t.Fatal(err)
		}
		var worst, z, naive float64
		for k, s := range pr.TimeS {
			if s < 30 {
				continue
			}
			i := min(int(s), len(res.CoreC)-1)
			e := math.Abs(pr.CoreC[k] - res.CoreC[i])
			worst, z = max(worst, e), max(z, e/pr.CoreU[k])
			naive = max(naive, math.Abs(min(res.DepthC[i][3], res.DepthC[i][4])-res.CoreC[i]))
		}
		at := int(c.offS)
		pull, u, _ := pr.Core(c.offS)
		t.Logf("pan %g °C: core off by %.2f K at most (%.1f u; the nearest sensor by %.2f K), at the pull %.2f ± %.2f for %.2f °C; shift %.2f ± %.2f for %.1f mm; misfit %.2f K", c.panC,
			worst, z, naive, pull, u, res.CoreC[at], 1e3*pr.ShiftM, 1e3*pr.ShiftUM, 1e3*c.probeShiftM, pr.MisfitK)
		if worst > 0.7 || worst > naive/2 || math.Abs(pull-res.CoreC[at]) > 0.3 {
			t.Errorf("core off by %.2f K, at the pull by %.2f K; the nearest sensor by %.2f K", worst, pull-res.CoreC[at], naive)
		}
	}
}
