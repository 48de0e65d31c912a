package trace

import (
	"math"

	"trivet/fault"
)

// Join puts parts of one channel behind each other, in order of time, as one
// trace: the first part's channel, source and offset stand for all. Parts with
// quanta that are whole multiples of the finest are brought to it without
// loss; empty parts are passed over.
func Join(parts ...*Trace) (*Trace, error) {
	var out *Trace
	n, quantum := 0, math.Inf(1)
	for _, p := range parts {
		if p.Len() > 0 {
			n, quantum = n+p.Len(), min(quantum, p.Quantum)
		}
	}
	for _, p := range parts {
		if p.Len() == 0 && (n > 0 || out != nil) {
			continue
		}
		if out == nil {
			first := *p
			out = &first
			out.TimesUS, out.Counts, out.Missing = make([]int64, 0, n), make([]int64, 0, n), Bitmap{}
			if n > 0 {
				out.Quantum = quantum
			}
		}
		if p.Channel.Unit != out.Channel.Unit || p.Elapsed != out.Elapsed {
			return nil, fault.New("trace-join", "parts of one trace have different units or clocks").On("trace", p.Channel.ID)
		}
		ratio := math.Round(p.Quantum / out.Quantum)
		if ratio < 1 || math.Abs(p.Quantum/out.Quantum-ratio) > 1e-9*ratio {
			return nil, fault.New("trace-join", "one part counts in %v, another in %v: neither is a multiple of the other", p.Quantum, out.Quantum).On("trace", p.Channel.ID)
		}
		if k := len(out.TimesUS); k > 0 && p.Len() > 0 && p.TimesUS[0] <= out.TimesUS[k-1] {
			return nil, fault.New("trace-order", "a part begins before the one before it ends").On("trace", p.Channel.ID)
		}
		base := len(out.TimesUS)
		out.TimesUS = append(out.TimesUS, p.TimesUS...)
		for i, c := range p.Counts {
			if math.Abs(float64(c))*ratio > mostCount {
				return nil, fault.New("trace-range", "sample %d (from 1) is too large for the finer counts of the other part", i+1).On("trace", p.Channel.ID)
			}
			out.Counts = append(out.Counts, c*int64(ratio))
			if p.Missing.Has(i) {
				out.Missing.Set(base + i)
			}
		}
	}
	if out == nil {
		return nil, fault.New("trace-join", "there are no parts to join")
	}
	return out, nil
}
