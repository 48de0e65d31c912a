package measure

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

func lines(v ...[2]float64) []BudgetLine {
	var out []BudgetLine
	for _, x := range v {
		out = append(out, BudgetLine{Source: Source{StdU: x[0]}, Nu: x[1]})
	}
	return out
}

// JCGM 100:2008, G.4.1 example (three factors, relative uncertainties 0.25,
// 0.57 and 0.82 % from 10, 5 and 15 repeats: u 1.03 %, ν 19.0, t95 2.09) and
// annex H.1 (end gauge: 25 nm, ν 18; 9.7 nm, ν 25.6; 2.9 nm, ν 50; 16.6 nm,
// ν 2: u 32 nm, ν 16.7, t99(16) 2.92, U 93 nm). The document's figures are
// quoted from memory; each follows from its inputs by the formulas tested.
func TestWorkedExamplesOfTheGUM(t *testing.T) {
	g4 := lines([2]float64{0.25, 9}, [2]float64{0.57, 4}, [2]float64{0.82, 14})
	if u := math.Hypot(math.Hypot(0.25, 0.57), 0.82); math.Abs(u-1.03) > 0.005 {
		t.Errorf("u %.4f %%", u)
	}
	if nu := EffectiveNu(g4); math.Abs(nu-19.0) > 0.1 {
		t.Errorf("ν %.2f, want 19.0", nu)
	}
	if k := CoverageFactor(0.95, EffectiveNu(g4)); math.Abs(k-2.09) > 0.005 {
		t.Errorf("t95 %.3f, want 2.09", k)
	}
	// The four sources make 31.7 nm; with second-order terms u is 32 nm.
	h1 := lines([2]float64{25, 18}, [2]float64{9.7, 25.6}, [2]float64{2.9, 50}, [2]float64{16.6, 2})
	u := 0.0
	for _, l := range h1 {
		u = math.Hypot(u, l.StdU)
	}
	nu := EffectiveNu(h1)
	if math.Abs(u-31.7) > 0.1 || math.Abs(nu-16.7) > 0.1 {
		t.Errorf("u %.2f nm, ν %.2f", u, nu)
	}
	if k := CoverageFactor(0.99, nu); math.Abs(k-2.92) > 0.01 || math.Abs(k*32-93) > 1 {
		t.Errorf("t99 %.3f, U %.1f nm", k, k*32)
	}
}

// Student's t at the fraction within two standard deviations of a normal
// distribution, 95.45 % as JCGM 100:2008 rounds it in table G.2: stats.t.ppf of
// SciPy 1.10.1 at 0.977249868051821.
func TestCoverageFactor(t *testing.T) {
	for nu, want := range map[float64]float64{1: 13.967730199498751, 2: 4.526536687713131, 5: 2.648649430702711,
		10: 2.283678202446306, 20: 2.1330254804541497, 50: 2.0512481700520873, math.Inf(1): 2} {
		if k := CoverageFactor(coverage, nu); math.Abs(k/want-1) > 1e-8 {
			t.Errorf("ν %g: k %.9f, want %.9f", nu, k, want)
		}
	}
	if CoverageFactor(coverage, 5.9) != CoverageFactor(coverage, 5) {
		t.Error("degrees of freedom are not rounded down")
	}
}

// A steak's core at the pull, half thickness 12.7 mm, 30 K from centre to
// face, computed by hand: calibration ±0.3 K, resolution 0.1 K, repeat
// 0.05 K, placement ±2 mm (SD of b x² for x even within ±d: 2bd²/√45), stem
// ±0.25 K, lag 0.1 K: u 0.337 K, U 0.67 K.
func TestBudgetOfACore(t *testing.T) {
	b := 30 / (12.7 * 12.7)
	r := Response{Unit: "°C", Value: 60, Budget: []Source{
		{"sensor, class", "B", rectangular(0.3)}, {"resolution of the log", "B", 0.1 / math.Sqrt(12)}, {"repeat", "A", 0.05},
		{"probe within ±2 mm", "B", b * 4 * 2 / math.Sqrt(45)}, {"stem", "B", rectangular(0.25)}, {"lag", "B", 0.1},
	}}
	r.StdU = combine(r.Budget)
	u, k := r.Expanded()
	if math.Abs(r.StdU-0.337) > 0.001 || math.Abs(u-0.67) > 0.006 || math.Abs(k-2) > 0.001 {
		t.Errorf("u %.4f, U %.4f, k %.3f", r.StdU, u, k)
	}
	table := r.Table()
	if table[0].Name != "probe within ±2 mm" || math.Abs(table[0].Share-0.434) > 0.005 {
		t.Errorf("%+v", table[0])
	}
	if h := r.Halving(); !strings.Contains(h, "no single source halves it") || !strings.Contains(h, "three sensors") {
		t.Error(h)
	}
	// Bringing the dominating source to the factor told halves u.
	r = Response{Budget: []Source{{"a", "B", 3}, {"b", "B", 1}}, StdU: math.Sqrt(10)}
	f := math.Sqrt(1 - 0.75/0.9)
	if got := math.Hypot(3*f, 1) / r.StdU; math.Abs(got-0.5) > 1e-12 || !strings.Contains(r.Halving(), "41 %") {
		t.Errorf("%.4f; %s", got, r.Halving())
	}
}

// Four standard normal inputs that are added, the first case of JCGM
// 101:2008, 9.2 (figures from memory; they follow exactly, the sum being
// normal with a standard deviation of 2): u(y) 2.00, 95 % within ±3.92, so
// 95.45 % within ±4.00.
func TestMonteCarloOfASum(t *testing.T) {
	d := monteCarlo("sum", []float64{1, 1, 1, 1}, func(e []float64) float64 { return e[0] + e[1] + e[2] + e[3] })
	if math.Abs(d.sd-2) > 0.1 || math.Abs(d.top-4) > 0.3 || math.Abs(d.low+4) > 0.3 {
		t.Errorf("%+v", d)
	}
}

// Monte Carlo agrees with the linear propagation where the function is
// straight, and draws the same each time (JCGM 101:2008, clause 8).
func TestMonteCarlo(t *testing.T) {
	f := func(e []float64) float64 { return 3 + 2*e[0] - e[1] }
	a, b := monteCarlo("x", []float64{0.5, 0.2}, f), monteCarlo("x", []float64{0.5, 0.2}, f)
	want := math.Hypot(1, 0.2)
	if a != b || math.Abs(a.sd/want-1) > 0.05 || math.Abs(a.top-2*want) > 0.15 || math.Abs(a.low+2*want) > 0.15 {
		t.Errorf("%+v, want sd %.3f", a, want)
	}
	// |e|: mean √(2/π), SD √(1 − 2/π); an interval that is not even.
	d := monteCarlo("y", []float64{1}, func(e []float64) float64 { return math.Abs(e[0]) })
	if math.Abs(d.sd-math.Sqrt(1-2/math.Pi)) > 0.03 || d.low < 0 || math.Abs(d.top-2.28) > 0.15 {
		t.Errorf("%+v", d)
	}
}

// What is stored comes back whole.
func TestResponseThroughJSON(t *testing.T) {
	r := Response{Name: "x", Unit: "s", Value: 12, StdU: 2, Budget: []Source{{"scatter", "A", 2}}, draws: drawn{2000, 1.5, -2, 4}}
	r.withNu("scatter", 3)
	b, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var back Response
	if err := json.Unmarshal(b, &back); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(r, back, cmp.AllowUnexported(Response{}, drawn{}), cmpopts.EquateEmpty()); d != "" {
		t.Error(d)
	}
	if !strings.Contains(string(b), `"expanded_u":`) || !strings.Contains(string(b), `"nu_eff":3`) {
		t.Errorf("%s", b)
	}
}
