package tasting

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func TestSequentialLinesEqualTheTable(t *testing.T) {
	for _, r := range readTable(t, "sprt_lines.csv") {
		q := &Sequential{}
		a, b := r.float(t, "alpha"), r.float(t, "beta")
		p0 := map[bool]float64{true: 1.0 / 3, false: .5}[within(r.float(t, "p0"), 1.0/3, 1e-6)]
		// A line can pass within 1e-5 of a whole number, so p1 is taken from
		// the printed h1, which holds more digits of it than the p1 column.
		k := math.Log((1-b)/a) / r.float(t, "h1")
		p1 := 1 / (1 + (1-p0)/(p0*math.Exp(k)))
		if !within(p1, r.float(t, "p1"), 1e-6) {
			t.Fatalf("%s: p1 %v", r["case"], p1)
		}
		*q = Sequential{P0: p0, P1: p1, Alpha: a, Beta: b, S: math.Log((1-p0)/(1-p1)) / k, H0: math.Log((1-a)/b) / k, H1: math.Log((1-b)/a) / k}
		if !within(q.S, r.float(t, "slope_s"), 1e-6) || !within(q.H0, r.float(t, "h0"), 1e-6) {
			t.Errorf("%s: %+v", r["case"], q)
		}
		risks := q.Risks(0)
		if !within(risks.Alpha, r.float(t, "actual_alpha"), 6e-6) || !within(risks.Beta, r.float(t, "actual_beta"), 6e-6) ||
			!within(risks.MeanN0, r.float(t, "ASN_p0"), 6e-3) || !within(risks.MeanN1, r.float(t, "ASN_p1"), 6e-3) {
			t.Errorf("%s: %+v, table %v", r["case"], risks, r)
		}
		first := func(decided func(n int) bool) int {
			n := 1
			for !decided(n) {
				n++
			}
			return n
		}
		if n := first(func(n int) bool { _, up := q.Bounds(n); return up <= n }); n != r.int(t, "earliest_n_difference") {
			t.Errorf("%s: earliest difference %d", r["case"], n)
		}
		if n := first(func(n int) bool { low, _ := q.Bounds(n); return low >= 0 }); n != r.int(t, "earliest_n_similar") {
			t.Errorf("%s: earliest similar %d", r["case"], n)
		}
	}
}

// By hand: p0 = 1/3, p1 = 2/3, both risks 5 %: s = 1/2, h = ln 19 / ln 4.
func TestSequentialByHand(t *testing.T) {
	q, err := NewSequential(Triangle{}, Goal{Alpha: .05, Beta: .05, Discriminators: .5})
	if err != nil {
		t.Fatal(err)
	}
	if !within(q.S, .5, 1e-12) || !within(q.H0, math.Log(19)/math.Log(4), 1e-12) || !within(q.H1, q.H0, 1e-12) {
		t.Errorf("%+v", q)
	}
	if s, n := q.Follow([]bool{true, true, true, true, true, false}); s != StopDiffer || n != 5 {
		t.Errorf("five right: %s after %d", s, n)
	}
	if s := q.After(4, 4); s != Continue {
		t.Errorf("four right: %s", s)
	}
	if got := strings.Join(q.Says(StopDiffer, 5, 5), " "); !strings.Contains(got, "crossed the upper line") {
		t.Error(got)
	}
}

// The true risks of a test capped at 40 answers against a seeded simulation.
func TestCappedRisksEqualSimulation(t *testing.T) {
	q, _ := NewSequential(Triangle{}, Goal{Alpha: .05, Beta: .1, Discriminators: .3})
	want := q.Risks(40)
	rng := rand.New(rand.NewPCG(5, 6))
	const runs = 40_000
	var up0, low1 int
	right := make([]bool, 40)
	for range runs {
		for i := range right {
			right[i] = rng.Float64() < q.P0
		}
		if s, _ := q.Follow(right); s == StopDiffer {
			up0++
		}
		for i := range right {
			right[i] = rng.Float64() < q.P1
		}
		if s, _ := q.Follow(right); s == StopNoDiffer {
			low1++
		}
	}
	for _, c := range []struct {
		got int
		p   float64
	}{{up0, want.Alpha}, {low1, want.Beta}} {
		if z := (float64(c.got)/runs - c.p) / math.Sqrt(c.p*(1-c.p)/runs); math.Abs(z) > 4 {
			t.Errorf("simulated %.4f, recursion %.4f", float64(c.got)/runs, c.p)
		}
	}
	if want.Undecided <= 0 || want.Alpha > q.Alpha {
		t.Errorf("%+v", want)
	}
}
