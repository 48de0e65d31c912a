package logfile_test

import (
	"fmt"
	"strings"

	"trivet/logfile"
)

const log = `Logger 3, serial 17
time,Core (°C),Pan (°C)
2026-05-01T14:03:07Z,5.1,205.0
2026-05-01T14:03:08Z,OPEN,204.5
2026-05-01T14:03:08Z,5.2,203.9
2026-05-01T14:03:09Z,5.3,203.1
`

func ExampleInspect() {
	g, err := logfile.Inspect(strings.NewReader(log), logfile.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("header in line %d, cut by %q, decimal %q\n", g.Layout.HeaderLine, g.Layout.Delimiter, g.Layout.Decimal)
	for _, c := range g.Columns {
		fmt.Printf("%s: %s %s %s: %s\n", c.Name, c.Role, c.Channel.ID, c.Channel.Unit, c.Why)
	}
	// Output:
	// header in line 2, cut by ",", decimal "."
	// time: time  : date and time with an offset from UTC
	// Core (°C): channel core degC: core from "core"; degC from the brackets in its name
	// Pan (°C): channel pan degC: pan from "pan"; degC from the brackets in its name
}

func ExampleLoad() {
	l, err := logfile.Load(strings.NewReader(log), logfile.LoadOptions{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, t := range l.Traces {
		fmt.Println(t.Channel.ID, t.Len(), "samples,", t.Missing.Count(), "missing")
	}
	fmt.Println(l.Account.Kept, "of", l.Account.Rows, "rows kept")
	for _, p := range l.Account.Problems {
		fmt.Println(p)
	}
	// Output:
	// core 3 samples, 1 missing
	// pan 3 samples, 0 missing
	// 3 of 4 rows kept
	// row 2 (line 4), column "Core (°C)": not-a-number "OPEN"
	// row 3: duplicate-time
}

func ExampleReadColumns() {
	t, err := logfile.ReadColumns(strings.NewReader("block,treatment,loss\n1,first,21.5\n1,\"last, low oven\",20.0\n"), logfile.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for i := range t.Rows {
		fmt.Println(t.Column("treatment").Text(i), t.Column("loss").Numbers[i])
	}
	// Output:
	// first 21.5
	// last, low oven 20
}
