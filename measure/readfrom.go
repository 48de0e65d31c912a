package measure

import (
	"fmt"
	"slices"
	"strings"

	"trivet/study"
	"trivet/trace"
)

// ReadFrom says what of the cook's record the value was read from: channels,
// marks and weighings, in words. It is told where the value was computed just
// now and empty where it was stored.
func (r Response) ReadFrom() []string { return r.from }

// sourcesRead collects what a response is read from while it is computed.
type sourcesRead struct {
	channels, other []string
}

func (s *sourcesRead) add(format string, args ...any) {
	if text := fmt.Sprintf(format, args...); !slices.Contains(s.other, text) {
		s.other = append(s.other, text)
	}
}

// words lists the channels first.
func (s *sourcesRead) words() []string {
	var out []string
	switch len(s.channels) {
	case 0:
	case 1:
		out = append(out, "channel "+s.channels[0])
	default:
		out = append(out, "channels "+strings.Join(s.channels, ", "))
	}
	return append(out, s.other...)
}

// channels are those at some places that hold samples; they count as read.
func (v *view) channels(places ...trace.Place) []series {
	out := v.held(places...)
	for _, s := range out {
		name := fmt.Sprintf("%s (%s)", s.ch.ID, s.ch.Place)
		if !slices.Contains(v.read.channels, name) {
			v.read.channels = append(v.read.channels, name)
		}
	}
	return out
}

// readMark notes that a mark was used.
func (v *view) readMark(kind study.MarkKind, atS float64) {
	v.read.add("the mark %s at %s", strings.ReplaceAll(string(kind), "-", " "), clockText(atS))
}

// readHeatOn notes that the time since heat on was used.
func (v *view) readHeatOn() { v.read.add("the mark heat on") }

// readWeighing notes that a typed weighing was used.
func (v *view) readWeighing(w study.Weighing) {
	v.read.add("the weighing %s, %.5g g", stageWords(w.Stage), w.MassG)
}
