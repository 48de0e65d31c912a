package figure

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestDecimateKeepsExtremesAndEnds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64Range(-50, 250), 1, 400).Draw(t, "values")
		at := make([]float64, len(v))
		for i := range at {
			at[i] = float64(i)
		}
		n := rapid.IntRange(1, 60).Draw(t, "columns")
		runs := decimate(at, v, 0, float64(len(v)), n)
		if len(runs) != 1 {
			t.Fatalf("%d stretches of an unbroken trace", len(runs))
		}
		run := runs[0]
		if run[0] != (Point{0, v[0]}) || run[len(run)-1] != (Point{at[len(v)-1], v[len(v)-1]}) {
			t.Fatal("the ends moved")
		}
		if len(run) > 4*(n+1) {
			t.Fatalf("%d points for %d columns", len(run), n)
		}
		all, kept := newSpread(), newSpread()
		all.add(v...)
		for i, p := range run {
			kept.add(p.Y)
			if i > 0 && p.X <= run[i-1].X {
				t.Fatal("times do not rise")
			}
		}
		if all != kept {
			t.Fatalf("extremes %v became %v", all, kept)
		}
	})
}

func TestDecimateBreaksAtGaps(t *testing.T) {
	nan := math.NaN()
	runs := decimate([]float64{0, 1, 2, 3, 4, nan, 6}, []float64{1, 2, nan, math.Inf(1), 5, 6, 7}, 0, 6, 100)
	if len(runs) != 3 || len(runs[0]) != 2 || runs[1][0] != (Point{4, 5}) || runs[2][0] != (Point{6, 7}) {
		t.Errorf("got %v, want three stretches", runs)
	}
	if runs := decimate([]float64{1}, []float64{nan}, 0, 1, 10); runs != nil {
		t.Errorf("got %v from no values", runs)
	}
}

func TestSwarmKeepsDotsApart(t *testing.T) {
	at := []float64{10, 10, 10, 11, 30, math.NaN(), 10.5}
	const r = 3
	off := swarm(at, r, 40)
	for i := range at {
		for j := range i {
			if !finite(at[i]) || !finite(at[j]) {
				continue
			}
			if d := math.Hypot(at[i]-at[j], off[i]-off[j]); d < 2*r*0.95 {
				t.Errorf("dots %d and %d are %.2f px apart", i, j, d)
			}
		}
	}
	for i, o := range swarm(make([]float64, 50), r, 8) {
		if math.Abs(o) > 8 {
			t.Errorf("dot %d leaves the lane: %v", i, o)
		}
	}
}

// Every point dropped lies within the tolerance of what is kept; the ends
// stay.
func TestSimplifyStaysWithinTolerance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64Range(0, 100), 1, 120).Draw(t, "y")
		pts := make([]Point, len(v))
		for i, y := range v {
			pts[i] = Point{float64(i), y}
		}
		tol := rapid.Float64Range(0.01, 20).Draw(t, "tolerance")
		out := simplify(pts, tol)
		if out[0] != pts[0] || out[len(out)-1] != pts[len(pts)-1] {
			t.Fatal("the ends moved")
		}
		for _, p := range pts {
			near := math.Inf(1)
			for i := 1; i < len(out); i++ {
				near = math.Min(near, offLine(p, out[i-1], out[i]))
			}
			if len(out) > 1 && near > tol+1e-9 {
				t.Fatalf("%v is %.3f from the line kept, tolerance %.3f", p, near, tol)
			}
		}
	})
	line := make([]Point, 500)
	for i := range line {
		line[i] = Point{float64(i), 2 * float64(i)}
	}
	if out := simplify(line, 0.1); len(out) != 2 {
		t.Errorf("a straight line keeps %d points", len(out))
	}
}
