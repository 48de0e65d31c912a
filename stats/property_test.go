package stats

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"trivet/fault"
)

// drawTable makes a table of any shape: blocks or none, missing cells,
// repeats, rounded responses.
func drawTable(rt *rapid.T) Table {
	n := rapid.IntRange(2, 24).Draw(rt, "rows")
	var t Table
	blocks := rapid.IntRange(0, 6).Draw(rt, "blocks")
	treatments := rapid.IntRange(1, 4).Draw(rt, "treatments")
	for range n {
		t.Response = append(t.Response, float64(rapid.IntRange(-30, 30).Draw(rt, "y"))/rapid.SampledFrom([]float64{1, 10}).Draw(rt, "step"))
		t.Treatment = append(t.Treatment, fmt.Sprint("t", rapid.IntRange(1, treatments).Draw(rt, "t")))
		if blocks > 0 {
			t.Block = append(t.Block, fmt.Sprint("b", rapid.IntRange(1, blocks).Draw(rt, "b")))
		}
	}
	return t
}

// Whatever the table, the answer is a comparison or a fault, never a panic or
// an endless loop; intervals hold their estimates, p-values lie in [0, 1] and
// the JSON has no number JSON cannot hold.
func TestCompareAnyTable(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		o := Options{
			Margin: rapid.SampledFrom([]float64{0, 0.5, 3}).Draw(rt, "margin"),
			Blocks: rapid.SampledFrom([]Blocks{"", BlocksFixed, BlocksRandom}).Draw(rt, "how"),
			Adjust: rapid.SampledFrom([]Adjust{AdjustHolm, AdjustNone}).Draw(rt, "adjust"),
		}
		table := drawTable(rt)
		c, err := Compare(table, o)
		if err != nil {
			if fault.As(err) == nil {
				rt.Fatalf("not a fault: %v", err)
			}
			return
		}
		for _, k := range c.Contrasts {
			if !(k.CILow <= k.Estimate && k.Estimate <= k.CIHigh) || !(k.P >= 0 && k.P <= 1) || k.PAdjusted < k.P-1e-12 || !(k.DF > 0) {
				rt.Fatalf("contrast %+v of %+v", k, table)
			}
			// The two one-sided tests at a are the 1−2a interval.
			if o.Margin > 0 {
				ci := k.Interval(0.90)
				inside := -o.Margin < ci.Low && ci.High < o.Margin
				if inside != (k.EquivP < 0.05) && math.Abs(k.EquivP-0.05) > 1e-9 {
					rt.Fatalf("equivalence p %g, 90 %% interval %v, margin %g", k.EquivP, ci, o.Margin)
				}
			}
		}
		if _, err := json.Marshal(c); err != nil {
			rt.Fatal(err)
		}
		c.LeaveOneOut()
		if _, err := c.Permutation(""); err != nil && fault.As(err) == nil {
			rt.Fatal(err)
		}
	})
}

// Another order of the rows, another unit and another zero change nothing
// that matters.
func TestCompareIsInvariant(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		table := drawTable(rt)
		a, err := Compare(table, Options{})
		if err != nil {
			return
		}
		order := seq(table.Len())
		Shuffle(NewStream(fmt.Sprint(rapid.IntRange(0, 1000).Draw(rt, "order")), "rows", 0), order)
		factor, offset := rapid.SampledFrom([]float64{0.01, 1.8, 60}).Draw(rt, "unit"), rapid.SampledFrom([]float64{0, 32, -273.15}).Draw(rt, "zero")
		var moved Table
		for _, i := range order {
			moved.Response = append(moved.Response, table.Response[i]*factor+offset)
			moved.Treatment = append(moved.Treatment, table.Treatment[i])
			if table.Block != nil {
				moved.Block = append(moved.Block, table.Block[i])
			}
		}
		b, err := Compare(moved, Options{})
		if err != nil {
			rt.Fatal(err)
		}
		for i, k := range a.Contrasts {
			m := b.Contrasts[i]
			if !alike(k.Estimate*factor, m.Estimate, 1e-6*k.SE*factor) || !alike(k.SE*factor, m.SE, 1e-6*k.SE*factor) || !alike(k.DF, m.DF, 1e-4*k.DF) {
				rt.Fatalf("%+v became %+v", k, m)
			}
		}
	})
}

func alike(a, b, tol float64) bool { return math.Abs(a-b) <= tol+1e-12 }

// The model is told nothing by the coding: a different control gives the same
// differences.
func TestCompareAnyControl(t *testing.T) {
	d := load(t, "data/cakeA_bibd_t6_b15_k2.csv")
	table := NewTable(d.numbers(t, "angle"), d["temp"], d["replicate"])
	a := compare(t, table, Options{Control: "175"})
	b := compare(t, table, Options{Control: "225"})
	var to225, to185 Contrast
	for _, k := range a.Contrasts {
		switch k.Treatment {
		case "225":
			to225 = k
		case "185":
			to185 = k
		}
	}
	for _, k := range b.Contrasts {
		if k.Treatment == "185" {
			near(t, "185 − 225", k.Estimate, to185.Estimate-to225.Estimate, 1e-9)
		}
		if k.Treatment == "175" {
			near(t, "se", k.SE, to225.SE, 1e-9)
			near(t, "df", k.DF, to225.DF, 1e-6)
		}
	}
}

// REML on dense matrices, straight from the definition, for small problems.
func TestREMLAgreesWithDenseMatrices(t *testing.T) {
	cake := load(t, "data/cake.csv").where("recipe", "B").without(2, 9, 31, 60)
	m, err := FitModel(ModelSpec{Response: cake.numbers(t, "angle"), Factors: cake.factors("temp", "replicate"), Fixed: []string{"temp"}, Random: []string{"replicate"}})
	if err != nil {
		t.Fatal(err)
	}
	// −2ℓ(θ) from the block form against |V| and P from dense Cholesky.
	f := newFactor(cake["replicate"])
	q := append([][]float64{ones(m.N)}, m.basis.qr.q()...)
	var first float64
	for i, theta := range []float64{0, 0.3, 1.2, 4} {
		at := m.reml.at([]float64{theta})
		v := newSymmetric(m.N)
		for a := range m.N {
			v.add(a, a, 1)
			for b := range m.N {
				if f.index[a] == f.index[b] {
					v.add(a, b, theta*theta)
				}
			}
		}
		v.cholesky()
		half := make([][]float64, m.N) // L⁻¹[Q y]
		y := m.resid
		for r := range m.N {
			for _, c := range q {
				half[r] = append(half[r], c[r])
			}
			half[r] = append(half[r], y[r])
		}
		v.forward(half)
		p := len(q)
		info := newSymmetric(p + 1)
		for _, row := range half {
			addOuter(info.a, row, row, 1)
		}
		info.cholesky()
		rss := info.a[p*(p+1)+p] * info.a[p*(p+1)+p]
		logInfo := 0.0
		for k := range p {
			logInfo += 2 * math.Log(info.a[k*(p+1)+k])
		}
		df := float64(m.N - p)
		dense := v.logDet() + logInfo + df*(1+math.Log(2*math.Pi*rss/df))
		near(t, fmt.Sprint("σ² at ", theta), at.sigma2, rss/df, 1e-10)
		if i == 0 {
			first = at.deviance - dense
		}
		if math.Abs(at.deviance-dense-first) > 1e-9 {
			t.Errorf("θ = %g: −2ℓ differs by %g, at 0 by %g", theta, at.deviance-dense, first)
		}
	}
}

func ones(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = 1 / math.Sqrt(float64(n))
	}
	return x
}

// The gradient and Hessian in closed form are those of the deviance.
func TestREMLDerivatives(t *testing.T) {
	m, _ := mixedCases[3].fit(t) // unbalanced, two groupings
	p := m.reml
	deviance := func(psi []float64) float64 { // −2ℓ at any σ², not profiled
		at := p.at([]float64{math.Sqrt(psi[1] / psi[0]), math.Sqrt(psi[2] / psi[0])})
		df := float64(p.n - p.p)
		return at.deviance - df*(1+math.Log(2*math.Pi*at.sigma2)) + df*math.Log(2*math.Pi*psi[0]) + at.sigma2*df/psi[0]
	}
	psi := []float64{140, 90, 260}
	at := p.at([]float64{math.Sqrt(psi[1] / psi[0]), math.Sqrt(psi[2] / psi[0])})
	c := p.curvature(at, psi[0])
	for i := range psi {
		h := 1e-3 * psi[i]
		up, down := append([]float64(nil), psi...), append([]float64(nil), psi...)
		up[i] += h
		down[i] -= h
		near(t, fmt.Sprint("gradient ", i), c.grad[i], (deviance(up)-deviance(down))/(2*h), 1e-4)
		near(t, fmt.Sprint("curvature ", i), c.hess.a[i*3+i], (deviance(up)-2*deviance(psi)+deviance(down))/(h*h), 1e-3)
	}
}

// Blocks that differ ten million times more than pieces do, and readings far
// from zero, leave the comparison inside blocks as it was.
func TestMixedModelWithHugeBlocks(t *testing.T) {
	d := load(t, "data/cake.csv").where("recipe", "A")
	y := d.numbers(t, "angle")
	fixed := compare(t, NewTable(y, d["temp"], d["replicate"]), Options{Control: "175"})
	moved := make([]float64, len(y))
	for i := range y {
		b, _ := strconv.Atoi(d["replicate"][i])
		moved[i] = y[i] + 1e9 + 3e6*float64(b*b%17)
	}
	for _, how := range []Blocks{BlocksFixed, BlocksRandom} {
		c := compare(t, NewTable(moved, d["temp"], d["replicate"]), Options{Control: "175", Blocks: how})
		for i, k := range c.Contrasts {
			what := string(how) + " " + k.Treatment
			near(t, what, k.Estimate, fixed.Contrasts[i].Estimate, 1e-7)
			near(t, what+" se", k.SE, fixed.Contrasts[i].SE, 1e-6)
			near(t, what+" df", k.DF, 70, 1e-4)
		}
	}
}
