package tasting

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"

	"trivet/fault"
)

func choices() []ForcedChoice {
	return []ForcedChoice{Triangle{}, DuoTrio{}, Paired{}, ThreeAFC{}, Tetrad{}}
}

// Each psychometric function against its defining integral, by Gauss–Legendre
// over the percept z.
func TestPsychometricFunctionsEqualTheirIntegrals(t *testing.T) {
	integrate := func(f func(float64) float64, lo, hi float64) float64 {
		return quad.Fixed(f, lo, hi, 400, nil, 0)
	}
	integrals := map[string]func(d float64) float64{
		"triangle": func(d float64) float64 {
			return 2 * integrate(func(z float64) float64 {
				a, b := -z*math.Sqrt(3), d*math.Sqrt(2.0/3)
				return (normalCDF(a+b) + normalCDF(a-b)) * normalPDF(z)
			}, 0, 9)
		},
		"duo-trio": func(d float64) float64 {
			a, b := normalCDF(d/math.Sqrt2), normalCDF(d/math.Sqrt(6))
			return 1 - a - b + 2*a*b
		},
		"2-afc": func(d float64) float64 {
			return integrate(func(z float64) float64 { return normalPDF(z-d) * normalCDF(z) }, -9, 9+d)
		},
		"3-afc": func(d float64) float64 {
			return integrate(func(z float64) float64 { return normalPDF(z-d) * math.Pow(normalCDF(z), 2) }, -9, 9+d)
		},
		"tetrad": func(d float64) float64 {
			return 1 - 2*integrate(func(z float64) float64 {
				c := normalCDF(z - d)
				return normalPDF(z) * (2*normalCDF(z)*c - c*c)
			}, -9, 9)
		},
	}
	for _, m := range choices() {
		for _, d := range []float64{0, 1e-3, .1, .5, 1, 1.7, 3, 5, 8} {
			want := integrals[m.Describe().Name](d)
			if got := m.Correct(d); !within(got, want, 1e-12) {
				t.Errorf("%s d'=%v: %.14f, integral %.14f", m.Describe().Name, d, got, want)
			}
		}
		if got := m.Correct(0); !within(got, m.Guess().Float(), 1e-15) {
			t.Errorf("%s at d'=0: %.17f is not the guess probability", m.Describe().Name, got)
		}
		if got := m.Correct(30); !within(got, 1, 1e-15) {
			t.Errorf("%s at d'=30: %v", m.Describe().Name, got)
		}
	}
}

// The decision rules themselves, simulated on normal percepts: nearest pair,
// nearest to the reference, largest, lowest two. Seeded; the tolerance is 4.5
// standard errors.
func TestDecisionRulesSimulatedGiveThePsychometricFunctions(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	const trials = 200_000
	for _, m := range choices() {
		block, _ := m.Block(2)
		for _, d := range []float64{0, 1, 2.2} {
			right := 0
			for i := range trials {
				s := block[i%len(block)]
				x := make([]float64, len(s.Cups))
				for j, c := range s.Cups {
					x[j] = rng.NormFloat64() + d*float64(c)
				}
				ref := rng.NormFloat64() + d*float64(max(s.Reference, 0))
				if contains(m.Right(s), decide(m, x, ref)) {
					right++
				}
			}
			pc := m.Correct(d)
			if z := (float64(right)/trials - pc) / math.Sqrt(pc*(1-pc)/trials); math.Abs(z) > 4.5 {
				t.Errorf("%s d'=%v: simulated %.4f, function %.4f (z %.1f)", m.Describe().Name, d, float64(right)/trials, pc, z)
			}
		}
	}
}

// decide returns the position an ideal assessor chooses; for the tetrad a
// member of the first sample's group, or −1 when the grouping is wrong is
// left to the caller by returning a position outside it.
func decide(m ForcedChoice, x []float64, ref float64) int {
	switch m.(type) {
	case Triangle:
		d01, d02, d12 := math.Abs(x[0]-x[1]), math.Abs(x[0]-x[2]), math.Abs(x[1]-x[2])
		switch {
		case d01 <= d02 && d01 <= d12:
			return 2
		case d02 <= d12:
			return 1
		}
		return 0
	case DuoTrio:
		if math.Abs(x[0]-ref) < math.Abs(x[1]-ref) {
			return 0
		}
		return 1
	case Tetrad:
		// The partner of sample 0: the sample on its side of the middle.
		above := func(i int) bool {
			n := 0
			for j := range x {
				if x[j] < x[i] {
					n++
				}
			}
			return n >= 2
		}
		for j := 1; j < 4; j++ {
			if above(j) == above(0) {
				return j
			}
		}
		return -1
	}
	best := 0
	for i := range x {
		if x[i] > x[best] {
			best = i
		}
	}
	return best
}

func contains(v []int, x int) bool {
	for _, y := range v {
		if y == x {
			return true
		}
	}
	return false
}

func TestSlopeIsTheDerivative(t *testing.T) {
	for _, m := range choices() {
		for _, d := range []float64{.05, .3, 1, 2, 4} {
			h := 1e-5
			want := (m.Correct(d+h) - m.Correct(d-h)) / (2 * h)
			if got := m.Slope(d); !within(got, want, 1e-9) {
				t.Errorf("%s d'=%v: slope %.12f, difference quotient %.12f", m.Describe().Name, d, got, want)
			}
		}
	}
}

// B = pc(1−pc)/slope² at d′ = 1, from the formulae of Bi, Ennis & O'Mahony
// 1997 evaluated apart by finite differences.
func TestVarianceFactorAtDPrimeOne(t *testing.T) {
	for _, tc := range []struct {
		m ForcedChoice
		b float64
	}{{Triangle{}, 9.9983}, {DuoTrio{}, 11.1604}, {Paired{}, 3.7763}, {Tetrad{}, 3.2229}} {
		pc := tc.m.Correct(1)
		if b := pc * (1 - pc) / math.Pow(tc.m.Slope(1), 2); !within(b, tc.b, 6e-5) {
			t.Errorf("%s: B %.5f, want %.4f", tc.m.Describe().Name, b, tc.b)
		}
	}
}

func TestDPrimeRoundTrips(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := rapid.SampledFrom(choices()).Draw(rt, "method")
		d := rapid.Float64Range(0.01, 6).Draw(rt, "d")
		if back := DPrime(m, m.Correct(d)); !within(back, d, 1e-6) {
			rt.Fatalf("%s: %v came back as %v", m.Describe().Name, d, back)
		}
	})
}

func TestDPrimeAtTheEnds(t *testing.T) {
	for _, m := range choices() {
		if d := DPrime(m, 0.2); d != 0 {
			t.Errorf("below guessing: %v", d)
		}
		if d := DPrime(m, 1); !math.IsInf(d, 1) {
			t.Errorf("all right: %v", d)
		}
	}
}

// The tetrad's fourth sample may cost at most this part of d′ before the
// triangle is as good. Ennis J.M., 2012, Guiding the switch from triangle
// testing to tetrad testing, J. Sensory Studies 27:223-231: about one third.
func TestTetradKeepsItsAdvantageDownToTwoThirds(t *testing.T) {
	for _, tc := range []struct{ d, ratio float64 }{{.5, .7059}, {1, .7023}, {1.5, .6967}, {2, .6893}, {2.5, .6809}, {3, .6718}} {
		if got := DPrime(Tetrad{}, Triangle{}.Correct(tc.d)) / tc.d; !within(got, tc.ratio, 6e-5) {
			t.Errorf("d'=%v: ratio %.5f, want %.4f", tc.d, got, tc.ratio)
		}
	}
}

// NIST/SEMATECH e-Handbook 7.2.4.1: exact 90 % interval for 4 of 20, printed
// as .071354 to .401029 (last digit of the upper limit a root-finder's).
func TestClopperPearsonEqualsNIST(t *testing.T) {
	low, high := clopperPearson(20, 4, 0.05)
	if !within(low, .071354, 5e-6) || !within(high, .401029, 5e-6) {
		t.Errorf("%.7f to %.7f", low, high)
	}
	if !within(low, .0713538843, 1e-9) || !within(high, .4010281174, 1e-9) {
		t.Errorf("%.10f to %.10f", low, high)
	}
}

func TestPublishedTriangles(t *testing.T) {
	for _, tc := range []struct {
		source     string
		n, correct int
		p          float64
		tol        float64
	}{
		// Lawless & Heymann 2010, Sensory Evaluation of Food, ch. 4 (z 1.74
		// there; from memory), exact p computed apart.
		{"21 of 45", 45, 21, .043421, 5e-7},
		// Meilgaard, Civille & Carr, triangle example (from memory).
		{"8 of 12", 12, 8, .018758, 5e-7},
		{"7 of 12", 12, 7, .066448, 5e-7},
		{"1 of 1", 1, 1, 1.0 / 3, 1e-15},
		{"3 of 3", 3, 3, 1.0 / 27, 1e-15},
	} {
		r, err := Score(Triangle{}, Count{N: tc.n, Correct: tc.correct}, Rule{Alpha: .05})
		if err != nil {
			t.Fatal(err)
		}
		if !within(r.PValue, tc.p, tc.tol) {
			t.Errorf("%s: p %.8f, want %.8f", tc.source, r.PValue, tc.p)
		}
		if want := map[bool]Verdict{true: Different, false: NotShownDifferent}[tc.p <= .05]; r.Verdict != want {
			t.Errorf("%s: %s", tc.source, r.Verdict)
		}
	}
}

// Ties with alpha are decided in integers: five of five in a paired
// comparison is exactly 1/32.
func TestATieWithAlphaIsSignificant(t *testing.T) {
	for _, tc := range []struct {
		n     int
		alpha float64
		want  int
	}{{5, 0.03125, 5}, {5, 0.031249999999, 6}, {5, 0.0312500001, 5}, {4, 0.0625, 4}} {
		if got := LeastCorrect(tc.n, Ratio{1, 2}, tc.alpha); got != tc.want {
			t.Errorf("n=%d alpha=%v: %d, want %d", tc.n, tc.alpha, got, tc.want)
		}
	}
	if got := leastFor(Paired{TwoSided: true}, 5, 0.0625); got != 5 {
		t.Errorf("two-sided 5 of 5 is exactly 1/16: got %d", got)
	}
	r, _ := Score(Paired{}, Count{N: 5, Correct: 5}, Rule{Alpha: 0.03125})
	if r.Verdict != Different || r.PDLow != 0 {
		t.Errorf("%s, pd_low %v: p equal to alpha is significant and the limit is the guess rate", r.Verdict, r.PDLow)
	}
}

// The float tails are good enough to decide everything but ties: within 1e-11
// of integer arithmetic, relatively.
func TestTailsEqualIntegerArithmetic(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 400).Draw(rt, "n")
		x := rapid.IntRange(0, n).Draw(rt, "x")
		g := rapid.SampledFrom([]Ratio{{1, 2}, {1, 3}, {3, 10}, {9, 10}}).Draw(rt, "p")
		want, _ := exactUpperTail(n, x, g.Rat()).Float64()
		if want < 1e-280 {
			return
		}
		if got := upperTail(n, x, g.Float()); !within(got/want, 1, 1e-11) {
			rt.Fatalf("P(X ≥ %d | %d, %v) = %v, exactly %v", x, n, g, got, want)
		}
		if got := 1 - lowerTail(n, x-1, g.Float()); !within(got, want, 1e-12) {
			rt.Fatalf("lower tail is not the complement: %v and %v", got, want)
		}
	})
}

// R 4.2.2: uniroot on twice the fall of dbinom's logarithm, 13 of 24.
func TestLikelihoodLimits(t *testing.T) {
	low, high := likelihoodLimits(24, 13, .05)
	if !within(low, .375937449748, 1e-10) || !within(high, .701340952265, 1e-10) {
		t.Errorf("%.12f to %.12f", low, high)
	}
}

// pd_low > 0 exactly when p < alpha, the limits bracket the estimate, and the
// verdict follows the critical count.
func TestLimitsAgreeWithTheTest(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := rapid.SampledFrom(append(choices(), Paired{TwoSided: true})).Draw(rt, "method")
		n := rapid.IntRange(1, 300).Draw(rt, "n")
		x := rapid.IntRange(0, n).Draw(rt, "x")
		alpha := rapid.SampledFrom([]float64{.2, .1, .05, .01, .001}).Draw(rt, "alpha")
		r, err := Score(m, Count{N: n, Correct: x}, Rule{Alpha: alpha})
		if err != nil {
			rt.Fatal(err)
		}
		if (r.PDLow > 0) != (r.PValue < alpha) {
			rt.Fatalf("pd_low %v with p %v", r.PDLow, r.PValue)
		}
		if r.PDLow > r.PD+1e-12 || r.PDHigh < r.PD-1e-12 {
			rt.Fatalf("pd %v outside %v to %v", r.PD, r.PDLow, r.PDHigh)
		}
		if (r.DPrimeHigh == nil) != (r.PDHigh == 1) {
			rt.Fatalf("d' upper limit %v with pd upper limit %v", r.DPrimeHigh, r.PDHigh)
		}
		if (r.Verdict == Different) != (r.PValue <= alpha) {
			rt.Fatalf("%s with p %v", r.Verdict, r.PValue)
		}
		for _, s := range r.Says {
			if strings.Contains(s, "no difference") || strings.Contains(s, "%!") {
				rt.Fatalf("says %q", s)
			}
		}
	})
}

// Similarity at n = 36, pd0 = 0.30, beta = 0.05: at most 13 right, not the 14
// of the normal approximation.
func TestSimilarity(t *testing.T) {
	rule := Rule{For: ForSimilarity, Alpha: .05, Beta: .05, Discriminators: .30}
	for _, tc := range []struct {
		correct int
		want    Verdict
	}{{13, Similar}, {14, NotShownSimilar}} {
		r, err := Score(Triangle{}, Count{N: 36, Correct: tc.correct}, rule)
		if err != nil {
			t.Fatal(err)
		}
		if r.Verdict != tc.want || *r.Critical != 13 {
			t.Errorf("%d right: %s, critical %d", tc.correct, r.Verdict, *r.Critical)
		}
		if (r.PDHigh <= .30) != (r.Verdict == Similar) {
			t.Errorf("upper limit %v against verdict %s", r.PDHigh, r.Verdict)
		}
	}
	// A test that is not significant shows nothing of the kind: 10 of 30.
	r, _ := Score(Triangle{}, Count{N: 30, Correct: 10}, Rule{Alpha: .05})
	if !within(r.PDHigh, .249158, 5e-7) || r.Verdict != NotShownDifferent {
		t.Errorf("%v %s", r.PDHigh, r.Verdict)
	}
	if _, err := Score(Triangle{}, Count{N: 30, Correct: 10}, Rule{For: ForSimilarity, Alpha: .05}); fault.As(err) == nil || fault.As(err).Code != "effect-missing" {
		t.Errorf("similarity without a bound: %v", err)
	}
}

func TestSizeForSimilarityNeedsTheSameNumber(t *testing.T) {
	p, err := Size(Triangle{}, Goal{For: ForSimilarity, Alpha: .05, Beta: .05, Discriminators: .2})
	if err != nil || p.N != 147 {
		t.Fatalf("%+v %v", p, err)
	}
	if p.Size > .05 || p.Power < .95 {
		t.Errorf("size %v power %v", p.Size, p.Power)
	}
}

// The n beyond which every number meets the goal really is one, and the one
// before it is not.
func TestForGoodIsForGood(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		m := rapid.SampledFrom(choices()).Draw(rt, "method")
		g := Goal{For: ForDifference, Alpha: rapid.SampledFrom([]float64{.1, .05, .01}).Draw(rt, "alpha"),
			Beta: rapid.SampledFrom([]float64{.2, .1, .05}).Draw(rt, "beta"), Discriminators: rapid.SampledFrom([]float64{.25, .4, .6}).Draw(rt, "pd")}
		p, err := Size(m, g)
		if err != nil {
			rt.Fatal(err)
		}
		for n := p.NForGood; n < p.NForGood+40; n++ {
			if q := PointAt(m, g, n); q.Power < 1-g.Beta {
				rt.Fatalf("%s %+v: n=%d has power %v", p.Method, g, n, q.Power)
			}
		}
		for n := 1; n < p.N; n++ {
			if q := PointAt(m, g, n); q.Power >= 1-g.Beta {
				rt.Fatalf("%s %+v: n=%d already has power %v", p.Method, g, n, q.Power)
			}
		}
		if p.NBalanced%p.Block != 0 || PointAt(m, g, p.NBalanced).Power < 1-g.Beta {
			rt.Fatalf("balanced %d in blocks of %d", p.NBalanced, p.Block)
		}
	})
}

func TestFewestAssessors(t *testing.T) {
	// d′ = 1, alpha .05, power .8: 3-AFC 16, 2-AFC 23, tetrad 61, triangle
	// 202, duo-trio 228 (table min_n_dprime.csv).
	list, err := Fewest(1, .05, .2)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]int{}
	for _, n := range list {
		got[n.Method] = n.N
	}
	for name, want := range map[string]int{"3-afc": 16, "2-afc": 23, "tetrad": 61, "triangle": 202, "duo-trio": 228} {
		if got[name] != want {
			t.Errorf("%s: %d, want %d", name, got[name], want)
		}
	}
	if list[0].Method != "3-afc" {
		t.Errorf("first is %s", list[0].Method)
	}
}

func TestWrongUseIsNamed(t *testing.T) {
	for _, tc := range []struct {
		name string
		do   func() error
		code fault.Code
		kind fault.Kind
	}{
		{"both effects", func() error {
			_, err := Size(Triangle{}, Goal{Alpha: .05, Beta: .1, Discriminators: .3, DPrime: 1})
			return err
		}, "effect-twice", fault.Usage},
		{"no effect", func() error { _, err := Size(Triangle{}, Goal{Alpha: .05, Beta: .1}); return err }, "effect-missing", fault.Usage},
		{"alpha in per cent", func() error {
			_, err := Size(Triangle{}, Goal{Alpha: 5, Beta: .1, Discriminators: .3})
			return err
		}, "risk-range", fault.Usage},
		{"alpha not a number", func() error {
			_, err := Size(Triangle{}, Goal{Alpha: math.NaN(), Beta: .1, Discriminators: .3})
			return err
		}, "risk-range", fault.Usage},
		{"tiny pd", func() error {
			_, err := Size(Triangle{}, Goal{Alpha: .05, Beta: .1, Discriminators: .001})
			return err
		}, "too-many-assessors", fault.Content},
		{"count above n", func() error {
			_, err := Score(Triangle{}, Count{N: 12, Correct: 13}, Rule{Alpha: .05})
			return err
		}, "count-range", fault.Content},
		{"no method", func() error { _, err := Lookup("trianlge"); return err }, "method-unknown", fault.Usage},
		{"three products", func() error { _, err := Triangle{}.Block(3); return err }, "product-count", fault.Content},
	} {
		err := tc.do()
		var e *fault.Error
		if !errors.As(err, &e) || e.Code != tc.code || e.Kind != tc.kind {
			t.Errorf("%s: %v", tc.name, err)
		} else if e.Fix == "" {
			t.Errorf("%s: no way out named", tc.name)
		}
	}
}

func TestSaysWhatOneTasterMayClaim(t *testing.T) {
	text := func(c Count) string {
		r, err := Score(Triangle{}, c, Rule{Alpha: .05})
		if err != nil {
			t.Fatal(err)
		}
		return strings.Join(r.Says, "\n")
	}
	for _, tc := range []struct {
		c    Count
		want string
	}{
		{Count{N: 1, Correct: 1}, "by luck one time in 3"},
		{Count{N: 1, Correct: 1}, "at least 3 assessments are needed"},
		{Count{N: 12, Correct: 9, Assessors: 1}, "speaks for that taster"},
		{Count{N: 24, Correct: 14, Assessors: 6}, "24 answers from 6 assessors"},
		{Count{N: 24, Correct: 14, PiecePairs: 1}, "one pair of pieces"},
		{Count{N: 24, Correct: 14}, "afterwards which sample was the treated one is another test"},
		{Count{N: 24, Correct: 8}, "Not detected is not the same as alike"},
	} {
		if got := text(tc.c); !strings.Contains(got, tc.want) {
			t.Errorf("%+v: no %q in\n%s", tc.c, tc.want, got)
		}
	}
}

func ExampleSize() {
	m, _ := LookupChoice("triangle")
	p, _ := Size(m, Goal{Alpha: 0.05, Beta: 0.10, Discriminators: 0.30})
	fmt.Printf("%d assessors, %d right show a difference; from %d every number will do\n", p.N, p.Critical, p.NForGood)
	// Output: 53 assessors, 24 right show a difference; from 57 every number will do
}

func ExampleScore() {
	r, _ := Score(Triangle{}, Count{N: 24, Correct: 13}, Rule{Alpha: 0.05})
	fmt.Printf("p = %.4f, pd %.2f from %.2f to %.2f: %s\n", r.PValue, r.PD, r.PDLow, r.PDHigh, r.Verdict)
	// Output: p = 0.0284, pd 0.31 from 0.04 to 0.58: different
}

func BenchmarkSizeTriangleFaintDPrime(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Size(Triangle{}, Goal{Alpha: .05, Beta: .05, DPrime: .5}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFewestAssessors(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Fewest(1, .05, .1); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkSizeANotA(b *testing.B) {
	for _, d := range []float64{.5, 1, 2} {
		b.Run(fmt.Sprint("d=", d), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := SizeResponses(ANotA{}, d, .05, .1); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkSequentialRisks(b *testing.B) {
	b.ReportAllocs()
	q, err := NewSequential(Triangle{}, Goal{Alpha: .05, Beta: .05, DPrime: .5})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		q.Risks(0)
	}
}

func BenchmarkOverdispersion(b *testing.B) {
	b.ReportAllocs()
	reps := fromCounts(4, 1, 4, 5, 6, 4)
	for b.Loop() {
		if _, err := Overdispersed(reps, Ratio{1, 3}, true); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkScore(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Score(Triangle{}, Count{N: 60, Correct: 30}, Rule{Alpha: .05, Discriminators: .3}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDeal60Triangles(b *testing.B) {
	b.ReportAllocs()
	seed, _ := NewSeed(fixedRandom(1))
	setup := Setup{Method: "triangle", Products: twoWays(), Assessors: panel(60)}
	for b.Loop() {
		if _, _, err := Deal(setup, seed); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCriticalTableTo500(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		for n := 1; n <= 500; n++ {
			for _, c := range riskColumns {
				LeastCorrect(n, Ratio{1, 3}, c.risk)
			}
		}
	}
}
