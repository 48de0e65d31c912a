package trace

// OverviewSamples is how many samples of a trace one step of its overview
// stands for.
const OverviewSamples = 128

// Overview thins a trace for plots that show all of it: of every
// [OverviewSamples] samples it keeps the smallest and the largest that have a
// value, at their times, besides the first and the last of the trace. It is a
// trace like any other and stored as one. A gap shorter than two steps is no
// longer seen in it.
func (t *Trace) Overview() *Trace { return t.Thin(OverviewSamples) }

// Thin is [Trace.Overview] with steps of so many samples, at least 1.
func (t *Trace) Thin(samples int) *Trace {
	samples = max(samples, 1)
	out := *t
	out.TimesUS, out.Counts, out.Missing = nil, nil, Bitmap{}
	n := t.Len()
	keep := func(i int) {
		if k := len(out.TimesUS); k == 0 || out.TimesUS[k-1] < t.TimesUS[i] {
			out.TimesUS, out.Counts = append(out.TimesUS, t.TimesUS[i]), append(out.Counts, t.Counts[i])
		}
	}
	first, last := 0, n-1
	for first < n && t.Missing.Has(first) {
		first++
	}
	for last >= first && t.Missing.Has(last) {
		last--
	}
	if first > last {
		return &out
	}
	keep(first)
	for lo := first; lo <= last; lo += samples {
		least, most := -1, -1
		for i := lo; i < min(lo+samples, last+1); i++ {
			if t.Missing.Has(i) {
				continue
			}
			if least < 0 || t.Counts[i] < t.Counts[least] {
				least = i
			}
			if most < 0 || t.Counts[i] > t.Counts[most] {
				most = i
			}
		}
		if least >= 0 {
			keep(min(least, most))
			keep(max(least, most))
		}
	}
	keep(last)
	return &out
}
