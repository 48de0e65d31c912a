package quantity_test

import (
	"fmt"

	"trivet/quantity"
)

func Example() {
	oven, _ := quantity.ParseTemperature("325 °F")
	rise, _ := quantity.ParseDifference("+10 °F")
	thick, _ := quantity.ParseAmount(quantity.KindLength, "1 1/2 in ± 1/16 in")
	fmt.Println(oven, oven.Add(rise), rise)
	fmt.Printf("%.1f mm ± %.1f mm\n", thick.Value*1e3, thick.Pm*1e3)
	_, err := quantity.ParseDifference("10 °F")
	fmt.Println(err)
	// Output:
	// 162.8 °C 168.3 °C +5.6 °C
	// 38.1 mm ± 1.6 mm
	// this is a temperature, and a difference of temperatures is wanted (got "10 °F"); mark a difference with its sign: +10 °F is a rise of 10 °F (5.56 K); or write it in kelvins, 5 K
}

func ExampleParseMargin() {
	for _, s := range []string{"2 points", "10 %", "30 s"} {
		m, _ := quantity.ParseMargin(s)
		fmt.Println(m.MarginKind, m.Value)
	}
	// Output:
	// points 2
	// ratio 0.1
	// amount 30
}

func ExampleFormatUncertain() {
	fmt.Println(quantity.FormatUncertain(54.898, 0.3366, "°C"))
	// Output: 54.90 ± 0.34 °C
}
