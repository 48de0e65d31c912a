package trace

import (
	"math"

	"trivet/fault"
)

// Alignment is a map from a device's clock to the common clock:
//
//	t' = Anchor + Offset + (t − Anchor)·(1 + Rate)
//
// Rate is the relative speed difference (25e-6 for a device clock that loses
// 25 µs a second). The zero Alignment changes nothing. An alignment is kept
// beside the raw times and never replaces them.
type Alignment struct {
	AnchorUS int64   `json:"anchor_us,omitempty"`
	OffsetUS int64   `json:"offset_us"`
	Rate     float64 `json:"rate,omitempty"`
}

// Apply maps a device time to the common clock, rounded to 1 µs.
func (a Alignment) Apply(us int64) int64 {
	d := us - a.AnchorUS
	return us + a.OffsetUS + int64(math.Round(float64(d)*a.Rate))
}

// Inverse is the map back; a time that goes there and back is the same to
// 1 µs.
func (a Alignment) Inverse() Alignment {
	return Alignment{AnchorUS: a.AnchorUS + a.OffsetUS, OffsetUS: -a.OffsetUS, Rate: 1/(1+a.Rate) - 1}
}

// Aligned returns the trace on the common clock. Counts and the missing
// samples share their memory with t, whose own times stay as they are.
func (t *Trace) Aligned(a Alignment) (*Trace, error) {
	if !(a.Rate > -0.5 && a.Rate < 0.5) {
		return nil, fault.New("alignment-rate", "a clock that runs %v times too fast is no clock", a.Rate).On("rate", "")
	}
	out := *t
	out.TimesUS = make([]int64, t.Len())
	for i, us := range t.TimesUS {
		out.TimesUS[i] = a.Apply(us)
		if i > 0 && out.TimesUS[i] <= out.TimesUS[i-1] {
			return nil, fault.New("alignment-order", "sample %d (from 1) and the one before fall on the same microsecond once aligned", i+1).On("trace", t.Channel.ID)
		}
	}
	return &out, nil
}

// SyncPoint is one event seen on both clocks. UUS is the standard uncertainty
// of the difference between the two times, µs; 0 where it is not known.
type SyncPoint struct {
	DeviceUS int64   `json:"device_us"`
	CommonUS int64   `json:"common_us"`
	UUS      float64 `json:"u_us,omitempty"`
}

// FitAlignment finds the alignment through sync points: the offset alone from
// one, offset and rate by least squares from two or more. WorstUS is the
// largest distance of a point from the fit.
func FitAlignment(points []SyncPoint) (a Alignment, worstUS int64, err error) {
	if len(points) == 0 {
		return a, 0, fault.New("alignment-points", "no event was seen on both clocks").WithFix("mark one sync event at least, two to find the rate")
	}
	a.AnchorUS = points[0].DeviceUS
	n := float64(len(points))
	var sx, sy, sxx, sxy float64
	for _, p := range points {
		x := float64(p.DeviceUS - a.AnchorUS)
		y := float64(p.CommonUS - p.DeviceUS - (points[0].CommonUS - a.AnchorUS))
		sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	if det := n*sxx - sx*sx; det > 0 {
		a.Rate = (n*sxy - sx*sy) / det
	} else if len(points) > 1 {
		return a, 0, fault.New("alignment-points", "the sync events stand at one time of the device").WithFix("mark one near the start and one near the end")
	}
	a.OffsetUS = points[0].CommonUS - a.AnchorUS + int64(math.Round((sy-a.Rate*sx)/n))
	for _, p := range points {
		worstUS = max(worstUS, abs(a.Apply(p.DeviceUS)-p.CommonUS))
	}
	return a, worstUS, nil
}

func abs(v int64) int64 {
	if v < 0 {
		return -v
	}
	return v
}
