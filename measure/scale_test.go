package measure_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"trivet/measure"
	"trivet/study"
	"trivet/trace"
)

// scaleTrace is a kitchen scale before, and after a cook: empty and off by
// 0.6 g, the raw piece laid on with a hand's push, lifted; laid on again at
// 1010 s, losing 1.2 g/min, touched at 1300 s, until 1600 s.
func scaleTrace() trace.Trace {
	r := rand.New(rand.NewPCG(5, 1))
	tr := channel("scale", trace.Scale, -120, 1600, func(t float64) float64 {
		m := 0.6
		switch {
		case t >= -80 && t < -20:
			m += 250
			if t < -76 {
				m += 90 * math.Sin(3*t)
			}
		case t >= 1010:
			m += 225 - 1.2*(t-1010)/60
			if t < 1013 || t >= 1300 && t < 1306 {
				m += 60 * math.Cos(5*t)
			}
		}
		return m + 0.05*r.NormFloat64()
	})
	tr.Channel.Unit = trace.Gram
	return tr
}

func TestWeighingsFromAScale(t *testing.T) {
	in := cook()
	in.Cook.Weighings = []study.Weighing{{Stage: study.Drip, MassG: 5, ResG: 0.1}}
	in.Traces = append(in.Traces, scaleTrace())
	res, err := measure.Cook(in, "cooking_loss", "rest_loss", "drip_loss", "evaporation_loss", "steam_rate")
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]float64{"cooking_loss": 10, "rest_loss": 100 * (1.2 * 590 / 60) / 250, "drip_loss": 2, "evaporation_loss": 8, "steam_rate": 1.2} {
		r, ok := res.Get(name)
		if !ok {
			t.Fatalf("%s: %+v", name, res.Absent)
		}
		if math.Abs(r.Value-want) > 0.08 {
			t.Errorf("%s = %.3f, want %.3f", name, r.Value, want)
		}
	}
	text := ""
	for _, n := range res.Notes {
		text += n.Text + "\n"
	}
	if !strings.Contains(text, "the mass raw (250.0 g) is read from the scale channel") {
		t.Error(text)
	}
	// What was typed in stands.
	in.Cook.Weighings = append(in.Cook.Weighings, study.Weighing{Stage: study.Raw, MassG: 260, ResG: 0.1})
	res, _ = measure.Cook(in, "cooking_loss")
	if r, _ := res.Get("cooking_loss"); math.Abs(r.Value-100*35.0/260) > 0.05 {
		t.Errorf("%v", r.Value)
	}
}

// A scale logged every five or ten seconds tells the same, and one that the
// piece stays on through the cook tells its mass at heat on.
func TestWeighingsFromACoarseScale(t *testing.T) {
	for _, every := range []int{2, 5, 10} {
		in := cook()
		in.Cook.Weighings = nil
		fine := scaleTrace()
		tr := fine
		tr.TimesUS, tr.Counts = nil, nil
		for i := 0; i < fine.Len(); i += every {
			tr.TimesUS, tr.Counts = append(tr.TimesUS, fine.TimesUS[i]), append(tr.Counts, fine.Counts[i])
		}
		in.Traces = append(in.Traces, tr)
		res, err := measure.Cook(in, "cooking_loss", "rest_loss", "steam_rate")
		if err != nil {
			t.Fatal(err)
		}
		for name, want := range map[string]float64{"cooking_loss": 10, "rest_loss": 100 * (1.2 * 590 / 60) / 250, "steam_rate": 1.2} {
			if r, ok := res.Get(name); !ok || math.Abs(r.Value-want) > 0.2 {
				t.Errorf("every %d s: %s = %.3f, want %.3f %+v", every, name, r.Value, want, res.Absent)
			}
		}
	}
	in := cook()
	in.Cook.Weighings = nil
	on := channel("scale", trace.Scale, -60, 1600, func(t float64) float64 { return 250 - math.Max(0, t)*0.025 })
	on.Channel.Unit = trace.Gram
	in.Traces = append(in.Traces, on)
	res, err := measure.Cook(in, "cooking_loss", "rest_loss")
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]float64{"cooking_loss": 10, "rest_loss": 6} {
		if r, ok := res.Get(name); !ok || math.Abs(r.Value-want) > 0.1 {
			t.Errorf("kept on the scale: %s = %.3f, want %.3f %+v", name, r.Value, want, res.Absent)
		}
	}
}

// The evaporation rate has few degrees of freedom from few weighings, and
// masses before trimming or blotting count for no loss.
func TestStagesKeptApart(t *testing.T) {
	in := cook()
	in.Cook.Weighings = append([]study.Weighing{{Stage: study.Untrimmed, MassG: 300, ResG: 0.1}, {Stage: study.Unblotted, MassG: 255, ResG: 0.1}}, in.Cook.Weighings...)
	res, err := measure.Cook(in, "cooking_loss", "total_loss", "steam_rate")
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]float64{"cooking_loss": 10, "total_loss": 14, "steam_rate": 1} {
		if r, _ := res.Get(name); math.Abs(r.Value-want) > 1e-9 {
			t.Errorf("%s = %v", name, r.Value)
		}
	}
	r, _ := res.Get("steam_rate")
	if _, k := r.Expanded(); k < 10 {
		t.Errorf("two weighings, k = %.2f", k)
	}
}

func TestSettleLeavesHandlingOut(t *testing.T) {
	tr := scaleTrace()
	ts, vs := tr.Points(0)
	p := measure.Settle(ts, vs, 0.1)
	loaded := 0
	for _, x := range p {
		if !x.Empty {
			loaded++
			if math.Abs(x.TareG-0.6) > 0.1 || x.FirstG < 200 || x.FirstG > 251 {
				t.Errorf("%+v", x)
			}
		}
	}
	if loaded != 3 { // raw; before and after the touch
		t.Errorf("%+v", p)
	}
}
