package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// What is doubtful of a sensor's checks; our choice, no source.
const (
	checkOldDays = 30  // since its check
	checkFarK    = 2.0 // read there less what was true
)

// instruments: sensors without a class or a check, names that the register
// lacks, checks that are old or far off, and the corrections that were made.
func (q *qualityCheck) instruments(traces []*trace.Trace) {
	var bare, unlisted, seen []string
	known := false
	for _, t := range traces {
		x, ok := q.in.instrument(t.Channel)
		known = known || ok
		if t.Channel.Sensor != "" && !ok {
			unlisted = append(unlisted, fmt.Sprintf("%s of %s", t.Channel.Sensor, t.Channel.ID))
		}
		_, checked := CheckOf(x)
		if inPiece(t) && t.Channel.Class == "" && x.Class == "" && t.Channel.CheckedUK == 0 && !checked {
			bare = append(bare, t.Channel.ID)
		}
		if ok && !slices.Contains(seen, x.ID) {
			seen = append(seen, x.ID)
			q.checkOf(x, t)
		}
	}
	if len(bare) > 0 {
		q.add(Finding{Code: "sensor-unchecked", Severity: QualityNote, Count: len(bare)},
			"%s neither a stated class nor a check at a fixed point: ±2.2 K is taken (%s)", hasHave(len(bare)), strings.Join(bare, ", "))
	}
	if len(unlisted) > 0 && len(q.in.Instruments) > 0 {
		q.add(Finding{Code: "sensor-unlisted", Severity: QualityNote, Count: len(unlisted)},
			"the register of instruments does not hold %s: nothing is corrected by it", strings.Join(unlisted, ", "))
	}
	if !known {
		if named := namedInstruments(q.in.Instruments); len(traces) > 0 && len(named) > 0 && len(unlisted) == 0 {
			q.add(Finding{Code: "register-unused", Severity: QualityNote},
				"no channel names an instrument of the register (%s), so nothing is corrected: write sensor: %s to its channel in the column map and load the log again", strings.Join(named, ", "), named[0])
		}
		return
	}
	v, err := newView(q.in)
	if err != nil {
		return
	}
	for _, n := range joinedCorrections(v.notes) {
		q.add(Finding{Code: n.Code, Severity: QualityNote}, "%s", n.Text)
	}
}

// joinedCorrections are the notes of corrections, one for the channels that one
// check corrects.
func joinedCorrections(notes []fault.Note) (out []fault.Note) {
	const by = " is corrected by its check: "
	channels := map[string][]string{}
	for _, n := range notes {
		if ch, check, ok := strings.Cut(n.Text, by); ok {
			channels[check] = append(channels[check], ch)
		}
	}
	for _, n := range notes {
		_, check, ok := strings.Cut(n.Text, by)
		switch {
		case !isCorrection(n.Code):
		case !ok || len(channels[check]) == 1:
			out = append(out, n)
		case channels[check] != nil:
			out = append(out, fault.Notef(n.Code, "%s are corrected by their check: %s", strings.Join(channels[check], ", "), check))
			channels[check] = nil
		}
	}
	return out
}

// isCorrection reports whether a note tells of a correction by the register.
func isCorrection(code fault.Code) bool {
	switch code {
	case "sensor-corrected", "scale-corrected", "sensor-lag-corrected", "sensor-lag-left", "sensor-stem-corrected", "sensor-stem-left":
		return true
	}
	return false
}

// checkOf judges the checks of one instrument on the day of the cook.
func (q *qualityCheck) checkOf(x study.Instrument, t *trace.Trace) {
	f := Finding{Channel: t.Channel.ID, Place: t.Channel.Place}
	if c, ok := CheckOf(x); ok {
		off := c.LowR - c.LowC
		if high := c.HighR - c.HighC; c.Points == 2 && math.Abs(high) > math.Abs(off) {
			off = high
		}
		if math.Abs(off) > checkFarK {
			f.Code, f.Severity, f.Value = "check-far", QualityDoubt, off
			q.add(f, "%s %s: so large a correction asks for another sensor", x.ID, c.What)
		}
	} else if len(x.IceC)+len(x.BoilC) > 0 {
		f.Code, f.Severity = "check-refused", QualityDoubt
		q.add(f, "the checks of %s in ice and boiling water are too near each other to correct by", x.ID)
	}
	checked, err1 := time.Parse(time.DateOnly, x.Checked)
	day, err2 := time.Parse(time.DateOnly, q.in.Cook.Day)
	if err1 != nil || err2 != nil {
		return
	}
	if days := day.Sub(checked).Hours() / 24; days > checkOldDays || days < 0 {
		f.Code, f.Severity, f.Value = "check-old", QualityNote, days
		when := fmt.Sprintf("%.0f days before this cook", days)
		if days < 0 {
			when = fmt.Sprintf("%.0f days after this cook", -days)
		}
		q.add(f, "%s was checked %s", x.ID, when)
	}
}

func namedInstruments(register []study.Instrument) (ids []string) {
	for _, x := range register {
		ids = append(ids, x.ID)
	}
	return ids
}

func hasHave(n int) string {
	if n == 1 {
		return "one sensor has"
	}
	return fmt.Sprintf("%d sensors have", n)
}
