package heat_test

import (
	"fmt"

	"trivet/heat"
)

// A chop is seared with a turn every 10 °F of core rise, basted with hot fat
// for the last two turns, and rested on a board.
func ExampleSimulate() {
	spec := &heat.Spec{
		Piece:    heat.Piece{Shape: heat.Slab, ThicknessM: 0.030, StartC: 5, Food: "pork top loin chop, lean"},
		Moisture: heat.Moisture{On: true},
		Legs: []heat.Leg{
			{
				Name:   "sear",
				Bottom: heat.Pan{TempC: 200},
				Top:    heat.Air{TempC: 25},
				Turn:   &heat.TurnRule{CoreRiseK: 10 / 1.8},
				Ends:   heat.EndRule{CoreC: new(45.0)},
				Also:   []heat.Action{{FromTurnsBeforeEnd: 2, Top: heat.FatFilm{FatC: 150, Cover: 0.9}}},
			},
			{
				Name: "rest", Rest: true,
				Bottom: heat.Board{TempC: 23},
				Top:    heat.Air{TempC: 23},
				Ends:   heat.EndRule{TimeS: new(720.0)},
			},
		},
	}
	res, err := heat.Simulate(spec, heat.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	s := res.Summary
	fmt.Printf("pull after %.0f min at %.0f °C, peak %.0f °C\n", *s.PullTimeS/60, *s.CoreAtPullC, *s.CorePeakC)
	fmt.Printf("%d turns, energy closes: %t\n", res.Legs[0].Turns, abs(res.LedgerM.Residual) < 1e-9*res.LedgerM.Throughput)
	// Output:
	// pull after 11 min at 45 °C, peak 58 °C
	// 7 turns, energy closes: true
}

func abs(x float64) float64 {
	if x < 0 {
		return -x
	}
	return x
}
