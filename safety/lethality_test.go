package safety_test

import (
	"math"
	"testing"

	"trivet/safety"
)

// ramp samples a temperature every step seconds through corner points.
func ramp(step float64, corners ...[2]float64) safety.Log {
	var l safety.Log
	l.GapS = 1e9
	at := func(t float64) float64 {
		for i := 1; i < len(corners); i++ {
			a, b := corners[i-1], corners[i]
			if t <= b[0] {
				return a[1] + (b[1]-a[1])*(t-a[0])/(b[0]-a[0])
			}
		}
		return corners[len(corners)-1][1]
	}
	end := corners[len(corners)-1][0]
	for t := 0.0; t < end; t += step {
		l.TimeS, l.TempC = append(l.TimeS, t), append(l.TempC, at(t))
	}
	l.TimeS, l.TempC = append(l.TimeS, end), append(l.TempC, at(end))
	return l
}

// Equivalent minutes at 60 °C with z = 10 °F, by the closed form of the
// integral over a ramp of b °C/min from T1 to T2,
// (z/ln 10)/b · (10^((T2−60)/z) − 10^((T1−60)/z)), computed independently; any
// sampling interval gives the same.
func TestEquivalentMinutesAgainstTheClosedForm(t *testing.T) {
	k := safety.Kinetics{DS: 60, RefC: 60, ZK: 10 / 1.8} // D of a minute: log10 reads in minutes
	for _, tc := range []struct {
		name string
		log  safety.Log
		base float64
		want float64
	}{
		{"12 min at 60 °C", ramp(1, [2]float64{0, 60}, [2]float64{720, 60}), math.Inf(-1), 12},
		{"4 min at 145 °F", ramp(1, [2]float64{0, 62.77778}, [2]float64{240, 62.77778}), math.Inf(-1), 12.649},
		{"ramp 50 to 65 °C at 1 °C/min, every second", ramp(1, [2]float64{0, 50}, [2]float64{900, 65}), math.Inf(-1), 19.12689},
		{"the same, every minute", ramp(60, [2]float64{0, 50}, [2]float64{900, 65}), math.Inf(-1), 19.12689},
		{"up, hold, down", ramp(10, [2]float64{0, 50}, [2]float64{720, 62}, [2]float64{900, 62}, [2]float64{1860, 54}), math.Inf(-1), 23.0148},
		{"the same, nothing below 130 °F", ramp(10, [2]float64{0, 50}, [2]float64{720, 62}, [2]float64{900, 62}, [2]float64{1860, 54}), 54.44444, 22.7306},
	} {
		if got := k.Log10(tc.log, tc.base, 0); math.Abs(got-tc.want) > 1e-3 {
			t.Errorf("%s: %.5f, want %.5f", tc.name, got, tc.want)
		}
	}
}

// D60 106.2 s, z 5.56, from 50 to 70 °C at 2 K/min.
func TestRampByDAndZ(t *testing.T) {
	k := safety.Kinetics{DS: 106.2, RefC: 60, ZK: 5.56}
	l := ramp(10, [2]float64{0, 50}, [2]float64{600, 70})
	if got := k.Log10(l, math.Inf(-1), 0); math.Abs(got-42.885) > 1e-3 {
		t.Errorf("all of it: %.4f, want 42.885", got)
	}
	if got := k.Log10(l, 54.4, 0); math.Abs(got-42.83) > 5e-3 {
		t.Errorf("from 54.4 °C: %.4f, want 42.83", got)
	}
	// One kelvin changes the figure by 10^(1/z): 1.51.
	if r := k.Log10(l, math.Inf(-1), 1) / k.Log10(l, math.Inf(-1), 0); math.Abs(r-1.513) > 0.001 {
		t.Errorf("one kelvin multiplies by %.4f", r)
	}
}

func TestAGapEarnsNothing(t *testing.T) {
	l := ramp(1, [2]float64{0, 60}, [2]float64{720, 60})
	l.TimeS = append(l.TimeS, 5000)
	l.TempC = append(l.TempC, 60)
	l.GapS = 30
	k := safety.Kinetics{DS: 60, RefC: 60, ZK: 5}
	if got := k.Log10(l, 0, 0); math.Abs(got-12) > 1e-9 {
		t.Errorf("%v minutes, want 12", got)
	}
	if n, s := l.Gaps(); n != 1 || s != 4280 {
		t.Errorf("%d gaps of %v s", n, s)
	}
}

// Rows of USDA FSIS Revised Appendix A (2021), Table 2, and FDA Food Code
// 2022, 3-401.11.
func TestCriteriaAreMetByTheirPrintedRows(t *testing.T) {
	hold := func(f, seconds float64) safety.Log {
		return ramp(1, [2]float64{0, (f-32)/1.8 + 1e-9}, [2]float64{seconds, (f-32)/1.8 + 1e-9})
	}
	for _, tc := range []struct {
		name  string
		food  safety.Food
		index int
		log   safety.Log
		want  safety.State
	}{
		{"6.5 log10: 145 °F for 4 min", safety.Food{Animal: "beef"}, 3, hold(145, 241), safety.Reached},
		{"6.5 log10: 145 °F for 3 min 50 s", safety.Food{Animal: "beef"}, 3, hold(145, 230), safety.NotReached},
		{"6.5 log10: 130 °F for 112 min", safety.Food{Animal: "beef"}, 3, hold(130, 6721), safety.Reached},
		{"6.5 log10: just under 130 °F all day", safety.Food{Animal: "beef"}, 3, hold(129.9, 40000), safety.NotReached},
		{"6.5 log10: 158 °F, instant", safety.Food{Animal: "pork"}, 3, hold(158, 2), safety.Reached},
		{"chicken 12 %: 140 °F for 35 min", safety.Food{Animal: "chicken"}, 2, hold(140, 2101), safety.Reached},
		{"chicken 1 %: 140 °F for 25.2 min", safety.Food{Animal: "chicken", FatPct: 1}, 2, hold(140, 1513), safety.Reached},
		{"chicken 12 %: 140 °F for 30 min", safety.Food{Animal: "chicken"}, 2, hold(140, 1800), safety.NotReached},
		{"consumer chart, poultry at 164 °F", safety.Food{Animal: "turkey"}, 0, hold(164, 600), safety.NotReached},
		{"consumer chart, poultry at 165 °F", safety.Food{Animal: "turkey"}, 0, hold(165, 2), safety.Reached},
	} {
		cs, err := safety.Criteria(tc.food)
		if err != nil {
			t.Fatal(err)
		}
		if got := tc.log.Against(cs[tc.index], 0, true); got.State != tc.want {
			t.Errorf("%s (%s): %s, want %s; needed %v logged %v at %v", tc.name, cs[tc.index].Name, got.State, tc.want, got.NeededS, got.LoggedS, got.AtC)
		}
	}
}

func TestUncertaintyAndIgnoranceLowerTheClaim(t *testing.T) {
	cs, err := safety.Criteria(safety.Food{Animal: "beef"})
	if err != nil {
		t.Fatal(err)
	}
	l := ramp(1, [2]float64{0, 63}, [2]float64{300, 63})
	if m := l.Against(cs[3], 0, true); m.State != safety.Reached {
		t.Errorf("5 min at 63 °C: %+v", m)
	}
	if m := l.Against(cs[3], 1, true); m.State != safety.NotReached {
		t.Errorf("the same less 1 K: %+v", m)
	}
	if m := l.Against(cs[3], 0, false); m.State != safety.CannotTell || m.Met != nil {
		t.Errorf("with an unknown coldest point: %+v", m)
	}
}

func TestFittedKineticsNameTheirSource(t *testing.T) {
	for _, f := range []safety.Food{{Animal: "beef"}, {Animal: "chicken"}, {Animal: "chicken", FatPct: 5}, {Animal: "turkey", FatPct: 0.5}} {
		k, err := safety.FittedKinetics(f)
		if err != nil || k.Source == "" || k.Check() != nil {
			t.Errorf("%+v: %+v %v", f, k, err)
		}
	}
	if k, _ := safety.FittedKinetics(safety.Food{Animal: "lamb"}); k.DS != 106.2 || k.ZK != 5.56 {
		t.Errorf("meat: %+v", k)
	}
	if _, err := safety.FittedKinetics(safety.Food{Animal: "tofu"}); err == nil {
		t.Error("tofu has kinetics")
	}
}

// Tables only ever ask for less time at a higher temperature.
func TestNeededTimeFallsWithTemperature(t *testing.T) {
	for _, f := range []safety.Food{{Animal: "beef"}, {Animal: "beef", Form: "ground"}, {Animal: "chicken"}, {Animal: "turkey", FatPct: 3}} {
		cs, err := safety.Criteria(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range cs {
			last := math.Inf(1)
			for tC := 50.0; tC < 80; tC += 0.05 {
				if need, ok := c.Needed(tC); ok {
					if need > last+1e-9 {
						t.Errorf("%s: %v s at %.2f °C after %v", c.Name, need, tC, last)
					}
					last = need
				}
			}
		}
	}
}
