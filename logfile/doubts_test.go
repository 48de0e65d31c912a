package logfile

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"trivet/fault"
)

func problems(log *Log) []string {
	var out []string
	for _, p := range log.Account.Problems {
		out = append(out, p.String())
	}
	return out
}

func notes(log *Log) string { return fmt.Sprint(log.Account.Notes) }

// A last line without a line end may be cut inside its last number.
func TestLastLineWithoutEnd(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name, in string
		want     []float64 // of the last channel
		problems []string
	}{
		{"behind the point", "time_s,core °C\n13,5.25\n14,5.5\n15,5.", []float64{5.25, 5.5, nan},
			[]string{`row 3 (line 4), column "core °C": may-be-cut "5.", the file ends without a line end behind a decimal sign; counted as missing`}},
		{"behind the comma", "Zeit s;Kern °C\n10;62,9\n11;62,9\n12;63,", []float64{62.9, 62.9, nan},
			[]string{`row 3 (line 4), column "Kern °C": may-be-cut "63,", the file ends without a line end behind a decimal sign; counted as missing`}},
		{"inside the number", "time_s,core °C\n13,61.25\n14,61.5\n15,6", []float64{61.25, 61.5, 6},
			[]string{`row 3 (line 4), column "core °C": may-be-cut "6", the file ends without a line end`}},
		{"before the number", "time_s,core °C\n13,61.25\n14,61.5\n15,", []float64{61.25, 61.5, nan},
			[]string{`row 3 (line 4), column "core °C": may-be-cut, the file ends without a line end`}},
		{"in a quoted row", "time_s,core °C,note\n13,61.25,\"a\nb\"\n14,61.5,\n15,62,\"c\nd\"", []float64{61.25, 61.5, 62}, nil},
		{"too few cells", "time_s,core °C,pan °C\n13,61,200\n14,61,201\n15,6", []float64{200, 201},
			[]string{`row 3 (line 4), column "pan °C": cut-off, the file ends inside this row`}},
		{"with its line end", "time_s,core °C\n13,61.25\n14,61.5\n15,6\n", []float64{61.25, 61.5, 6}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			log := load(t, c.in, LoadOptions{})
			if d := cmp.Diff(c.want, values(log.Traces[len(log.Traces)-1]), sameFloats); d != "" {
				t.Error(d)
			}
			if d := cmp.Diff(c.problems, problems(log)); d != "" {
				t.Error(d)
			}
		})
	}
	log := load(t, "time_s,core °C\n13,61.25\n14,61.5\n15,6", LoadOptions{})
	if !strings.Contains(notes(log), `row 3 may be cut off, its last cell (column "core °C") reads "6"`) {
		t.Error(notes(log))
	}
}

// A follower hands on no row before its line has ended.
func TestFollowerWaitsForTheLineEnd(t *testing.T) {
	m := load(t, "time_s,core °C\n13,61.25\n14,61.5\n", LoadOptions{}).Map
	var rows []Row
	f, err := NewFollower(m, Limits{}, func(r Row) error { rows = append(rows, r); return nil })
	if err != nil {
		t.Fatal(err)
	}
	for _, piece := range []string{"time_s,core °C\n", "15,6", "1.", "7", "5\n"} {
		for _, r := range rows {
			t.Fatalf("%+v before the line end", r)
		}
		if _, err := f.Write([]byte(piece)); err != nil {
			t.Fatal(err)
		}
	}
	if len(rows) != 1 || rows[0].Values[0] != 61.75 {
		t.Errorf("%+v", rows)
	}
}

// No temperature is below absolute zero: such a number is an error code.
func TestBelowAbsoluteZero(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name, in string
		want     []float64
		problems []string
	}{
		{"°C", "time_s,core °C\n0,5.1\n1,-999\n2,-999\n3,-273.15\n4,-273.16\n5,5.3\n", []float64{5.1, nan, nan, -273.15, nan, 5.3},
			[]string{`rows 2–3, column "core °C": below-absolute-zero "-999", counted as missing`, `row 5, column "core °C": below-absolute-zero "-273.16", counted as missing`}},
		{"°F", "time_s,core °F\n0,41\n1,-459.67\n2,-460\n3,50\n", []float64{5, -273.15, nan, 10},
			[]string{`row 3, column "core °F": below-absolute-zero "-460", counted as missing`}},
		{"K", "time_s,core K\n0,278.15\n1,0\n2,-1\n3,283.15\n", []float64{5, -273.15, nan, 10},
			[]string{`row 3, column "core K": below-absolute-zero "-1", counted as missing`}},
		{"a mass may be below zero", "time_s,scale g\n0,200\n1,-999\n2,201\n", []float64{200, -999, 201}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			log := load(t, c.in, LoadOptions{})
			if d := cmp.Diff(c.want, values(log.Traces[0]), sameFloats); d != "" {
				t.Error(d)
			}
			if d := cmp.Diff(c.problems, problems(log)); d != "" {
				t.Error(d)
			}
			var rows []Row
			f, err := NewFollower(log.Map, Limits{}, func(r Row) error { rows = append(rows, r); return nil })
			if err != nil {
				t.Fatal(err)
			}
			if _, err := f.Write([]byte(c.in)); err != nil {
				t.Fatal(err)
			}
			for i, r := range rows {
				if math.IsNaN(r.Values[0]) != math.IsNaN(c.want[i]) {
					t.Errorf("followed: %+v", r)
				}
			}
		})
	}
	log := load(t, "time_s,core °C\n0,5.1\n1,-999\n2,5\n3,-200\n4,-999\n", LoadOptions{})
	if want := `column "core °C" is below absolute zero in 2 of the rows 2 to 5 (-999)`; !strings.Contains(notes(log), want) {
		t.Errorf("%s, want %s", notes(log), want)
	}
}

// dated writes rows of one date each, an hour apart.
func dated(dates ...string) string {
	var b strings.Builder
	b.WriteString("Date and time,core °C\n")
	for i, d := range dates {
		fmt.Fprintf(&b, "%s %d:%02d:00 %s,5.%d\n", d, 1+i%11, i%60, []string{"AM", "PM"}[i/11%2], i%10)
	}
	return b.String()
}

func TestOrderOfDayAndMonth(t *testing.T) {
	many := func(n int, date string) (out []string) {
		for range n {
			out = append(out, date)
		}
		return out
	}
	sampled := many(2*sampleRows, "5/6/2026") // what the first rows show
	for _, c := range []struct {
		name  string
		in    string
		order DateOrder
		form  TimeForm
		first string // date of the first row
		sure  bool
		why   string
	}{
		{"both allowed, am and pm", dated(many(8, "5/6/2026")...), "", LocalMDY, "2026-05-06", false, "the dates allow both"},
		{"both allowed, told", dated(many(8, "5/6/2026")...), DayFirst, LocalDMY, "2026-06-05", true, "as told"},
		{"both allowed, points", strings.ReplaceAll(dated(many(8, "5.6.2026")...), " AM", ""), "", LocalDMY, "2026-06-05", false, "the dates allow both"},
		{"a day above 12 far below the first rows", dated(append(sampled, "13/6/2026")...), "", LocalDMY, "2026-06-05", true, "a number above 12 stands in row 801"},
		{"a month that cannot be, far below", dated(append(sampled, "5/13/2026")...), "", LocalMDY, "2026-05-06", true, "a number above 12 stands in row 801"},
		{"day by day", dated("4/6/2026", "5/6/2026", "6/6/2026"), "", LocalDMY, "2026-06-04", true, "day by day"},
		{"day by day, month first", strings.ReplaceAll(strings.ReplaceAll(dated("6.4.2026", "6.5.2026", "6.6.2026"), " AM", ""), " PM", ""), "", LocalMDY, "2026-06-04", true, "day by day"},
		{"above 12 at once", dated("13/6/2026", "13/6/2026"), "", LocalDMY, "2026-06-13", true, "above 12"},
	} {
		t.Run(c.name, func(t *testing.T) {
			log := load(t, c.in, LoadOptions{DateOrder: c.order})
			g := log.Guess.Time
			if g.Form != c.form || g.Sure != c.sure || !strings.Contains(g.Why, c.why) || log.Map.Time.Form != c.form {
				t.Errorf("%+v, map %s", g, log.Map.Time.Form)
			}
			if got := time.UnixMicro(log.Traces[0].TimesUS[0]).UTC().Format("2006-01-02"); got != c.first {
				t.Errorf("begins %s, want %s", got, c.first)
			}
			if asks := strings.Contains(notes(log), "--date-order"); asks == c.sure {
				t.Error(notes(log))
			}
			if kinds := log.Account.Counts; kinds[NotATime] > 0 {
				t.Error(kinds)
			}
		})
	}
	log := load(t, dated(append(sampled, "13/6/2026", "5/14/2026")...), LoadOptions{})
	if p := log.Account.Problems[len(log.Account.Problems)-1]; p.Kind != NotATime || p.Row != 801 || !strings.Contains(notes(log), "dates in both orders") {
		t.Errorf("%+v %s", p, notes(log))
	}
	_, err := Load(strings.NewReader(dated("13/6/2026", "13/6/2026")), LoadOptions{DateOrder: MonthFirst})
	if e := fault.As(err); e == nil || e.Code != "log-date-order" || e.Kind != fault.Usage {
		t.Error(err)
	}
	_, err = Load(strings.NewReader(dated("1/6/2026", "1/6/2026")), LoadOptions{DateOrder: "ydm"})
	if e := fault.As(err); e == nil || e.Code != "log-date-order" {
		t.Error(err)
	}
}

// Each channel of a long log keeps its own step and gaps, and so does one of a
// wide log that is filled now and then.
func TestEachChannelHasItsRate(t *testing.T) {
	var long, wide strings.Builder
	long.WriteString("time_s,probe,value\n")
	wide.WriteString("time_s,core °C,pan °C\n")
	for i := range 120 {
		if i < 60 || i > 75 {
			fmt.Fprintf(&long, "%d,core,5.%d\n", i, i%10)
		}
		pan := ""
		if i%10 == 0 {
			pan = "200"
			fmt.Fprintf(&long, "%d,pan,200\n", i)
		}
		fmt.Fprintf(&wide, "%d,5.%d,%s\n", i, i%10, pan)
	}
	log := load(t, long.String(), LoadOptions{})
	if g := log.Guess; g.PeriodS != 1 || len(g.Channels) != 2 || g.Channels[0].PeriodS != 1 || g.Channels[1].PeriodS != 10 {
		t.Errorf("%v %+v", g.PeriodS, g.Channels)
	}
	if g := log.Account.Gaps; len(g) != 1 || g[0].Channel != "core" || g[0].Seconds != 17 {
		t.Errorf("%+v", g)
	}
	if g := log.Guess.Gaps; len(g) != 1 || g[0].Channel != "core" {
		t.Errorf("%+v", g)
	}
	g := load(t, wide.String(), LoadOptions{}).Guess
	if g.PeriodS != 1 || g.Columns[1].PeriodS != 1 || g.Columns[2].PeriodS != 10 {
		t.Errorf("%+v", g.Columns)
	}
}
