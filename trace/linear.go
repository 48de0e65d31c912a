package trace

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

func dot(a, b []float64) float64 { return floats.Dot(a, b[:len(a)]) }

func subtract(v, unit []float64) {
	d := dot(v, unit)
	for i := range v {
		v[i] -= d * unit[i]
	}
}

func scaleTo1(v []float64) {
	n := math.Sqrt(dot(v, v))
	for i := range v {
		v[i] /= n
	}
}
