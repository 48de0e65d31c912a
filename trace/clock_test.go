package trace

import (
	"math"
	"testing"

	"trivet/fault"
)

// onOtherClock is a trace as a device shows it whose clock is behind by
// offset and runs slow by rate.
func onOtherClock(t *Trace, offsetS, rate float64) *Trace {
	out := *t
	out.TimesUS = make([]int64, t.Len())
	for i, us := range t.TimesUS {
		out.TimesUS[i] = int64(math.Round(float64(us)*(1-rate) - offsetS*1e6))
	}
	return &out
}

// A logger that is 37.4 s behind and loses 200 µs a second (0.7 s an hour) is
// brought to the common clock by each method.
func TestClocksAreAligned(t *testing.T) {
	const offset, rate = 37.4, 200e-6
	cook := panCook(60, 1500, 1800, []float64{300, 540, 780, 1020, 1260}, 0.1, 2, 15, 28)
	again := panCook(60, 1500, 1800, []float64{300, 540, 780, 1020, 1260}, 0.12, 2, 28)
	var device []*Trace
	for _, tr := range again {
		device = append(device, onOtherClock(tr, offset, rate))
	}
	for _, c := range []struct {
		name string
		tolS float64
		fit  func() (ClockFit, error)
	}{
		{"marks", 0.01, func() (ClockFit, error) {
			var p []SyncPoint
			for _, s := range []float64{60, 700, 1500} {
				p = append(p, SyncPoint{DeviceUS: int64(s*(1-rate)*1e6 - offset*1e6), CommonUS: int64(s * 1e6), UUS: 20e3})
			}
			return AlignByMarks(p)
		}},
		{"turns", 2, func() (ClockFit, error) { return AlignByTurns(cook, device, DetectOptions{}) }},
		{"signal", 0.5, func() (ClockFit, error) { return AlignBySignal(cook[0], device[0], 120) }},
	} {
		f, err := c.fit()
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		for _, s := range []float64{100, 900, 1700} {
			dev := int64(s*(1-rate)*1e6 - offset*1e6)
			e := float64(f.Alignment.Apply(dev))/1e6 - s
			if math.Abs(e) > c.tolS {
				t.Errorf("%s: %.0f s is mapped %.2f s off (u %.2f s)", c.name, s, e, f.At(dev)/1e6)
			}
			back := f.Alignment.Inverse().Apply(f.Alignment.Apply(dev))
			if abs(back-dev) > 1 {
				t.Errorf("%s: there and back is %d µs off", c.name, back-dev)
			}
		}
		if f.Method != c.name || len(f.Points) < 3 {
			t.Errorf("%+v", f)
		}
		t.Logf("%s: offset %.2f s, rate %.0f ppm, residual %.3f s, u %.3f s", c.name, float64(f.Alignment.OffsetUS)/1e6, 1e6*f.Alignment.Rate, f.RMSUS/1e6, f.OffsetUUS/1e6)
	}
}

func TestClocksThatCannotBeAligned(t *testing.T) {
	cook := panCook(60, 600, 900, []float64{300}, 0.1, 2, 28)
	cold := panCook(1e9, 1e9, 900, nil, 0.1, 2, 28)
	if _, err := AlignBySignal(cook[0], cold[1], 120); fault.As(err) == nil {
		t.Errorf("unrelated signals: %v", err)
	}
	if _, err := AlignByTurns(cook, cold, DetectOptions{}); fault.As(err) == nil {
		t.Errorf("no events: %v", err)
	}
	if _, err := AlignByMarks(nil); fault.As(err) == nil {
		t.Errorf("no marks: %v", err)
	}
}
