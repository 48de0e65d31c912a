package stats

import (
	"math"
	"strconv"
	"testing"
)

// distribution_reference.csv: noncentral t by mpmath quadrature (50 digits),
// noncentral F and t quantiles by R 4.2.2. R stops its sum for the noncentral F
// at an error of 1e-9 (errmax in pnbeta.c), always from below; the identity with
// the noncentral t below holds ours to 1e-10.
func TestNoncentralDistributions(t *testing.T) {
	rows, col := readCSV(t, "distribution_reference.csv")
	seen := map[string]int{}
	for _, r := range rows {
		num := func(name string) float64 {
			x, err := strconv.ParseFloat(r[col[name]], 64)
			if err != nil {
				t.Fatalf("%v: %v", r, err)
			}
			return x
		}
		dist := r[col["dist"]]
		var got, tolerance float64
		switch dist {
		case "noncentral_t":
			got, tolerance = 1-noncentralTUpper(num("x"), num("par1"), num("par2")), 1e-11
		case "noncentral_F":
			got, tolerance = noncentralFCDF(num("x"), num("par1"), num("par2"), num("par3")), 1.1e-9
		case "t":
			got, tolerance = tQuantile(num("x"), num("par1")), 1e-9
		default:
			continue
		}
		seen[dist]++
		if want := num("value"); math.Abs(got-want) > tolerance*math.Max(1, math.Abs(want)) {
			t.Errorf("%s %s(%s; %s, %s, %s) = %.14g, want %.14g", r[0], dist, r[col["x"]], r[col["par1"]], r[col["par2"]], r[col["par3"]], got, want)
		}
	}
	for dist, want := range map[string]int{"noncentral_t": 225, "noncentral_F": 203, "t": 25} {
		if seen[dist] != want {
			t.Errorf("%d rows of %s, want %d", seen[dist], dist, want)
		}
	}
}

// F with one numerator degree of freedom is the square of t, also when
// noncentral: P(F' ≤ t²; 1, ν, δ²) = P(−t ≤ T' ≤ t; ν, δ).
func TestNoncentralFOfOneDegreeIsNoncentralTSquared(t *testing.T) {
	for _, df := range []float64{1, 3, 10, 60} {
		for _, x := range []float64{0.3, 1, 2.5, 8} {
			for _, ncp := range []float64{0, 0.5, 2, 6, 25} {
				want := noncentralTUpper(-x, df, ncp) - noncentralTUpper(x, df, ncp)
				if got := noncentralFCDF(x*x, 1, df, ncp*ncp); math.Abs(got-want) > 1e-10 {
					t.Errorf("ν %v x %v δ %v: F %v, t %v", df, x, ncp, got, want)
				}
			}
		}
	}
}

// Where gonum's series is still good, the integral for large noncentralities
// gives the same.
func TestFarNoncentralTMeetsTheSeries(t *testing.T) {
	for _, df := range []float64{1, 2, 5, 30, 200} {
		for _, x := range []float64{5, 12.7, 25, 31, 60} {
			near, far := noncentralTUpper(x, df, 29.9), farNoncentralT(x, df, 29.9)
			if math.Abs(near-far) > 1e-9 {
				t.Errorf("ν %v t %v: series %.12g, integral %.12g", df, x, near, far)
			}
		}
	}
	if got := PowerDifference(100, 1, 3, 0.05); !(got > 0.999999) {
		t.Errorf("a difference of 100 standard errors has power %v", got)
	}
}

func TestNoncentralFAtItsEdges(t *testing.T) {
	for _, tc := range []struct{ f, d1, d2, lambda, want float64 }{
		{0, 2, 3, 4, 0}, {math.Inf(1), 2, 3, 4, 1}, {1e12, 2, 30, 1, 1},
	} {
		if got := noncentralFCDF(tc.f, tc.d1, tc.d2, tc.lambda); math.Abs(got-tc.want) > 1e-12 {
			t.Errorf("F(%v) = %v, want %v", tc.f, got, tc.want)
		}
	}
	for _, bad := range [][4]float64{{math.NaN(), 1, 1, 1}, {1, 0, 1, 1}, {1, 1, -1, 1}, {1, 1, 1, -1}, {1, 1, 1, math.Inf(1)}} {
		if got := noncentralFCDF(bad[0], bad[1], bad[2], bad[3]); !math.IsNaN(got) {
			t.Errorf("%v gives %v", bad, got)
		}
	}
	if got := noncentralFCDF(1000, 3, 40, 4000); !(got > 0 && got < 1) {
		t.Errorf("a noncentrality of 4000 gives %v", got)
	}
}
