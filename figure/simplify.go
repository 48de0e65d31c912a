package figure

import "math"

// simplify drops points that lie within tol of the line through those kept:
// what is left cannot be told from all of it at that size.
//
// References: Ramer U., "An iterative procedure for the polygonal
// approximation of plane curves", Computer Graphics and Image Processing
// 1(3), 1972; Douglas D., Peucker T., The Canadian Cartographer 10(2), 1973.
func simplify(pts []Point, tol float64) []Point {
	if len(pts) < 3 {
		return pts
	}
	keep := make([]bool, len(pts))
	keep[0], keep[len(pts)-1] = true, true
	type span struct{ from, to int }
	for stack := []span{{0, len(pts) - 1}}; len(stack) > 0; {
		s := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		far, at := tol, -1
		for i := s.from + 1; i < s.to; i++ {
			if d := offLine(pts[i], pts[s.from], pts[s.to]); d > far {
				far, at = d, i
			}
		}
		if at >= 0 {
			keep[at] = true
			stack = append(stack, span{s.from, at}, span{at, s.to})
		}
	}
	var out []Point
	for i, k := range keep {
		if k {
			out = append(out, pts[i])
		}
	}
	return out
}

// offLine is the distance of p from the stretch a to b.
func offLine(p, a, b Point) float64 {
	dx, dy := b.X-a.X, b.Y-a.Y
	n := dx*dx + dy*dy
	if n == 0 {
		return math.Hypot(p.X-a.X, p.Y-a.Y)
	}
	t := math.Max(0, math.Min(1, ((p.X-a.X)*dx+(p.Y-a.Y)*dy)/n))
	return math.Hypot(p.X-a.X-t*dx, p.Y-a.Y-t*dy)
}
