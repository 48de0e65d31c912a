package trace

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"trivet/fault"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

func build(t *testing.T, ch Channel, values ...float64) *Trace {
	t.Helper()
	us := make([]int64, len(values))
	for i := range us {
		us[i] = int64(i) * 1e6
	}
	tr, err := Build(ch, us, values, -1)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// Conversions by the defining relations of NIST SP 811 (2008), appendix B.
func TestValuesAreConvertedOnRead(t *testing.T) {
	for _, c := range []struct {
		unit       Unit
		offset, in float64
		want       float64
	}{
		{DegC, 0, 62.8, 62.8},
		{DegC, 0.4, 62.8, 62.4},
		{DegF, 0, 212, 100},
		{DegF, 0.5, 32, -0.5},
		{Kelvin, 0, 373.1, 99.95},
		{Gram, 9, 250.5, 250.5}, // an offset in K says nothing of a mass
		{Ounce, 0, 16, 453.59237},
		{Percent, 0, 40, 40},
	} {
		tr := build(t, Channel{ID: "x", Unit: c.unit, OffsetK: c.offset}, c.in)
		v, ok := tr.Value(0)
		if !ok {
			t.Error("missing")
		}
		near(t, string(c.unit), v, c.want, 1e-9)
	}
}

func TestBuildTakesTheDecimalsThatWerePrinted(t *testing.T) {
	tr := build(t, Channel{ID: "x", Unit: DegC}, 21.3, math.NaN(), 21.25, -4)
	if tr.Quantum != 0.01 || tr.Counts[0] != 2130 || !tr.Missing.Has(1) || tr.Missing.Count() != 1 {
		t.Errorf("%+v", tr)
	}
	if v, _ := tr.Raw(0); v != 21.3 {
		t.Errorf("21.3 came back as %v", v)
	}
	for name, bad := range map[string][]float64{"infinite": {math.Inf(1)}, "too large": {1e17}} {
		if _, err := Build(Channel{}, []int64{0}, bad, 0); fault.As(err) == nil {
			t.Error(name, "was taken")
		}
	}
	if _, err := Build(Channel{}, []int64{5, 5}, []float64{1, 2}, 0); fault.As(err) == nil {
		t.Error("equal times were taken")
	}
}

// Every printed decimal comes back as the same float.
func TestDecimalsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.IntRange(0, 6).Draw(t, "decimals")
		n := rapid.Int64Range(-1e9, 1e9).Draw(t, "count")
		v := float64(n) / math.Pow10(d)
		tr, err := Build(Channel{}, []int64{0}, []float64{v}, -1)
		if err != nil {
			t.Fatal(err)
		}
		if got, _ := tr.Raw(0); got != v {
			t.Fatalf("%v came back as %v", v, got)
		}
	})
}

func TestGapsAreNeverFilled(t *testing.T) {
	tr := build(t, Channel{ID: "x", Unit: DegC}, 10, 20, math.NaN(), math.NaN(), 50, 60)
	if v, ok := tr.At(500_000, 2e6); !ok || v != 15 {
		t.Errorf("%v %v", v, ok)
	}
	if _, ok := tr.At(2_500_000, 2e6); ok {
		t.Error("a gap of 3 s was bridged under a limit of 2 s")
	}
	if v, ok := tr.At(2_500_000, 3e6); !ok || v != 35 {
		t.Errorf("%v %v", v, ok)
	}
	for _, us := range []int64{-1, 5_000_001} {
		if _, ok := tr.At(us, 1e9); ok {
			t.Error("a value outside the trace at", us)
		}
	}
	g := tr.Gaps(2e6)
	if len(g) != 1 || g[0] != (Gap{1e6, 4e6, 2}) {
		t.Errorf("%+v", g)
	}
	mean, covered := tr.Mean(0, 5e6, 2e6)
	near(t, "mean", mean, 35, 1e-12) // (15 + 55)/2 over the two told seconds
	near(t, "covered", covered, 0.4, 1e-12)
}

// Resample and At agree at every step.
func TestResampleAgreesWithAt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 2))
		tr := &Trace{Quantum: 0.1, Channel: Channel{Unit: DegC}}
		at := int64(0)
		for i := range 50 {
			at += 1 + r.Int64N(3e6)
			tr.TimesUS = append(tr.TimesUS, at)
			tr.Counts = append(tr.Counts, r.Int64N(1000))
			if r.IntN(5) == 0 {
				tr.Counts[i] = 0
				tr.Missing.Set(i)
			}
		}
		v, missing := tr.Resample(-2e6, 333_333, 250, 2e6)
		for i := range v {
			want, ok := tr.At(-2e6+int64(i)*333_333, 2e6)
			if ok == missing.Has(i) || v[i] != want {
				t.Fatalf("step %d: %v, want %v %v", i, v[i], want, ok)
			}
		}
	})
}

func TestAlignment(t *testing.T) {
	// A device 3 s behind that loses 25 µs each second, seen at both ends of
	// an hour.
	points := []SyncPoint{{DeviceUS: 1_000_000_000, CommonUS: 1_003_000_000}, {DeviceUS: 4_600_000_000, CommonUS: 4_603_090_000}}
	a, worst, err := FitAlignment(points)
	if err != nil || worst > 1 {
		t.Fatal(a, worst, err)
	}
	near(t, "rate", a.Rate, 25e-6, 1e-12)
	if a.OffsetUS != 3_000_000 {
		t.Errorf("offset %d", a.OffsetUS)
	}
	one, _, _ := FitAlignment(points[:1])
	if one != (Alignment{AnchorUS: 1e9, OffsetUS: 3e6}) {
		t.Errorf("%+v", one)
	}
	if _, _, err := FitAlignment(nil); fault.As(err) == nil {
		t.Error("no points, and a fit")
	}
	if _, _, err := FitAlignment([]SyncPoint{points[0], points[0]}); fault.As(err) == nil {
		t.Error("one time twice, and a fit")
	}
	tr := build(t, Channel{ID: "x"}, 1, 2, 3)
	out, err := tr.Aligned(Alignment{OffsetUS: 5})
	if err != nil || out.TimesUS[2] != 2_000_005 || tr.TimesUS[2] != 2_000_000 {
		t.Error(out, err)
	}
}

// There and back is the same to a microsecond.
func TestAlignmentIsReversible(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Alignment{
			AnchorUS: rapid.Int64Range(0, 2e15).Draw(t, "anchor"),
			OffsetUS: rapid.Int64Range(-1e12, 1e12).Draw(t, "offset"),
			Rate:     rapid.Float64Range(-1e-3, 1e-3).Draw(t, "rate"),
		}
		us := a.AnchorUS + rapid.Int64Range(-1e11, 1e11).Draw(t, "time")
		if back := a.Inverse().Apply(a.Apply(us)); abs(back-us) > 1 {
			t.Fatalf("%d became %d", us, back)
		}
	})
}

// A thinned line keeps the smallest and largest value of every column.
func TestEnvelopeKeepsExtremes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3))
		n, columns := rapid.IntRange(2, 3000).Draw(t, "n"), rapid.IntRange(1, 200).Draw(t, "columns")
		tr := &Trace{Quantum: 1}
		for i := range n {
			tr.TimesUS = append(tr.TimesUS, int64(i)*1000)
			tr.Counts = append(tr.Counts, r.Int64N(1e6))
		}
		to := tr.TimesUS[n-1]
		out := tr.Envelope(0, to, columns, 1e6)
		if len(out) > 4*(columns+1) {
			t.Fatalf("%d points for %d columns", len(out), columns)
		}
		width := float64(to) / float64(columns)
		type span struct{ least, most float64 }
		want, got := map[int]span{}, map[int]span{}
		add := func(m map[int]span, us int64, v float64) {
			c := int(float64(us) / width)
			s, ok := m[c]
			if !ok {
				s = span{v, v}
			}
			m[c] = span{min(s.least, v), max(s.most, v)}
		}
		for i := range tr.TimesUS {
			v, _ := tr.Value(i)
			add(want, tr.TimesUS[i], v)
		}
		for i, p := range out {
			if i > 0 && p.US <= out[i-1].US {
				t.Fatal("not in order of time")
			}
			add(got, p.US, p.V)
		}
		for c, w := range want {
			if got[c] != w {
				t.Fatalf("column %d: %v, want %v", c, got[c], w)
			}
		}
	})
}

func TestEnvelopeBreaksAtGaps(t *testing.T) {
	tr := build(t, Channel{ID: "x"}, 1, 2, math.NaN(), math.NaN(), 5, 6)
	out := tr.Envelope(0, 5e6, 100, 2e6)
	if len(out) != 4 || !out[2].Break || out[0].Break || out[3].Break {
		t.Errorf("%+v", out)
	}
}

// Convolution weights of Savitzky & Golay 1964, Anal. Chem. 36, 1627, tables
// I (quadratic and cubic, 5 and 7 points) and III (first derivative,
// quadratic, 5 points), from memory, and by themselves: they are the
// least-squares weights of an even grid. The response to a single 1 gives
// the weights back in reverse.
func TestSmoothIsSavitzkyGolayOnAnEvenGrid(t *testing.T) {
	for _, c := range []struct {
		name               string
		half               float64
		degree, derivative int
		weights            []float64
		norm               float64
	}{
		{"quadratic, 5 points", 2, 2, 0, []float64{-3, 12, 17, 12, -3}, 35},
		{"cubic, 7 points", 3, 3, 0, []float64{-2, 3, 6, 7, 6, 3, -2}, 21},
		{"slope, 5 points", 2, 2, 1, []float64{-2, -1, 0, 1, 2}, 10},
		{"second derivative, 5 points", 2, 2, 2, []float64{2, -1, -2, -1, 2}, 7},
	} {
		t.Run(c.name, func(t *testing.T) {
			const n = 21
			ts, vs := make([]float64, n), make([]float64, n)
			for i := range ts {
				ts[i] = float64(i)
			}
			vs[10] = 1
			out, _, err := Smooth(ts, vs, c.half, c.degree, c.derivative)
			if err != nil {
				t.Fatal(err)
			}
			m := len(c.weights) / 2
			for i, w := range c.weights {
				near(t, "weight", out[10+m-i], w/c.norm, 1e-12)
			}
		})
	}
}

// A polynomial of the fitted degree comes through unchanged on uneven times,
// to the ends, and so does its derivative.
func TestSmoothKeepsPolynomials(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var ts, vs []float64
	at := 1000.0
	for range 200 {
		at += 0.5 + r.Float64()
		x := at - 1100
		ts, vs = append(ts, at), append(vs, 3+0.5*x-0.01*x*x)
	}
	smooth, ok, _ := Smooth(ts, vs, 6, 2, 0)
	slope, _, _ := Smooth(ts, vs, 6, 2, 1)
	for i, s := range ts {
		if !ok[i] {
			t.Fatal("no fit at", i)
		}
		near(t, "value", smooth[i], vs[i], 1e-9)
		near(t, "slope", slope[i], 0.5-0.02*(s-1100), 1e-9)
	}
	if _, ok, _ := Smooth([]float64{0, 100}, []float64{1, 2}, 1, 2, 0); ok[0] || ok[1] {
		t.Error("a fit of degree 2 through one value")
	}
	if _, _, err := Smooth(ts, vs, 0, 2, 0); fault.As(err) == nil {
		t.Error("no window, and a fit")
	}
}

func TestJoin(t *testing.T) {
	a := build(t, Channel{ID: "x", Unit: DegC}, 5.1, math.NaN())
	b := &Trace{Channel: a.Channel, Quantum: 0.01, TimesUS: []int64{5e6, 6e6}, Counts: []int64{525, 0}}
	b.Missing.Set(1)
	out, err := Join(a, &Trace{Channel: a.Channel, Quantum: 1}, b)
	if err != nil {
		t.Fatal(err)
	}
	if out.Len() != 4 || out.Quantum != 0.01 || out.Counts[0] != 510 || out.Counts[2] != 525 || !out.Missing.Has(1) || !out.Missing.Has(3) || out.Missing.Count() != 2 {
		t.Errorf("%+v", out)
	}
	if err := out.Validate(); err != nil {
		t.Error(err)
	}
	other := *b
	other.Quantum = 0.03
	early := *a
	for name, parts := range map[string][]*Trace{"none": nil, "quanta": {a, &other}, "order": {b, &early}} {
		if _, err := Join(parts...); fault.As(err) == nil {
			t.Errorf("%s: joined", name)
		}
	}
}

// Values of scipy.signal.savgol_filter (SciPy 1.10.1) on 25 even samples, away
// from the ends.
func TestSmoothAgreesWithSciPy(t *testing.T) {
	y := []float64{20.0, 22.0, 23.2, 23.0, 21.8, 20.2, 19.2, 19.5, 21.3, 24.1, 27.0, 29.0, 29.8, 29.4, 28.7, 28.6, 29.9, 32.6, 36.3, 40.1, 43.0, 44.6, 45.1, 45.3, 46.1}
	for _, c := range []struct {
		window, degree, derivative int
		step                       float64
		want                       []float64
	}{
		{7, 2, 0, 1, []float64{22.819047619047637, 21.71428571428573, 20.280952380952396, 19.41428571428573, 19.752380952380967, 21.47142857142859, 24.095238095238113, 26.814285714285734, 28.776190476190497, 29.55714285714288, 29.323809523809544, 28.800000000000022, 28.83809523809526, 30.119047619047638, 32.76666666666669, 36.314285714285745, 39.90952380952384, 42.742857142857176, 44.39047619047622}},
		{9, 3, 1, 0.5, []float64{-2.6794612794612753, -2.446969696969693, -0.5981481481481468, 2.0870370370370344, 4.455555555555549, 5.497811447811439, 4.792424242424234, 2.7675084175084113, 0.46784511784511684, -0.9006734006733992, -0.6230639730639713, 1.2410774410774388, 3.9646464646464583, 6.311952861952851, 7.297811447811435, 6.536026936026928, 4.504377104377097}},
		{11, 4, 2, 0.5, []float64{2.1372960372961725, 4.702331002331139, 5.207692307692449, 3.5319347319348875, 0.3265734265736011, -2.8403263403261487, -4.5009324009321965, -3.810489510489303, -1.1543123543121467, 2.2109557109559077, 4.737529137529341, 5.247086247086457, 3.437529137529374, 0.21934731934758034, -2.9137529137526244}},
	} {
		ts := make([]float64, len(y))
		for i := range ts {
			ts[i] = 1000 + float64(i)*c.step
		}
		m := c.window / 2
		out, _, err := Smooth(ts, y, float64(m)*c.step, c.degree, c.derivative)
		if err != nil {
			t.Fatal(err)
		}
		for i, want := range c.want {
			near(t, "filtered", out[m+i], want, 1e-9)
		}
	}
}
