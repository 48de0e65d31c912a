package trace

// PlotPoint is a point of a line to draw. Break says that the line does not
// come from the point before: a gap lies between.
type PlotPoint struct {
	US    int64
	V     float64
	Break bool
}

// Envelope thins the values from fromUS to toUS for a plot of the given
// number of columns: of each column it keeps the first, smallest, largest and
// last value, in order of time, so that the drawn line covers the same pixels
// as all samples would. Gaps longer than maxGapUS break the line.
func (t *Trace) Envelope(fromUS, toUS int64, columns int, maxGapUS int64) []PlotPoint {
	if columns < 1 || toUS <= fromUS {
		return nil
	}
	lo, hi := t.Index(fromUS), t.Len()
	out := make([]PlotPoint, 0, min(4*columns, hi-lo)+4)
	width := float64(toUS-fromUS) / float64(columns)
	column := -1
	var cell [4]PlotPoint // first, smallest, largest, last
	filled := false
	flush := func() {
		if !filled {
			return
		}
		first, low, high, last := cell[0], cell[1], cell[2], cell[3]
		if low.US > high.US {
			low, high = high, low
		}
		for _, p := range [4]PlotPoint{first, low, high, last} {
			if n := len(out); n == 0 || out[n-1].US < p.US {
				out = append(out, p)
			}
		}
		filled = false
	}
	lastUS, any := int64(0), false
	for i := lo; i < hi && t.TimesUS[i] <= toUS; i++ {
		v, ok := t.Value(i)
		if !ok {
			continue
		}
		us := t.TimesUS[i]
		p := PlotPoint{us, v, any && us-lastUS > maxGapUS}
		lastUS, any = us, true
		if c := int(float64(us-fromUS) / width); c != column || p.Break {
			flush()
			column = c
		}
		if !filled {
			cell, filled = [4]PlotPoint{p, p, p, p}, true
			continue
		}
		if v < cell[1].V {
			cell[1] = p
		}
		if v > cell[2].V {
			cell[2] = p
		}
		cell[3] = p
	}
	flush()
	return out
}
