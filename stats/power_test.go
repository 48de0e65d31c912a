package stats

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

// Values of testdata/power_reference.csv: R 4.2.2 (power.t.test with
// strict = TRUE) and the package pwr 1.3-0 for t tests; exact integration
// (mpmath) for the two one-sided tests, Phillips 1990.
func TestPowerAgainstReference(t *testing.T) {
	f, err := os.Open("testdata/power_reference.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, r := range rows[1:] {
		num := func(i int) float64 { x, _ := strconv.ParseFloat(r[i], 64); return x }
		kind, alpha, d, theta, margin, n, target, want := r[1], num(2), num(3), num(4), num(5), num(6), num(7), num(9)
		var power func(n int) float64
		switch kind {
		case "paired_t_two_sided":
			power = func(n int) float64 { return PowerDifference(d, 1/math.Sqrt(float64(n)), float64(n-1), alpha) }
		case "two_sample_t_two_sided":
			power = func(n int) float64 { return PowerDifference(d, math.Sqrt(2/float64(n)), float64(2*n-2), alpha) }
		case "paired_min_effect_one_sided (d=(theta-delta)/sd)":
			power = func(n int) float64 { return PowerBeyond(d, 0, 1/math.Sqrt(float64(n)), float64(n-1), 2*alpha) }
		case "paired_TOST (sd_diff=1)":
			power = func(n int) float64 {
				return PowerEquivalence(theta, margin, 1/math.Sqrt(float64(n)), float64(n-1), alpha)
			}
		case "two_sample_TOST (sd=1)":
			power = func(n int) float64 {
				return PowerEquivalence(theta, margin, math.Sqrt(2/float64(n)), float64(2*n-2), alpha)
			}
		default:
			continue
		}
		seen[kind]++
		if r[8] == "power" {
			if got := power(int(n)); math.Abs(got-want) > 1e-8 {
				t.Errorf("%s %s: power %.12g, want %.12g", r[0], kind, got, want)
			}
		} else if got := SmallestN(2, 4000, target, power); got != int(want) {
			t.Errorf("%s %s: n %d, want %v", r[0], kind, got, want)
		}
	}
	if len(seen) != 5 {
		t.Errorf("only %v of the kinds were found", seen)
	}
}

// The five outcomes of the three-sided test are all there is, and at θ = 0
// either side is as likely.
func TestThreeSidedChancesAddUp(t *testing.T) {
	for _, n := range []int{4, 6, 12, 40} {
		for _, theta := range []float64{0, 0.25, 1, 1.5, 2} {
			se, df := 1/math.Sqrt(float64(n)), float64(n-1)
			c := ThreeSided(theta, 1, se, df, 0.05)
			sum := c.Beyond + c.BeyondOther + c.InsideNonzero + c.InsideZero + c.Open
			if math.Abs(sum-1) > 1e-9 {
				t.Errorf("n %d θ %v: sum %v", n, theta, sum)
			}
			if theta == 0 && math.Abs(c.Beyond-c.BeyondOther) > 1e-12 {
				t.Errorf("n %d: %v beyond one way, %v the other", n, c.Beyond, c.BeyondOther)
			}
			if theta == 1 && c.Beyond > 0.0251 {
				t.Errorf("n %d: %v wrong “matters” at the margin", n, c.Beyond)
			}
		}
	}
}
