package measure

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// faceCourse is the course of both faces over a few seconds in which the heat
// on them changes.
type faceCourse struct {
	fromS, everyS float64
	c, u          [2][]float64
}

// jumps follows the faces between those blocks that have a change between
// them, by halves of a sample's period: there they are not straight.
func (f *profileFit) jumps(pr *Profile, p []float64, cov *mat.SymDense) (out []faceCourse) {
	if f.driven {
		return nil
	}
	for _, s := range f.breaks[1:] {
		pr.changesS = append(pr.changesS, s.fromS)
	}
	if f.boils {
		return nil
	}
	for k := range len(f.timeS) - 1 {
		if f.changes(f.timeS[k]-f.every/2, f.timeS[k+1]) {
			out = append(out, f.jump(pr, p, cov, k))
		}
	}
	return out
}

// jump follows the faces from block k to the next.
func (f *profileFit) jump(pr *Profile, p []float64, cov *mat.SymDense, k int) faceCourse {
	fine := *f
	parts := 2 * f.samples
	fine.samples, fine.every = 1, f.every/float64(parts)
	nt := parts + 1
	fine.timeS = make([]float64, nt)
	for i := range fine.timeS {
		fine.timeS[i] = f.timeS[k] + float64(i)*fine.every
	}
	const near = 0.005 // of the thickness, below the face
	places := []float64{0, 1, near, 1 - near}
	out := faceCourse{fromS: f.timeS[k], everyS: fine.every}
	base := make([]float64, len(places)*nt)
	fine.run(p, places, 0, base)
	grad := make([][]float64, f.params)
	trial := append([]float64(nil), p...)
	for q := range grad {
		grad[q] = make([]float64, len(base))
		h := f.stepOf(q)
		trial[q] = p[q] + h
		fine.run(trial, places, 0, grad[q])
		trial[q] = p[q]
		for i := range base {
			grad[q][i] = (grad[q][i] - base[i]) / h
		}
	}
	for side := range 2 {
		c := base[side*nt : (side+1)*nt]
		// What the remainder adds at both ends goes over from one to the other.
		first, last := pr.FaceC[side][k]-c[0], pr.FaceC[side][k+1]-c[nt-1]
		out.c[side], out.u[side] = make([]float64, nt), make([]float64, nt)
		for i := range nt {
			rest := first + (last-first)*float64(i)/float64(parts)
			slope := (base[(side+2)*nt+i] - c[i]) / (near * pr.ThicknessM)
			v := rest*rest + squared(slope*faceWhereM)
			for q := range grad {
				for s := range grad {
					v += grad[q][side*nt+i] * grad[s][side*nt+i] * cov.At(q, s)
				}
			}
			out.c[side][i], out.u[side][i] = c[i]+rest, math.Sqrt(max(v, 0))
		}
	}
	return out
}
