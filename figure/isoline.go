package figure

// field is a quantity on a rectilinear grid: v[row][column] at y[row],
// x[column], both increasing.
type field struct {
	x, y []float64
	v    [][]float64
}

// isolines returns where f equals level as straight pieces, by marching
// squares with linear interpolation along the grid's edges. A saddle is
// resolved by the mean of its four corners.
//
// Reference: the case table of W. E. Lorensen and H. E. Cline, "Marching
// cubes", Computer Graphics 21 (1987) 163, in two dimensions.
func (f field) isolines(level float64) [][2]Point {
	var out [][2]Point
	for r := 0; r+1 < len(f.y); r++ {
		for c := 0; c+1 < len(f.x); c++ {
			a, b := f.v[r][c], f.v[r][c+1]
			d, e := f.v[r+1][c], f.v[r+1][c+1]
			if !finite(a) || !finite(b) || !finite(d) || !finite(e) {
				continue
			}
			x0, x1, y0, y1 := f.x[c], f.x[c+1], f.y[r], f.y[r+1]
			south := Point{cross(x0, x1, a, b, level), y0}
			north := Point{cross(x0, x1, d, e, level), y1}
			west := Point{x0, cross(y0, y1, a, d, level)}
			east := Point{x1, cross(y0, y1, b, e, level)}
			code := 0
			for i, v := range [4]float64{a, b, e, d} {
				if v >= level {
					code |= 1 << i
				}
			}
			switch code {
			case 1, 14:
				out = append(out, [2]Point{west, south})
			case 2, 13:
				out = append(out, [2]Point{south, east})
			case 3, 12:
				out = append(out, [2]Point{west, east})
			case 4, 11:
				out = append(out, [2]Point{east, north})
			case 6, 9:
				out = append(out, [2]Point{south, north})
			case 7, 8:
				out = append(out, [2]Point{west, north})
			case 5, 10:
				if high := (a+b+d+e)/4 >= level; high == (code == 5) {
					out = append(out, [2]Point{west, north}, [2]Point{south, east})
				} else {
					out = append(out, [2]Point{west, south}, [2]Point{east, north})
				}
			}
		}
	}
	return out
}

func cross(p0, p1, v0, v1, level float64) float64 {
	if v0 == v1 {
		return (p0 + p1) / 2
	}
	return p0 + (p1-p0)*(level-v0)/(v1-v0)
}

// joined links straight pieces that share an end into polylines, so that a
// back end strokes one path and dashes run on.
func joined(segs [][2]Point) [][]Point {
	next := map[Point][]int{}
	for i, s := range segs {
		next[s[0]] = append(next[s[0]], i)
		next[s[1]] = append(next[s[1]], i)
	}
	used := make([]bool, len(segs))
	follow := func(line []Point) []Point {
		for {
			end := line[len(line)-1]
			found := false
			for _, i := range next[end] {
				if used[i] {
					continue
				}
				used[i] = true
				other := segs[i][0]
				if other == end {
					other = segs[i][1]
				}
				line = append(line, other)
				found = true
				break
			}
			if !found {
				return line
			}
		}
	}
	var out [][]Point
	for i, s := range segs {
		if used[i] {
			continue
		}
		used[i] = true
		line := follow([]Point{s[0], s[1]})
		for l, r := 0, len(line)-1; l < r; l, r = l+1, r-1 {
			line[l], line[r] = line[r], line[l]
		}
		out = append(out, follow(line))
	}
	return out
}

// sample returns f at (x, y) by bilinear interpolation, held at the edges.
func (f field) sample(x, y float64) float64 {
	c, u := bracket(f.x, x)
	r, w := bracket(f.y, y)
	c1, r1 := min(c+1, len(f.x)-1), min(r+1, len(f.y)-1)
	low := f.v[r][c]*(1-u) + f.v[r][c1]*u
	high := f.v[r1][c]*(1-u) + f.v[r1][c1]*u
	return low*(1-w) + high*w
}

// bracket returns the interval of p that holds q and the share along it.
func bracket(p []float64, q float64) (int, float64) {
	if len(p) == 1 || q <= p[0] {
		return 0, 0
	}
	for i := 1; i < len(p); i++ {
		if q <= p[i] {
			return i - 1, (q - p[i-1]) / (p[i] - p[i-1])
		}
	}
	return len(p) - 1, 0
}
