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

// Six pairs are the fewest whose sign flips can reach 5 %.
func ExampleSignFlip() {
	differences := []float64{1.6, 1.2, 1.5, 2.1, 0.9, 1.8}
	f := stats.SignFlip(differences, "")
	ci := f.Interval(0.95)
	fmt.Printf("p = %.4f of %g sign patterns\n", f.P(stats.Either, 0), f.Patterns)
	fmt.Printf("%.2f to %.2f at %.1f %%\n", ci.Low, ci.High, 100*ci.Level)
	// Output:
	// p = 0.0312 of 64 sign patterns
	// 0.90 to 2.10 at 96.9 %
}

// Breakage angle of cakes (four batches of the published experiment by F. E.
// Cook 1938): batches are a random grouping, temperature has a linear trend.
func ExampleFitModel() {
	spec := stats.ModelSpec{
		Response: []float64{42, 46, 47, 39, 53, 42, 47, 29, 35, 47, 57, 45, 32, 32, 37, 43, 45, 45, 26, 32, 35, 24, 39, 26},
		Factors: []stats.Column{
			{Name: "temp", Labels: repeat([]string{"175", "185", "195", "205", "215", "225"}, 4)},
			{Name: "batch", Labels: []string{"1", "1", "1", "1", "1", "1", "2", "2", "2", "2", "2", "2", "3", "3", "3", "3", "3", "3", "4", "4", "4", "4", "4", "4"}},
		},
		Fixed:  []string{"temp"},
		Random: []string{"batch"},
	}
	m, err := stats.FitModel(spec)
	if err != nil {
		fmt.Println(err)
		return
	}
	trend, err := m.Trend("temp", nil, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("variance between batches %.1f, inside %.1f\n", m.Components[0].Variance, m.Sigma2)
	fmt.Printf("linear trend %.2f, standard error %.2f, %.0f degrees of freedom\n", trend[0].Estimate, trend[0].SE, trend[0].DF)
	// Output:
	// variance between batches 36.6, inside 35.1
	// linear trend 6.54, standard error 2.96, 15 degrees of freedom
}

func repeat(labels []string, times int) []string {
	var out []string
	for range times {
		out = append(out, labels...)
	}
	return out
}
