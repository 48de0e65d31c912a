package measure

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// What a face can be told to just after it changes is bounded. A film of
// contact L/Bi and a piece thicker by as much feel nearly alike to sensors
// inside, and a face stands off what it touches by that film times a gradient
// that is steepest after a jump. The bound is that of Cramér and Rao with the
// priors' information added (H. L. Van Trees 1968, Detection, Estimation, and
// Modulation Theory I, §2.4.3): u² ≥ gᵀ (JᵀJ/σ² + P)⁻¹ g, J and g taken at the
// true parameters, whatever the estimator. Truth: faces behind a film of Bi
// 200 at 95 and 30 °C, turned every three minutes.
func TestFaceBoundAfterAJump(t *testing.T) {
	const l, noise = 0.030, 0.3
	turns := []float64{180, 360, 540, 720}
	bound := func(thicknessUM float64, afterS float64) float64 {
		truth := func(x, t float64) float64 { return turned(l, 1.3e-7, 5, 95, 30, turns, x, t) }
		f, err := newProfileFit(probe(truth, l, 0, noise, 900, 7, eight...), ProfileOptions{ThicknessM: l, ThicknessUM: thicknessUM, TurnsS: turns, OffS: math.NaN()})
		if err != nil {
			t.Fatal(err)
		}
		p := []float64{0, math.Log(1.3e-7), 1e3 * l, math.Log(200), 95, math.Log(200), 30}
		nt, ns, n := len(f.timeS), len(f.sensors), f.params
		base, up, down := make([]float64, (ns+watched)*nt), make([]float64, (ns+watched)*nt), make([]float64, (ns+watched)*nt)
		f.model(p, f.places(p), base)
		jac := make([][]float64, n)
		for i := range n {
			const h = 1e-2
			q := append([]float64(nil), p...)
			q[i] += h
			f.model(q, f.places(q), up)
			q[i] -= 2 * h
			f.model(q, f.places(q), down)
			jac[i] = make([]float64, len(base))
			for j := range base {
				jac[i][j] = (up[j] - down[j]) / (2 * h)
			}
		}
		info := mat.NewSymDense(n, nil)
		perBlock := noise * noise / f.every // 1 Hz
		for i := range n {
			for k := i; k < n; k++ {
				sum := 0.0
				for j := range ns * nt {
					if !math.IsNaN(f.y[j]) {
						sum += jac[i][j] * jac[k][j] / perBlock
					}
				}
				if i == k {
					sum += 1 / squared(f.priorU[i])
				}
				info.SetSym(i, k, sum)
			}
		}
		var chol mat.Cholesky
		if !chol.Factorize(info) {
			t.Fatal("the information is singular")
		}
		k := 0
		for f.timeS[k] < 540+afterS {
			k++
		}
		g := mat.NewVecDense(n, nil)
		for i := range n {
			g.SetVec(i, jac[i][(ns+2)*nt+k]) // face B, which is laid on the hot side at 540 s
		}
		var x mat.VecDense
		if err := chol.SolveVecTo(&x, g); err != nil {
			t.Fatal(err)
		}
		return math.Sqrt(mat.Dot(g, &x))
	}
	for _, c := range []struct {
		name          string
		thicknessUM   float64
		afterS        float64
		least, atMost float64
	}{
		{"10 s after the jump", 0.3e-3, 10, 1, 2},
		{"30 s", 0.3e-3, 30, 0.6, 1},
		{"a minute", 0.3e-3, 60, 0.3, 0.8},
		{"3 minutes", 0.3e-3, 175, 0, 0.5},
		{"10 s, thickness known to 0.05 mm", 0.05e-3, 10, 0, 1},
	} {
		got := bound(c.thicknessUM, c.afterS)
		t.Logf("%s: no estimator tells the hot face with a smaller standard error than %.2f K", c.name, got)
		if got < c.least || got > c.atMost {
			t.Errorf("%s: bound %.2f K, want %g to %g", c.name, got, c.least, c.atMost)
		}
	}
}

// A face that the model puts above boiling says what that is worth.
func TestProfileSaysThatAFaceIsACrust(t *testing.T) {
	const l = 0.030
	pr, err := FitProfile(probe(newConvective(l, 1.3e-7, 10, 5, 180).at, l, 0, 0.3, 300, 3, eight...), ProfileOptions{ThicknessM: l, OffS: math.NaN()})
	if err != nil {
		t.Fatal(err)
	}
	said := false
	for _, n := range pr.Notes {
		said = said || n.Code == "face-above-boiling"
	}
	k := len(pr.TimeS) - 1
	if !said || pr.FaceU[0][k] < pr.FaceC[0][k]-boilingC {
		t.Errorf("face %.0f ± %.1f °C, notes %v", pr.FaceC[0][k], pr.FaceU[0][k], pr.Notes)
	}
}
