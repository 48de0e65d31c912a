package trace_test

import (
	"fmt"
	"math"

	"trivet/trace"
)

func Example() {
	core := trace.Channel{ID: "core", Place: trace.Core, Unit: trace.DegF, OffsetK: 0.5}
	times := []int64{0, 1_000_000, 2_000_000, 3_000_000}
	t, err := trace.Build(core, times, []float64{130.1, 130.4, math.NaN(), 131.0}, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	v, ok := t.At(500_000, 2_000_000)
	fmt.Printf("%.2f °C %v, %d missing, resolution %.3f K\n", v, ok, t.Missing.Count(), t.Resolution())

	stored, _ := trace.Encode(nil, t)
	back, _ := trace.DecodeRange(stored, 1_000_000, 3_000_000)
	raw, _ := back.Raw(0)
	fmt.Println(back.Len(), raw)
	// Output:
	// 54.08 °C true, 1 missing, resolution 0.056 K
	// 3 130.4
}
