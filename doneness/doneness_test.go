package doneness_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"trivet/doneness"
)

func within(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s = %.6g, want %.6g ± %g %%", what, got, want, rel*100)
	}
}

// Myoglobin from k0 7.98e43 1/min, E 290 kJ/mol (Geileskey et al. 1998 as
// restated in a thesis), worked out apart from this package. The thesis itself
// says that 63 °C looks rare after "about a minute".
func TestMyoglobin(t *testing.T) {
	mb := doneness.Myoglobin()
	for _, c := range []struct{ tC, k float64 }{{60, 4.525e-4}, {63, 1.152e-3}, {70, 9.56e-3}} {
		within(t, fmt.Sprintf("k(%v °C)", c.tC), mb.Rate(c.tC), c.k, 1e-3)
	}
	for _, c := range []struct{ tC, rareMin, wellMin float64 }{
		{55, 12.2, 483}, {60, 2.48, 98}, {63, 0.97, 38.5}, {65, 0.53, 20.8}, {70, 0.12, 4.63}, {75, 0.03, 1.08},
	} {
		rare, well := mb.TimeTo(0.065, c.tC)/60, mb.TimeTo(0.93, c.tC)/60
		if math.Abs(rare-c.rareMin) > math.Max(0.006, 0.005*c.rareMin) {
			t.Errorf("6.5 %% at %v °C after %.3f min, want %v", c.tC, rare, c.rareMin)
		}
		within(t, fmt.Sprintf("93 %% at %v °C, min", c.tC), well, c.wellMin, 0.005)
	}
	within(t, "z(60 °C)", mb.ZValueK(60), 7.3, 0.005)
}

// Where a steady heating ramp brings myoglobin to 6.5, 50 and 93 % (worked
// out apart from this package).
func TestMyoglobinOnARamp(t *testing.T) {
	mb := doneness.Myoglobin()
	for _, c := range []struct {
		perMin float64
		at     [3]float64
	}{{1, [3]float64{59.3, 66.7, 71.1}}, {2, [3]float64{61.5, 69.0, 73.4}}, {5, [3]float64{64.4, 72.0, 76.6}}} {
		for i, share := range []float64{0.065, 0.5, 0.93} {
			lo, hi := 40.0, 95.0
			for range 60 {
				mid := (lo + hi) / 2
				if doneness.Share(mb.Dose(20, mid, (mid-20)/c.perMin*60)) < share {
					lo = mid
				} else {
					hi = mid
				}
			}
			if math.Abs(lo-c.at[i]) > 0.06 {
				t.Errorf("%v K/min reaches %v at %.2f °C, want %.1f", c.perMin, share, lo, c.at[i])
			}
		}
	}
}

// Bread crust: Zanoni, Peri & Bruno 1995, k0 42,000 1/s, E 64.151 kJ/mol.
func TestCrustBrowning(t *testing.T) {
	br := doneness.CrustBrowning()
	for _, c := range []struct{ tC, k, deltaE float64 }{
		{160, 7.71e-4, 4.6}, {180, 1.69e-3, 9.6}, {200, 3.48e-3, 17.7}, {220, 6.74e-3, 28.8},
	} {
		within(t, fmt.Sprintf("k(%v °C)", c.tC), br.Rate(c.tC), c.k, 3e-3)
		s := doneness.State{Browning: br.Dose(c.tC, c.tC, 120)}
		if got := s.BrowningDeltaE(); math.Abs(got-c.deltaE) > 0.06 {
			t.Errorf("ΔE after 2 min at %v °C is %.2f, want %v", c.tC, got, c.deltaE)
		}
	}
}

// Words of browning follow what the eye sees of the colour difference, not the
// share that has reacted. Two minutes of bread crust (Zanoni, Peri & Bruno
// 1995): ΔE 4.6, 9.6, 17.7 and 28.8 at 160, 180, 200 and 220 °C.
func TestWordsOfBrowning(t *testing.T) {
	m := doneness.For(doneness.Plain)
	for _, c := range []struct {
		tC, s float64
		says  string
	}{
		{100, 1800, "lightly browned"}, // ΔE 2.5 by extrapolation: the fit holds from 140 °C
		{160, 30, "not visibly browned"},
		{160, 120, "lightly browned"},
		{200, 120, "browned"},
		{220, 120, "darkly browned"},
	} {
		var s doneness.State
		m.Advance(&s, c.tC, c.tC, c.s)
		if got := m.Changes(s)[0]; got.Says != c.says {
			t.Errorf("%v s at %v °C, ΔE %.1f: %q, want %q", c.s, c.tC, s.BrowningDeltaE(), got.Says, c.says)
		}
	}
}

// Rates taken from calorimeter peaks by Kissinger's relation, and the
// collagen and cod anchors of their sources.
func TestProteinAnchors(t *testing.T) {
	m := doneness.For(doneness.Beef)
	within(t, "myosin k(57 °C)", m.Myosin.Rate(57), 0.055, 0.01)
	within(t, "myosin k(60 °C)", m.Myosin.Rate(60), 0.148, 0.02)
	within(t, "actin k(81 °C)", m.Actin.Rate(81), 0.048, 0.01)
	within(t, "actin k(60 °C)", m.Actin.Rate(60), 7.8e-5, 0.02)
	within(t, "collagen half-time at 58 °C", m.Collagen.TimeTo(0.5, 58), 660, 1e-9)
	cod := doneness.For(doneness.Fish).Actin
	within(t, "cod actin D(62 °C), min", cod.TimeTo(0.9, 62)/60, 130.1, 1e-9)
	within(t, "cod actin z", cod.ZValueK(62), 5.74, 0.01)
}

// The exact dose of a linear ramp against Simpson's rule on a fine grid, on
// both sides of the switch between its two forms.
func TestDoseIsTheIntegral(t *testing.T) {
	mb, br := doneness.Myoglobin(), doneness.CrustBrowning()
	rapid.Check(t, func(r *rapid.T) {
		re := rapid.SampledFrom([]doneness.Reaction{mb, br}).Draw(r, "reaction")
		a := rapid.Float64Range(0, 150).Draw(r, "a")
		b := rapid.Float64Range(0, 150).Draw(r, "b")
		const n = 4000
		sum := re.Rate(a) + re.Rate(b)
		for i := 1; i < n; i++ {
			w := 2.0
			if i%2 == 1 {
				w = 4
			}
			sum += w * re.Rate(a+(b-a)*float64(i)/n)
		}
		want := 100 * sum / (3 * n)
		if got := re.Dose(a, b, 100); math.Abs(got-want) > 2e-8*want {
			r.Fatalf("dose %v → %v °C: %.12g, Simpson %.12g", a, b, got, want)
		}
	})
}

func TestDoseAddsUp(t *testing.T) {
	mb := doneness.Myoglobin()
	rapid.Check(t, func(r *rapid.T) {
		a := rapid.Float64Range(0, 120).Draw(r, "a")
		b := rapid.Float64Range(0, 120).Draw(r, "b")
		x := rapid.Float64Range(0.01, 0.99).Draw(r, "split")
		whole := mb.Dose(a, b, 60)
		parts := mb.Dose(a, a+(b-a)*x, 60*x) + mb.Dose(a+(b-a)*x, b, 60*(1-x))
		if math.Abs(whole-parts) > 3e-8*whole {
			r.Fatalf("%v → %v split at %v: %.12g against %.12g", a, b, x, whole, parts)
		}
	})
}

func TestWordsComeInOrder(t *testing.T) {
	m := doneness.For(doneness.Beef)
	for _, c := range []struct {
		tC, min float64
		words   string
	}{
		{35, 10, "still soft, not tightened, juice held, raw colour"},
		{55, 10, "firmed, starting to tighten, juice held, raw colour"},
		{62, 10, "firmed, tightened, juice starting to be pressed out, pink"},
		{80, 10, "firmed, tightened, juice pressed out, pink gone"},
	} {
		var s doneness.State
		m.Advance(&s, c.tC, c.tC, c.min*60)
		if got := m.Words(s); got != c.words {
			t.Errorf("%v min at %v °C: %q, want %q", c.min, c.tC, got, c.words)
		}
	}
	if got := len(doneness.For(doneness.Plain).Changes(doneness.State{})); got != 1 {
		t.Errorf("a plain food shows %d changes, want browning alone", got)
	}
}

// sRGB primaries and white in L*a*b* (D65, 2°) as printed by common colour
// calculators; from memory.
func TestLabToRGB(t *testing.T) {
	for _, c := range []struct {
		lab  doneness.Lab
		want doneness.RGB
	}{
		{doneness.Lab{L: 100}, doneness.RGB{R: 255, G: 255, B: 255}},
		{doneness.Lab{}, doneness.RGB{}},
		{doneness.Lab{L: 53.585}, doneness.RGB{R: 128, G: 128, B: 128}},
		{doneness.Lab{L: 53.2408, A: 80.0925, B: 67.2032}, doneness.RGB{R: 255}},
		{doneness.Lab{L: 87.7347, A: -86.1827, B: 83.1793}, doneness.RGB{G: 255}},
		{doneness.Lab{L: 32.2970, A: 79.1875, B: -107.8602}, doneness.RGB{B: 255}},
	} {
		got := c.lab.RGB()
		for _, d := range []int{int(got.R) - int(c.want.R), int(got.G) - int(c.want.G), int(got.B) - int(c.want.B)} {
			if d < -1 || d > 1 {
				t.Errorf("%v → %v, want %v", c.lab, got, c.want)
				break
			}
		}
	}
}

func TestColoursLoseRedWithMyoglobin(t *testing.T) {
	for _, f := range doneness.Families() { // white fish has no red to lose
		m := doneness.For(f)
		var red, done doneness.State
		m.Advance(&red, 55, 55, 600)
		m.Advance(&done, 80, 80, 600)
		if m.HasMuscle() && f != doneness.Fish && m.CutColour(done).A >= m.CutColour(red).A {
			t.Errorf("%s: a* does not fall", f)
		}
		var burnt doneness.State
		m.Advance(&burnt, 220, 220, 1200)
		if m.CutColour(burnt).L >= m.CutColour(done).L {
			t.Errorf("%s: a crust does not darken", f)
		}
	}
}

func ExampleModel_Words() {
	m := doneness.For(doneness.Beef)
	var s doneness.State
	m.Advance(&s, 20, 60, 600) // ten minutes from 20 to 60 °C
	m.Advance(&s, 60, 60, 120)
	fmt.Println(m.Words(s))
	// Output: firmed, starting to tighten, juice held, pink
}

func BenchmarkAdvance(b *testing.B) {
	b.ReportAllocs()
	m := doneness.For(doneness.Beef)
	var s doneness.State
	for range b.N {
		m.Advance(&s, 55, 55.5, 1)
	}
}
