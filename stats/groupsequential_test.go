package stats

import (
	"math"
	"strconv"
	"strings"
	"testing"
)

// All rows of sequential_reference.csv: an independent program in mpmath.
func TestSequentialAgainstReference(t *testing.T) {
	rows, col := readCSV(t, "sequential_reference.csv")
	sleep := sleepDifferences(t)
	seen := 0
	for _, r := range rows {
		at := map[string]float64{}
		for _, kv := range strings.Split(r[col["params"]], ";") {
			k, v, _ := strings.Cut(kv, "=")
			at[k], _ = strconv.ParseFloat(v, 64)
		}
		n := int(at["n"])
		want, err := strconv.ParseFloat(r[col["value"]], 64)
		if err != nil {
			t.Fatal(err)
		}
		var got float64
		switch r[col["method"]] + " " + r[col["quantity"]] {
		case "normal_mixture_two_sided_boundary u(V)":
			got = NormalMixtureBoundary(at["V"], at["rho"], at["alpha"])
		case "msprt_known_sigma e_value":
			got = KnownVarianceEValue(n, at["xbar"], at["mu0"], at["sigma2"], at["tau2"])
		case "t_mixture_e_value log_e":
			got = LogEValue(n, at["t"], at["g"])
		case "t_mixture_cs t_multiplier":
			got = ConfidenceSequenceRadius(n, at["g"], at["alpha"])
		case "sleep_sequential_cs t":
			got = studentT(sleep[:n])
		case "sleep_sequential_cs log_e_mu0=0":
			got = LogEValue(n, studentT(sleep[:n]), at["g"])
		case "sleep_sequential_cs cs_hi", "sleep_sequential_cs cs_lo":
			h := ConfidenceSequenceRadius(n, at["g"], at["alpha"]) * SD(sleep[:n]) / math.Sqrt(float64(n))
			got = Mean(sleep[:n]) + h
			if r[col["quantity"]] == "cs_lo" {
				got = Mean(sleep[:n]) - h
			}
		case "lan_demets_pocock_spending alpha_spent":
			got = SpendEvenly.Spent(at["alpha"], at["t"])
		case "lan_demets_OBF_spending alpha_spent":
			got = SpendLate.Spent(at["alpha"], at["t"])
		default:
			t.Errorf("row %s is not understood", r[0])
			continue
		}
		seen++
		if got != want && !(math.Abs(got-want) <= 2e-11*math.Max(1, math.Abs(want))) {
			t.Errorf("%s %s %s: %.13g, want %.13g", r[0], r[col["method"]], r[col["params"]], got, want)
		}
	}
	if seen != 329 {
		t.Errorf("%d rows, want 329", seen)
	}
}

func studentT(d []float64) float64 { return Mean(d) * math.Sqrt(float64(len(d))) / SD(d) }

func sleepDifferences(t *testing.T) []float64 {
	d := load(t, "data/sleep.csv")
	var a, b []float64
	for i, g := range d["group"] {
		x, err := strconv.ParseFloat(d["extra"][i], 64)
		if err != nil {
			t.Fatal(err)
		}
		if g == "1" {
			a = append(a, x)
		} else {
			b = append(b, x)
		}
	}
	out := make([]float64, len(a))
	for i := range a {
		out[i] = b[i] - a[i]
	}
	return out
}

// Classical boundaries at two-sided 5 % with equal groups: the constants of
// Pocock (1977) and O'Brien & Fleming (1979) as in C. Jennison & B. W.
// Turnbull, Group Sequential Methods (2000), tables 2.1 and 2.3 (three
// decimals): with the constant boundary the paths that cross have chance α.
func TestCrossingChanceOfPublishedBoundaries(t *testing.T) {
	for _, tc := range []struct {
		k              int
		pocock, obrien float64
	}{{2, 2.178, 1.977}, {3, 2.289, 2.004}, {4, 2.361, 2.024}, {5, 2.413, 2.040}, {10, 2.555, 2.087}} {
		flat, falling := &Looks{}, &Looks{}
		for i := 1; i <= tc.k; i++ {
			share := float64(i) / float64(tc.k)
			flat.Share, falling.Share = append(flat.Share, share), append(falling.Share, share)
			flat.Z = append(flat.Z, tc.pocock)
			falling.Z = append(falling.Z, tc.obrien/math.Sqrt(share))
		}
		for name, l := range map[string]*Looks{"Pocock": flat, "O'Brien & Fleming": falling} {
			up, down := l.Crossing(0)
			sum := 0.0
			for i := range up {
				sum += up[i] + down[i]
			}
			if math.Abs(sum-0.05) > 1.5e-4 { // the constants have three decimals
				t.Errorf("%s, %d looks: %v", name, tc.k, sum)
			}
		}
	}
}

// Boundaries of the spending functions against R 4.2.2, mvtnorm 1.1-3:
// uniroot on pmvnorm (algorithm Miwa, 4096 steps) for three equal
// looks at two-sided 5 %; see testdata/reference.R.
func TestBoundariesOfSpendingFunctions(t *testing.T) {
	for _, tc := range []struct {
		s    Spending
		want [3]float64
	}{
		{SpendLate, [3]float64{3.394757202, 2.406732613, 2.015246721}},
		{SpendEvenly, [3]float64{2.279428239, 2.294911132, 2.295938359}},
	} {
		l, err := GroupSequential(tc.s, 0.05, []float64{1. / 3, 2. / 3, 1})
		if err != nil {
			t.Fatal(err)
		}
		for i, want := range tc.want {
			if math.Abs(l.Z[i]-want) > 2e-6 {
				t.Errorf("%s look %d: %.7f, want %.7f", tc.s, i+1, l.Z[i], want)
			}
		}
		up, down := l.Crossing(0)
		sum := 0.0
		for i := range up {
			sum += up[i] + down[i]
		}
		if math.Abs(sum-0.05) > 1e-9 {
			t.Errorf("%s: the whole error rate is %v", tc.s, sum)
		}
	}
}

// A look after every one of 60 blocks still spends alpha in all, and one look
// is the fixed test.
func TestManyLooksAndOne(t *testing.T) {
	var share []float64
	for i := 1; i <= 60; i++ {
		share = append(share, float64(i)/60)
	}
	l, err := GroupSequential(SpendLate, 0.05, share)
	if err != nil {
		t.Fatal(err)
	}
	if end := l.Z[59]; !(end > 1.96 && end < 2.25) || math.Abs(l.Spent[59]-0.05) > 1e-12 {
		t.Errorf("last boundary %v, spent %v", end, l.Spent[59])
	}
	one, _ := GroupSequential(SpendEvenly, 0.05, []float64{1})
	if math.Abs(one.Nominal[0]-0.05) > 1e-10 {
		t.Errorf("one look at %v", one.Nominal[0])
	}
	up, _ := one.Crossing(3)
	if want := bigPhi(3 - 1.959963984540054); math.Abs(up[0]-want) > 1e-9 {
		t.Errorf("chance of crossing %v, want %v", up[0], want)
	}
	for _, bad := range [][]float64{nil, {0}, {0.5, 0.5}, {0.5, 1.1}, {math.NaN()}} {
		if _, err := GroupSequential(SpendLate, 0.05, bad); err == nil {
			t.Errorf("looks %v are taken", bad)
		}
	}
}
