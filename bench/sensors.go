package bench

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// SensorsOf are the instruments that a cook's channels name, by channel in the
// order they came; "" where a channel names none. Channels of one name count as
// one.
func SensorsOf(traces []trace.Trace) (channels []string, sensors map[string]string) {
	sensors = map[string]string{}
	for _, t := range traces {
		id := t.Channel.ID
		if _, seen := sensors[id]; !seen {
			channels = append(channels, id)
		}
		if sensors[id] == "" {
			sensors[id] = t.Channel.Sensor
		}
	}
	return channels, sensors
}

// SetSensors says from which instruments of the register channels of a cook
// come, and enters it in the history. The samples stay as they are; what was
// computed from them is computed again. An error has code "channel-unknown",
// "instrument-unknown" or, for samples that are still coming in,
// "channel-running".
func SetSensors(ctx context.Context, nb Notebook, rec *Record, cook study.Cook, sensors map[string]string, now time.Time) error {
	traces, err := nb.Traces(ctx, rec.Study.ID, cook.ID)
	if err != nil {
		return err
	}
	channels, was := SensorsOf(traces)
	for id, sensor := range sensors {
		if !slices.Contains(channels, id) {
			return fault.New("channel-unknown", "the cook has no such channel").On(id, sensor).WithFix("reload the page; its logs may have been read anew")
		}
		if sensor != "" && sensor != was[id] && !slices.ContainsFunc(rec.Study.Instruments, func(x study.Instrument) bool { return x.ID == sensor }) {
			return fault.New("instrument-unknown", "the study lists no such instrument").On(id, sensor).WithFix("list it among the study's instruments first")
		}
	}
	changed := map[string]bool{} // logs
	var said []string
	for i := range traces {
		t := &traces[i]
		to, asked := sensors[t.Channel.ID]
		if !asked || to == t.Channel.Sensor {
			continue
		}
		if t.Source == "" {
			return fault.New("channel-running", "samples of this channel are still coming in").On(t.Channel.ID, to).WithFix("wait until the cook is finished")
		}
		t.Channel.Sensor, changed[t.Source] = to, true
		what := t.Channel.ID + " from " + to
		if to == "" {
			what = t.Channel.ID + " from no instrument that is named"
		}
		if !slices.Contains(said, what) {
			said = append(said, what)
		}
	}
	if len(said) == 0 {
		return nil
	}
	// Samples are replaced log by log.
	traces = slices.DeleteFunc(traces, func(t trace.Trace) bool { return !changed[t.Source] })
	return nb.PutTraces(ctx, rec.Study.ID, cook.ID, traces, nil, study.Event{At: now, Study: rec.Study.ID, Kind: study.EventChanged,
		What: fmt.Sprintf("channels of cook %s come from other instruments: %s", cook.Label, strings.Join(said, "; "))})
}
