package stats

import (
	"fmt"
	"math"
	"strconv"
	"testing"
)

// Certified values of the NIST Statistical Reference Datasets (StRD).
func certified(t testing.TB, set string) map[string]float64 {
	t.Helper()
	rows, _ := readCSV(t, "nist_certified.csv")
	out := map[string]float64{}
	for _, row := range rows {
		if row[1] == set {
			v, err := strconv.ParseFloat(row[5], 64)
			if err != nil {
				t.Fatal(set, row)
			}
			out[row[4]] = v
		}
	}
	return out
}

// digits is the number of correct digits, −log₁₀ of the relative error (of
// the absolute error where the certified value is zero); 15 at most.
func digits(got, want float64) float64 {
	d := math.Abs(got - want)
	if want != 0 {
		d /= math.Abs(want)
	}
	if d == 0 {
		return 15
	}
	return math.Min(15, -math.Log10(d))
}

func atLeast(t *testing.T, what string, got, want, least float64) {
	t.Helper()
	if d := digits(got, want); d < least || math.IsNaN(got) {
		t.Errorf("%s = %.15g, certified %.15g: %.1f digits, want %.1f", what, got, want, d, least)
	}
}

func TestNISTUnivariate(t *testing.T) {
	for _, c := range []struct {
		set           string
		mean, sd, lag float64 // digits
	}{
		{"Lew", 13, 13, 13},
		{"Lottery", 14, 13, 13},
		{"Michelso", 14, 13, 13},
		{"NumAcc1", 15, 15, 15},
		{"NumAcc2", 14, 14, 14},
		// The values are stored in doubles spaced 1.9e-9 around 10⁷, which
		// bounds what any arithmetic can reach.
		{"NumAcc4", 14, 8, 8},
	} {
		t.Run(c.set, func(t *testing.T) {
			y := load(t, "nist/"+c.set+".csv").numbers(t, "y")
			want := certified(t, c.set)
			atLeast(t, "mean", Mean(y), want["mean"], c.mean)
			atLeast(t, "sd", SD(y), want["sd_n1"], c.sd)
			atLeast(t, "lag-1 autocorrelation", Autocorrelation(y), want["r1"], c.lag)
		})
	}
}

func TestNISTOneWay(t *testing.T) {
	for _, c := range []struct {
		set   string
		least float64
	}{
		{"SiRstv", 11},
		{"SmLs01", 13}, {"SmLs02", 13}, {"SmLs03", 12},
		// Offsets of 10⁶: doubles there are spaced 1.2e-10 beside differences
		// of 0.1, which bounds the digits at 9 to 10.
		{"SmLs04", 9}, {"SmLs06", 9},
		// Offsets of 10¹²: spacing 1.2e-4.
		{"SmLs07", 2}, {"SmLs09", 2},
	} {
		t.Run(c.set, func(t *testing.T) {
			d := load(t, "nist/"+c.set+".csv")
			m, err := FitModel(ModelSpec{Response: d.numbers(t, "y"), Factors: d.factors("group"), Fixed: []string{"group"}})
			if err != nil {
				t.Fatal(err)
			}
			want := certified(t, c.set)
			a := m.ANOVA()
			between, within := a.Rows[0], a.Rows[1]
			atLeast(t, "df between", between.DF, want["df_between"], 15)
			atLeast(t, "df within", within.DF, want["df_within"], 15)
			atLeast(t, "ss between", between.SumSq, want["ss_between"], c.least)
			atLeast(t, "ss within", within.SumSq, want["ss_within"], c.least)
			atLeast(t, "F", between.F, want["F"], c.least)
			atLeast(t, "residual sd", math.Sqrt(m.Sigma2), want["resid_sd"], c.least)
		})
	}
}

func TestNISTLinear(t *testing.T) {
	for _, c := range []struct {
		set       string
		degree    int // of a polynomial in x; 0 takes the columns as they are
		intercept bool
		least     float64
	}{
		{"Norris", 0, true, 13},
		{"NoInt1", 0, false, 13},
		{"Longley", 0, true, 12},
		{"Wampler1", 5, true, 12},
		{"Wampler2", 5, true, 12},
		{"Wampler3", 5, true, 12},
		{"Wampler5", 5, true, 12},
		// Condition number 10¹⁵ as given; powers of x round before any fit.
		{"Filip", 10, true, 7.5},
	} {
		t.Run(c.set, func(t *testing.T) {
			d := load(t, "nist/"+c.set+".csv")
			y := d.numbers(t, "y")
			var x [][]float64
			switch {
			case c.degree > 0:
				base := d.numbers(t, "x")
				power := append([]float64(nil), base...)
				for range c.degree {
					x = append(x, append([]float64(nil), power...))
					for i := range power {
						power[i] *= base[i]
					}
				}
			case len(d) == 2:
				x = append(x, d.numbers(t, "x"))
			default:
				for j := 1; j < len(d); j++ {
					x = append(x, d.numbers(t, fmt.Sprint("x", j)))
				}
			}
			fit, err := LeastSquares(y, x, c.intercept)
			if err != nil {
				t.Fatal(err)
			}
			want := certified(t, c.set)
			first := 1
			if c.intercept {
				first = 0
			}
			// A residual of exactly zero is certified for Wampler1 and 2.
			exact := want["ss_residual"] == 0
			for j := range fit.Coefficients {
				name := fmt.Sprint("B", first+j)
				atLeast(t, name, fit.Coefficients[j], want[name+"_est"], c.least)
				if !exact {
					atLeast(t, name+" se", fit.SE[j], want[name+"_se"], c.least)
				}
			}
			if exact {
				return
			}
			atLeast(t, "residual sd", fit.ResidualSD, want["resid_sd"], c.least)
			atLeast(t, "R²", fit.RSquared, want["r_squared"], c.least)
			atLeast(t, "ss regression", fit.SSRegression, want["ss_regression"], c.least)
			atLeast(t, "F", fit.F, want["F"], c.least)
		})
	}
}
