package stats

import "math"

// dunnettUpper is P(max |Tᵢ| > t) for t statistics with correlations λᵢλⱼ on
// df degrees of freedom (Dunnett 1955, JASA 50:1096):
//
//	P(max ≤ t) = ∫∫ Πᵢ[Φ((λᵢz + ts)/√(1−λᵢ²)) − Φ((λᵢz − ts)/√(1−λᵢ²))] φ(z) f(s) dz ds.
func dunnettUpper(t float64, lambda []float64, df float64) float64 {
	if len(lambda) == 1 {
		return 2 * tUpper(t, df)
	}
	const nodes, reach = 120, 9
	x, w := legendre(nodes)
	density := make([]float64, nodes)
	for i := range x {
		density[i] = w[i] * reach * phi(reach*x[i])
	}
	equal := true
	for _, l := range lambda {
		equal = equal && math.Abs(l-lambda[0]) < 1e-14
	}
	factor := func(l, z, c float64) float64 {
		root := math.Sqrt(1 - l*l)
		return bigPhi((l*z+c)/root) - bigPhi((l*z-c)/root)
	}
	inside := overScale(df, func(s float64) float64 {
		sum := 0.0
		for i := range x {
			z := reach * x[i]
			product := 1.0
			if equal {
				product = power(factor(lambda[0], z, t*s), len(lambda))
			} else {
				for _, l := range lambda {
					product *= factor(l, z, t*s)
				}
			}
			sum += density[i] * product
		}
		return sum
	})
	return math.Min(1, math.Max(0, 1-inside))
}
