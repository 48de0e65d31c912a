package logfile

import (
	"math"

	"trivet/trace"
)

// A Sink takes the samples of a log piece by piece while it is read.
type Sink interface {
	// Samples adds samples to the traces with the numbers first, first+1, …
	// The pieces of one call have the same times, and their memory is the
	// caller's again when it returns. A later piece of a trace may have a
	// finer quantum. Clock offset and source are not yet known.
	Samples(first int, pieces []trace.Trace) error
	// Session begins another of several logs glued into one file: what follows
	// stands apart from what came before.
	Session() error
	// Settle keeps the samples of the latest session or those of the one kept
	// before it, and drops the others.
	Settle(latest bool) error
	// Done tells at the end what the traces are, without their samples;
	// numbers says which number the pieces of each had. Pieces with a coarser
	// quantum are to be refined; see [trace.Trace.Refine].
	Done(traces []*trace.Trace, numbers []int) error
}

// Discard is a sink that keeps nothing: of a log loaded into it the account
// and the extents are known.
var Discard Sink = discard{}

type discard struct{}

func (discard) Samples(int, []trace.Trace) error { return nil }
func (discard) Session() error                   { return nil }
func (discard) Settle(bool) error                { return nil }
func (discard) Done([]*trace.Trace, []int) error { return nil }

// memory is the sink of a log that is kept in its traces.
type memory struct {
	kept, latest map[int]*trace.Trace
}

func (m *memory) Session() error {
	m.kept, m.latest = m.latest, nil
	return nil
}

func (m *memory) Settle(latest bool) error {
	if !latest {
		m.latest = m.kept
	}
	m.kept = nil
	return nil
}

func (m *memory) Samples(first int, pieces []trace.Trace) error {
	if m.latest == nil {
		m.latest = map[int]*trace.Trace{}
	}
	var times []int64
	for i := range pieces {
		p := &pieces[i]
		t := m.latest[first+i]
		if t == nil {
			t = &trace.Trace{Quantum: p.Quantum}
			m.latest[first+i] = t
		}
		if i == 0 {
			times = append(t.TimesUS, p.TimesUS...)
		}
		if p.Quantum < t.Quantum {
			t.Refine(finer(t.Quantum, p.Quantum))
			t.Quantum = p.Quantum
		}
		for k := range p.Counts {
			if p.Missing.Has(k) {
				t.Missing.Set(len(t.Counts) + k)
			}
		}
		t.TimesUS, t.Counts = times, append(t.Counts, p.Counts...)
	}
	return nil
}

func (m *memory) Done(traces []*trace.Trace, numbers []int) error {
	for i, head := range traces {
		t := m.latest[numbers[i]]
		if t == nil {
			continue
		}
		if head.Quantum < t.Quantum {
			t.Refine(finer(t.Quantum, head.Quantum))
		}
		head.TimesUS, head.Counts, head.Missing = t.TimesUS, t.Counts, t.Missing
	}
	return nil
}

// finer is how many of the one quantum make the other: a power of ten.
func finer(coarse, fine float64) int64 { return int64(math.Round(coarse / fine)) }
