package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"trivet/trace"
)

// detectionCooks are cooks computed with boiling and drip: thickness, pan,
// number and spacing of turns, probe depth and sensors vary: 40 cooks, 152
// turns. The detector's thresholds were chosen on cooks drawn with another
// seed.
func detectionCooks(noise float64, seed uint64) []simulated {
	r := rand.New(rand.NewPCG(seed, 8))
	layouts := [][]float64{
		{.003, .0065, .010, .0135, .0165, .020, .0235, .027}, // eight along a probe
		{.003, .009, .015, .021, .027},                       // five
		{.0, .015, .030},                                     // both faces and the core
	}
	var out []simulated
	for i := range 40 {
		depths := slices.Clone(layouts[i%len(layouts)])
		thick := 0.030
		n := []int{1, 2, 3, 5, 8}[i%5]
		gap := []float64{240, 180, 120, 75, 45}[i%5] * (0.85 + 0.3*r.Float64())
		c := simulated{thickM: thick, panC: 150 + 60*r.Float64(), noiseK: noise, leadS: 30 + r.IntN(60), depths: depths, seed: uint64(i),
			probeShiftM: []float64{0, 1e-3, -1e-3}[r.IntN(3)]}
		if i%3 == 2 {
			c.probeShiftM = 0
		}
		at := 0.0
		for range n {
			at += math.Round(gap * (0.9 + 0.2*r.Float64()))
			c.turnsS = append(c.turnsS, at)
		}
		c.offS = at + math.Round(gap)
		c.endS = c.offS + 300
		out = append(out, c)
	}
	return out
}

// tally counts true events, those found within 3 s and within 8 s, those
// offered, and those offered farther than 8 s from a true one.
type tally struct{ truth, found, roughly, offered, wrong int }

func (t tally) String() string {
	return fmt.Sprintf("%d of %d within 3 s (%.1f %%), %d within 8 s (%.1f %%), %d of %d offered wrong (%.1f %%)", t.found, t.truth,
		100*float64(t.found)/float64(t.truth), t.roughly, 100*float64(t.roughly)/float64(t.truth), t.wrong, t.offered, 100*float64(t.wrong)/float64(max(t.offered, 1)))
}

func detectAll(t testing.TB, noise float64, pan bool, seed uint64) map[string]*tally {
	out := map[string]*tally{trace.HeatOn: {}, trace.Turn: {}, trace.OffHeat: {}}
	for i, c := range detectionCooks(noise, seed) {
		_, traces := c.cook(t)
		var in []*trace.Trace
		for k := range traces {
			tr := &traces[k]
			if tr.Channel.Place == trace.Pan && !pan {
				continue
			}
			if i%3 == 2 && tr.Channel.Place == trace.Depth { // both faces and the core
				switch tr.Channel.DepthM {
				case 0:
					tr.Channel.Place, tr.Channel.Side = trace.Surface, "A"
				case 0.030:
					tr.Channel.Place, tr.Channel.Side = trace.Surface, "B"
				default:
					tr.Channel.Place = trace.Core
				}
			}
			in = append(in, tr)
		}
		truth := map[string][]float64{trace.HeatOn: {0}, trace.Turn: c.turnsS, trace.OffHeat: {c.offS}}
		got := map[string][]float64{}
		for _, e := range trace.Detect(in, trace.DetectOptions{ThicknessM: c.thickM}) {
			got[e.Kind] = append(got[e.Kind], float64(e.AtUS)/1e6-float64(c.leadS))
		}
		for kind, sum := range out {
			sum.truth += len(truth[kind])
			sum.offered += len(got[kind])
			for _, at := range truth[kind] {
				if slices.ContainsFunc(got[kind], func(g float64) bool { return math.Abs(g-at) <= 3 }) {
					sum.found++
				}
				if slices.ContainsFunc(got[kind], func(g float64) bool { return math.Abs(g-at) <= 8 }) {
					sum.roughly++
				}
			}
			for _, g := range got[kind] {
				if !slices.ContainsFunc(truth[kind], func(at float64) bool { return math.Abs(g-at) <= 8 }) {
					sum.wrong++
				}
			}
		}
		if testing.Verbose() && len(got[trace.Turn]) != len(c.turnsS) {
			t.Logf("cook %d: turns %v, offered %v; off %v %v", i, c.turnsS, got[trace.Turn], c.offS, got[trace.OffHeat])
		}
	}
	return out
}

// The figures of docs/logs.md.
func TestDetectionOnComputedCooks(t *testing.T) {
	for _, c := range []struct {
		noise float64
		pan   bool
		heat  float64 // least share of heat-on and off-heat found within 3 s
	}{{0.1, true, .97}, {0.5, true, .9}, {0.1, false, .9}, {0.5, false, .9}} {
		t.Run(fmt.Sprintf("noise %.1f K, pan %t", c.noise, c.pan), func(t *testing.T) {
			t.Parallel()
			all := detectAll(t, c.noise, c.pan, 77)
			for kind, least := range map[string]float64{trace.Turn: .95, trace.HeatOn: c.heat, trace.OffHeat: c.heat} {
				sum := all[kind]
				t.Logf("%s: %s", kind, sum)
				if got := float64(sum.found) / float64(sum.truth); got < least {
					t.Errorf("%s: %.3f found", kind, got)
				}
				if got := float64(sum.wrong) / float64(sum.offered); kind == trace.Turn && got > .02 || got > .05 {
					t.Errorf("%s: %.3f of the offers are wrong", kind, got)
				}
			}
		})
	}
}
