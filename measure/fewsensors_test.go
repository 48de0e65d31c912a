package measure

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"trivet/trace"
)

// A sensor or two do not see what both faces meet: what they cannot tell is
// not offered, or not as if it were sure.
func TestFewSensorsClaimLittle(t *testing.T) {
	for _, c := range []struct {
		at    []int // of the eight sensors of the probe
		place trace.Place
		never []string
	}{
		{[]int{3}, trace.Core, []string{trace.Turn, trace.OffHeat, trace.Moved}},
		{[]int{0}, trace.Depth, []string{trace.Turn, trace.OffHeat, trace.Moved}},
		{[]int{0, 3}, trace.Depth, []string{trace.Turn, trace.OffHeat, trace.Moved}},
		{[]int{2, 3, 4}, trace.Depth, []string{trace.Turn, trace.OffHeat, trace.Moved}},
		{[]int{0, 7}, trace.Depth, []string{trace.Moved}},
	} {
		t.Run(fmt.Sprint(c.at), func(t *testing.T) {
			sure, wrong := 0, 0
			for i := range uint64(6) {
				for _, l := range []logged{panLog(t, reported+1000+i, 0.2), ovenLog(t, reported+1000+i, 0.2)} {
					var in []*trace.Trace
					for _, k := range c.at {
						tr := l.traces[k]
						tr.Channel.Place = c.place
						in = append(in, &tr)
					}
					for _, e := range trace.Detect(in, trace.DetectOptions{ThicknessM: loggedThickM}) {
						if slices.Contains(c.never, e.Kind) {
							t.Errorf("%s is offered at %d s", e.Kind, e.AtUS/1e6)
						}
						if e.Confidence < 0.8 {
							continue
						}
						sure++
						if !slices.ContainsFunc(l.truth[e.Kind], func(at float64) bool { return math.Abs(float64(e.AtUS)/1e6-at) <= 3*max(e.TimeU, 3) }) {
							wrong++
						}
					}
				}
			}
			t.Logf("%d of %d offers that seem sure are wrong", wrong, sure)
			if float64(wrong) > 0.2*float64(sure)+1 {
				t.Errorf("%d of %d offers that seem sure are wrong", wrong, sure)
			}
		})
	}
}
