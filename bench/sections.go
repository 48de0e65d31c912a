package bench

import (
	"context"

	"trivet/trace"
)

// LongTrace is a trace that is read section by section, in order of time.
type LongTrace struct {
	trace.Trace     // without samples
	Samples     int // of all sections
	Sections    int
	Section     func(i int) (*trace.Trace, error) // from 0
}

// Held is a trace in memory as one section.
func Held(t *trace.Trace) LongTrace {
	out := LongTrace{Trace: *t, Samples: t.Len(), Sections: 1, Section: func(int) (*trace.Trace, error) { return t, nil }}
	out.TimesUS, out.Counts, out.Missing = nil, nil, trace.Bitmap{}
	return out
}

// SectionReader is a Reader that reads the samples of a cook section by
// section, so that a cook of any length takes the memory of a few.
type SectionReader interface {
	// Sections hands f the traces of a cook as [Reader.Traces] has them, all
	// of one unchanging state. They may be read until f returns.
	Sections(ctx context.Context, studyID, cookID string, f func([]LongTrace) error) error
}
