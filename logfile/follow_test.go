package logfile

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"trivet/fault"
	"trivet/trace"
)

// A log that is followed in pieces of any length gives the rows that loading
// it whole gives.
func TestFollowingIsLoading(t *testing.T) {
	logs := map[string]string{
		"gaps and words":     "Model X\n\ntime_s,core °C,pan °C\n0,5.0,200\n1,OPEN,201\n1,5.1,201\n3,,202\n2,5.0,200\n4,5.2,203.5\n",
		"units below":        "time,core,pan\ns,°C,°C\n0,5.0,200\n1,5.1,201\n2,5.3,201\n",
		"decimal commas":     "Zeit;Kern °C\r\n01.05.2026 10:00:00;5,1\r\n01.05.2026 10:00:01;5,2\r\n",
		"date and clock":     "Date,Time,core °C\n2026-05-01,14:03:07,18.4\n2026-05-01,14:03:08.5,19.0\n",
		"past midnight":      "Time,core °C\n23:59:58,5\n23:59:59,5.5\n00:00:00,6\n00:00:01,6.5\n",
		"no header":          "0,18.4\n1.5,19.0\n3,19.5\n",
		"units in the cells": "time_s,core\n0,65.2 °F\n1.5,66.2 °F\n2,19 °C\n3,66.0\n4,66.2 °F\n",
		"repeated header":    "time_s,core °C\n0,5\n1,6\ntime_s,core °C\n2,7\n3,8\n4,9\n5,9\n",
		"another sign":       "time_s,core °C,scale g\n0,5.5,\"1.234,5\"\n1,5.6,\"234,25\"\n2,5.7,\"234,5\"\n3,5.7,\"1.034\"\n",
		"quoted":             "time_s,\"core, °C\",note\n0,5,\"a\nb\"\n1,6,\"c \"\"d\"\"\"\n2,7,\n3,7,\n4,7,\n",
	}
	for name, text := range logs {
		t.Run(name, func(t *testing.T) {
			whole := load(t, text, LoadOptions{})
			rapid.Check(t, func(rt *rapid.T) {
				r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
				var rows []Row
				f, err := NewFollower(whole.Map, Limits{}, func(row Row) error { rows = append(rows, row); return nil })
				if err != nil {
					rt.Fatal(err)
				}
				for rest := text; rest != ""; {
					n := min(1+r.IntN(20), len(rest))
					if _, err := f.Write([]byte(rest[:n])); err != nil {
						rt.Fatal(err)
					}
					rest = rest[n:]
				}
				kept := 0
				for _, row := range rows {
					if !row.Kept {
						continue
					}
					for i, tr := range whole.Traces {
						v, ok := tr.Raw(kept)
						if tr.TimesUS[kept] != row.US || ok == math.IsNaN(row.Values[i]) || ok && math.Abs(v-row.Values[i]) > 1e-9 {
							rt.Fatalf("row %+v, loaded as %v %v at %d", row, v, ok, tr.TimesUS[kept])
						}
					}
					kept++
				}
				if kept != whole.Account.Kept || len(rows) != whole.Account.Rows {
					rt.Fatalf("%d of %d rows, loaded %d of %d", kept, len(rows), whole.Account.Kept, whole.Account.Rows)
				}
			})
		})
	}
}

func TestFollowerRefuses(t *testing.T) {
	m := load(t, "time_s,core °C\n0,5\n1,6\n", LoadOptions{}).Map
	f, err := NewFollower(m, Limits{MaxLine: 50}, func(Row) error { return nil })
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Write([]byte("time_s,core °C\n0,\"" + strings.Repeat("5", 60))); fault.As(err) == nil || fault.As(err).Code != "log-line" {
		t.Error(err)
	}
	full := errors.New("disk full")
	f, _ = NewFollower(m, Limits{}, func(Row) error { return full })
	if _, err := f.Write([]byte("time_s,core °C\n0,5\n")); !errors.Is(err, full) {
		t.Error(err)
	}
	long := *m
	long.Shape, long.Long = Long, &MapLong{Name: "a", Value: "b"}
	if _, err := NewFollower(&long, Limits{}, nil); fault.As(err) == nil {
		t.Error("a long log is followed")
	}
}

// A number that is thousands by one decimal sign and decimals by the other is
// read by the log's sign, as loading does, and told: one row cannot know.
func TestFollowedThousandsAreTold(t *testing.T) {
	for _, c := range []struct {
		cell, decimal string
		want          float64
		kind          ProblemKind
	}{
		{"1.234", "", 1234, MayBeDecimal},
		{"1.234 g", "", 1234, MayBeDecimal},
		{"1.234,5", "", 1234.5, ""},
		{"1.234.567", "", 1234567, ""},
		{"12,5", "", 12.5, ""},
		{"1.234", ".", 1.234, ""},
		{"1,234", ".", 1234, MayBeDecimal},
		{"12.34", "", math.NaN(), NotANumber},
	} {
		m := &Map{Format: MapFormat, Delimiter: ";", Decimal: ",", Shape: Wide, Time: MapTime{Column: "t", Form: Seconds},
			Channels: []MapChannel{{Column: "m", Channel: trace.Channel{ID: "m", Place: trace.Scale, Unit: trace.Gram}, Decimal: c.decimal}}}
		var got []Row
		f, err := NewFollower(m, Limits{}, func(r Row) error { got = append(got, r); return nil })
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write([]byte("t;m\n0;" + c.cell + "\n")); err != nil {
			t.Fatal(err)
		}
		var kind ProblemKind
		if len(got[0].Problems) > 0 {
			kind = got[0].Problems[0].Kind
		}
		if v := got[0].Values[0]; kind != c.kind || v != c.want && !(math.IsNaN(v) && math.IsNaN(c.want)) {
			t.Errorf("%q with %q: %v %q, want %v %q", c.cell, c.decimal, v, kind, c.want, c.kind)
		}
	}
}
