package trace

import "math"

// confidence turns how plain a sign is into the share of such offers that are
// true, as counted on computed cooks (see docs/logs.md): c = 1 − (1 − least)
// exp(−size/scale), at most most. It holds for cooks like those.
func confidence(kind string, size float64) float64 {
	k, ok := confidences[kind]
	if !ok {
		return 0.5
	}
	return math.Round(100*min(k.most, 1-(1-k.least)*math.Exp(-max(size, 0)/k.scale))) / 100
}

var confidences = map[string]struct{ least, scale, most float64 }{
	HeatOn:     {0.8, 40, 0.99},
	Turn:       {0, 50, 0.99},
	OffHeat:    {0.85, 30, 0.98},
	Moved:      {0.5, 40, 0.96},
	FatIn:      {0.7, 8, 0.95},
	ProbeMoved: {0.4, 5, 0.97},
	ProbeOut:   {0.8, 5, 0.98},
	ProbeIn:    {0.8, 5, 0.98},
	WetProbe:   {0.85, 15, 0.97},
	DoorOpen:   {0.8, 10, 0.98},
}
