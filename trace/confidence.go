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
	HeatOn:     {0.5, 40, 0.99},
	Turn:       {0.5, 40, 0.99},
	OffHeat:    {0.5, 30, 0.97},
	Moved:      {0.4, 60, 0.9},
	FatIn:      {0.3, 8, 0.95},
	ProbeMoved: {0.4, 5, 0.97},
	ProbeOut:   {0.5, 5, 0.97},
	ProbeIn:    {0.5, 5, 0.97},
	WetProbe:   {0.3, 15, 0.95},
	DoorOpen:   {0.3, 10, 0.97},
}
