package figure

import "math"

// decimate thins a trace to the first, lowest, highest and last sample of
// each of n columns between lo and hi: at one column a pixel the drawn line
// is the same as that of all samples. A missing value ends a stretch; the
// result holds the stretches.
//
// References: Jugel U., Jerzak Z., Hackenbroich G., Markl V., "M4: a
// visualization-oriented time series data aggregation", PVLDB 7(10), 2014.
func decimate(at, v []float64, lo, hi float64, n int) [][]Point {
	var out [][]Point
	var run []Point
	var col [4]Point // first, lowest, highest, last
	k, in := -1, 0
	flush := func() {
		if in == 0 {
			return
		}
		low, high := col[1], col[2]
		if low.X > high.X {
			low, high = high, low
		}
		for _, p := range []Point{col[0], low, high, col[3]} {
			if len(run) == 0 || run[len(run)-1] != p {
				run = append(run, p)
			}
		}
		in = 0
	}
	cut := func() {
		flush()
		if len(run) > 0 {
			out = append(out, run)
		}
		run = nil
	}
	for i := range min(len(at), len(v)) {
		if !finite(at[i]) || !finite(v[i]) {
			cut()
			continue
		}
		p := Point{at[i], v[i]}
		c := 0
		if hi > lo {
			c = int(math.Floor((p.X - lo) / (hi - lo) * float64(n)))
		}
		if c != k {
			flush()
			k = c
		}
		if in == 0 {
			col = [4]Point{p, p, p, p}
		}
		if p.Y < col[1].Y {
			col[1] = p
		}
		if p.Y > col[2].Y {
			col[2] = p
		}
		col[3] = p
		in++
	}
	cut()
	return out
}
