package heat

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// Both factorisations must satisfy the equations they were given.
func TestLinearSystems(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for _, size := range []struct{ nz, nr int }{{2, 1}, {3, 1}, {4, 1}, {5, 1}, {40, 1}, {6, 4}, {12, 5}, {9, 9}} {
		n := size.nz * size.nr
		full := make([][]float64, n)
		for i := range full {
			full[i] = make([]float64, n)
			full[i][i] = 0.1 + rng.Float64()
		}
		couple := func(i, j int) {
			g := 10 * rng.Float64()
			full[i][i] += g
			full[j][j] += g
			full[i][j], full[j][i] = -g, -g
		}
		for i := range n {
			if i+size.nr < n {
				couple(i, i+size.nr)
			}
			if size.nr > 1 && (i+1)%size.nr != 0 {
				couple(i, i+1)
			}
		}
		rhs, x := make([]float64, n), make([]float64, n)
		for i := range rhs {
			rhs[i] = rng.NormFloat64()
		}
		copy(x, rhs)
		if size.nr == 1 {
			d, u := make([]float64, n), make([]float64, n-1)
			for i := range n {
				d[i] = full[i][i]
				if i < n-1 {
					u[i] = full[i][i+1]
				}
			}
			tridiagonal(d, u, x)
		} else {
			var m banded
			m.resize(n, size.nr)
			m.clear()
			for i := range n {
				for j := max(0, i-size.nr); j <= i; j++ {
					m.a[i*(m.w+1)+m.w+j-i] = full[i][j]
				}
			}
			m.factor()
			m.solve(x)
		}
		for i := range n {
			sum := -rhs[i]
			for j := range n {
				sum += full[i][j] * x[j]
			}
			if math.Abs(sum) > 1e-12 {
				t.Errorf("%d × %d: row %d misses by %g", size.nz, size.nr, i, sum)
			}
		}
	}
}

// The gradient from four means must be exact for cubics.
func TestGradientOfMeans(t *testing.T) {
	e := [5]float64{0.1, 0.35, 0.5, 1.1, 1.3}
	for at := range e {
		for power := range 4 {
			w := gradientOfMeans(e, at)
			got := 0.0
			for j, x := range w {
				p := float64(power + 1)
				got += x * (math.Pow(e[j+1], p) - math.Pow(e[j], p)) / (p * (e[j+1] - e[j]))
			}
			want := float64(power) * math.Pow(e[at], float64(power-1))
			within(t, fmt.Sprintf("slope of x^%d at edge %d", power, at), got, want, 1e-11)
		}
	}
}
