package stats_test

import (
	"fmt"

	"trivet/stats"
)

// Cooking loss in percent of six loins; one chop of each seared first, one
// last (invented numbers).
func ExampleCompare() {
	table := stats.NewTable(
		[]float64{21.3, 22.9, 19.8, 21.0, 24.1, 25.6, 20.7, 22.8, 23.0, 23.9, 22.2, 24.0},
		[]string{"first", "last", "first", "last", "first", "last", "first", "last", "first", "last", "first", "last"},
		[]string{"1", "1", "2", "2", "3", "3", "4", "4", "5", "5", "6", "6"},
	)
	c, err := stats.Compare(table, stats.Options{Control: "last", Margin: 2})
	if err != nil {
		fmt.Println(err)
		return
	}
	k := c.Contrasts[0]
	fmt.Printf("%s: %s − %s = %.2f points, 95 %% interval %.2f to %.2f\n",
		c.Method, k.Treatment, k.Control, k.Estimate, k.CILow, k.CIHigh)
	// Output:
	// paired comparison, fixed blocks: first − last = -1.52 points, 95 % interval -1.96 to -1.07
}
