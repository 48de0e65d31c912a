package logfile

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"trivet/fault"
	"trivet/trace"
)

func load(t *testing.T, text string, opt LoadOptions) *Log {
	t.Helper()
	log, err := Load(strings.NewReader(text), opt)
	if err != nil {
		t.Fatal(err)
	}
	return log
}

// values are a trace's readings, NaN where missing.
func values(tr *trace.Trace) []float64 {
	out := make([]float64, tr.Len())
	for i := range out {
		v, ok := tr.Value(i)
		if !ok {
			v = math.NaN()
		}
		out[i] = v
	}
	return out
}

var sameFloats = cmp.Comparer(func(a, b float64) bool {
	return a == b || math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) < 1e-9
})

// One cook, 65.2 °F to 66.2 °F at the core, told in many ways; all give the
// same times since the first row and the same readings.
func TestOneCookToldInManyWays(t *testing.T) {
	const c1, c2 = (65.2 - 32) / 1.8, (66.2 - 32) / 1.8
	for _, c := range []struct {
		name, in string
		form     TimeForm
		values   []float64
	}{
		{"seconds", "time_s,core_c\n0,18.4\n1.5,19.0\n", Seconds, []float64{18.4, 19}},
		{"milliseconds", "ms,Core (°C)\n0,18.4\n1500,19.0\n", Milliseconds, []float64{18.4, 19}},
		{"minutes", "t (min),core °C\n0,18.4\n0.025,19.0\n", Minutes, []float64{18.4, 19}},
		{"Fahrenheit", "time_s,core_f\n0,65.2\n1.5,66.2\n", Seconds, []float64{c1, c2}},
		{"kelvin", "time_s,core [K]\n0,291.55\n1.5,292.15\n", Seconds, []float64{18.4, 19}},
		{"unit behind each number", "time_s,core\n0,65.2 °F\n1.5,66.2 °F\n", Seconds, []float64{c1, c2}},
		{"units below the header", "time,core\ns,°F\n0,65.2\n1.5,66.2\n", Seconds, []float64{c1, c2}},
		{"RFC 3339", "time,core °C\n2026-05-01T14:03:07Z,18.4\n2026-05-01T14:03:08.5Z,19.0\n", RFC3339, []float64{18.4, 19}},
		{"RFC 3339 with an offset", "time,core °C\n2026-05-01T10:03:07-04:00,18.4\n2026-05-01T10:03:08.500-04:00,19.0\n", RFC3339, []float64{18.4, 19}},
		{"local, year first", "time,core °C\n2026-05-01 14:03:07,18.4\n2026-05-01 14:03:08.5,19.0\n", LocalYMD, []float64{18.4, 19}},
		{"local with points and decimal comma", "Zeit;Kerntemperatur °C\n31.05.2026 14:03:07;18,4\n31.05.2026 14:03:08,5;19,0\n", LocalDMY, []float64{18.4, 19}},
		{"month first with am and pm", "Date Time,core °C\n5/31/2026 2:03:07 PM,18.4\n5/31/2026 2:03:08.5 PM,19.0\n", LocalMDY, []float64{18.4, 19}},
		{"date and time in two columns", "Date,Time,core °C\n2026-05-01,14:03:07,18.4\n2026-05-01,14:03:08.5,19.0\n", LocalYMD, []float64{18.4, 19}},
		{"time of day", "Time,core °C\n14:03:07,18.4\n14:03:08.5,19.0\n", Clock, []float64{18.4, 19}},
		{"across midnight", "Time,core °C\n23:59:59,18.4\n00:00:00.5,19.0\n", Clock, []float64{18.4, 19}},
		{"elapsed", "elapsed,core °C\n0:00:00,18.4\n0:00:01.5,19.0\n", ElapsedHMS, []float64{18.4, 19}},
		{"minutes and seconds", "elapsed mm:ss,core °C\n00:00,18.4\n00:01.5,19.0\n", ElapsedMS, []float64{18.4, 19}},
		{"Unix seconds", "epoch,core °C\n1777644187,18.4\n1777644188.5,19.0\n", UnixS, []float64{18.4, 19}},
		{"Unix milliseconds", "timestamp,core °C\n1777644187000,18.4\n1777644188500,19.0\n", UnixMS, []float64{18.4, 19}},
		{"spreadsheet days", "time,core °C\n46143.585497685,18.4\n46143.585515046,19.0\n", SerialDays, []float64{18.4, 19}},
		{"part of a day", "time,core °C\n0,18.4\n0.000017361,19.0\n0.000034722,20\n", DayFraction, []float64{18.4, 19, 20}},
		{"no header", "0,18.4\n1.5,19.0\n3,19.5\n", Seconds, []float64{18.4, 19, 19.5}},
		{"long", "time_s,probe,value °C\n0,core,18.4\n0,pan,200\n1.5,core,19.0\n1.5,pan,201\n3,core,19.5\n3,pan,202\n", Seconds, []float64{18.4, 19, 19.5}},
		{"long with units", "time_s,probe,reading,unit\n0,core,65.2,F\n0,pan,200,C\n1.5,core,66.2,F\n1.5,pan,201,C\n3,core,66.2,F\n3,pan,201,C\n", Seconds, []float64{c1, c2, c2}},
	} {
		t.Run(c.name, func(t *testing.T) {
			log := load(t, c.in, LoadOptions{})
			if log.Map.Time.Form != c.form {
				t.Errorf("form %s, want %s", log.Map.Time.Form, c.form)
			}
			tr := log.Traces[0]
			if d := cmp.Diff(c.values, values(tr), sameFloats); d != "" {
				t.Error(d)
			}
			if step := tr.TimesUS[1] - tr.TimesUS[0]; step < 1_499_900 || step > 1_500_100 {
				t.Errorf("step %d µs", step)
			}
			if tr.Elapsed == c.form.Absolute() {
				t.Error("elapsed:", tr.Elapsed)
			}
			if c.form.Absolute() && c.name != "local with points and decimal comma" && c.name != "month first with am and pm" {
				want := time.Date(2026, 5, 1, 14, 3, 7, 0, time.UTC).UnixMicro()
				if d := tr.TimesUS[0] - want; d < -60 || d > 60 {
					t.Errorf("first time is %d µs off", d)
				}
			}
			if len(log.Account.Problems) > 0 || log.Account.Kept != log.Account.Rows {
				t.Errorf("%+v", log.Account)
			}
			if err := tr.Validate(); err != nil {
				t.Error(err)
			}
		})
	}
}

// RFC 3339 (Klyne, Newman 2002), section 5.8, examples, and cases of 5.6 and
// 5.7: the moments are those the RFC states.
func TestRFC3339Forms(t *testing.T) {
	for in, want := range map[string]time.Time{
		"1985-04-12T23:20:50.52Z":       time.Date(1985, 4, 12, 23, 20, 50, 520e6, time.UTC),
		"1996-12-19T16:39:57-08:00":     time.Date(1996, 12, 20, 0, 39, 57, 0, time.UTC),
		"1990-12-31T23:59:60Z":          time.Date(1991, 1, 1, 0, 0, 0, 0, time.UTC),
		"1990-12-31T15:59:60-08:00":     time.Date(1991, 1, 1, 0, 0, 0, 0, time.UTC),
		"1937-01-01T12:00:27.87+00:20":  time.Date(1937, 1, 1, 11, 40, 27, 870e6, time.UTC),
		"1985-04-12t23:20:50.52z":       time.Date(1985, 4, 12, 23, 20, 50, 520e6, time.UTC),
		"1985-04-12 23:20:50.52Z":       time.Date(1985, 4, 12, 23, 20, 50, 520e6, time.UTC),
		"2000-02-29T00:00:00-00:00":     time.Date(2000, 2, 29, 0, 0, 0, 0, time.UTC),
		"2026-05-01T14:03:07.1234567Z":  time.Date(2026, 5, 1, 14, 3, 7, 123456e3, time.UTC),
		"2026-05-01T14:03:07.000001Z":   time.Date(2026, 5, 1, 14, 3, 7, 1000, time.UTC),
		"2026-05-01T14:03:07.25+23:59":  time.Date(2026, 4, 30, 14, 4, 7, 250e6, time.UTC),
		"0000-01-01T00:00:00Z":          time.Date(0, 1, 1, 0, 0, 0, 0, time.UTC),
		"9999-12-31T23:59:59.99999999Z": time.Date(9999, 12, 31, 23, 59, 59, 999999e3, time.UTC),
	} {
		p := timeParser{form: RFC3339}
		if us, ok := p.parse([]byte(in)); !ok || us != want.UnixMicro() {
			t.Errorf("%s: %d %v, want %d", in, us, ok, want.UnixMicro())
		}
	}
	for _, in := range []string{
		"", "1985-04-12", "1985-04-12T23:20:50", "1985-04-12T23:20Z", "1985-02-29T00:00:00Z", "1985-13-01T00:00:00Z",
		"1985-00-01T00:00:00Z", "1985-04-31T00:00:00Z", "1985-04-12T24:00:00Z", "1985-04-12T23:60:00Z", "1985-04-12T23:20:61Z",
		"1985-04-12T23:20:50.Z", "1985-04-12T23:20:50,5Z", "1985-04-12T23:20:50+0800", "1985-04-12T23:20:50+24:00", "85-04-12T23:20:50Z",
		"1985-04-12T23:20:50Z ago", "1985/04/12T23:20:50Z", "1985-04-12T23.20.50Z", "+1985-04-12T23:20:50Z", "1985-4-12T23:20:50Z",
	} {
		p := timeParser{form: RFC3339}
		if us, ok := p.parse([]byte(in)); ok {
			t.Errorf("%q read as %d", in, us)
		}
	}
}

func TestDateOrderIsGuessedAndShown(t *testing.T) {
	for _, c := range []struct {
		cells string
		form  TimeForm
		sure  bool
	}{
		{"2026-05-01 10:00", LocalYMD, true},
		{"31/05/2026 10:00", LocalDMY, true},
		{"05/31/2026 10:00", LocalMDY, true},
		{"01.05.2026 10:00", LocalDMY, false},
		{"1/5/2026 10:00:00 AM", LocalMDY, false},
		{"01/05/2026 10:00", LocalDMY, false},
	} {
		g, err := Inspect(strings.NewReader("when,core °C\n"+c.cells+",5\n"+strings.Replace(c.cells, "10:00", "11:00", 1)+",6\n"), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if g.Time.Form != c.form || g.Time.Sure != c.sure || g.Time.Why == "" {
			t.Errorf("%s: %+v", c.cells, g.Time)
		}
		if noted := strings.Contains(fmt.Sprint(g.Notes), "log-time-guess"); noted == c.sure {
			t.Errorf("%s: notes %v", c.cells, g.Notes)
		}
	}
}

func TestChannelsAreGuessedAndShown(t *testing.T) {
	g, err := Inspect(strings.NewReader("time_s,Core (°F),T 10 mm [°C],d05,surface B °C,Pan,Ofen °C,Oil_C,Scale (kg),T1,#\n"+
		"0,41,5,5,8,205,180,190,0.250,22,1\n1,41,5,5,9,205,180,190,0.249,22,2\n2,41,5,5,9,205,180,190,0.249,22,3\n"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	type row struct {
		id    string
		place trace.Place
		unit  trace.Unit
		depth float64
		side  string
		sure  bool
	}
	want := []row{
		{"core", trace.Core, trace.DegF, 0, "", true},
		{"d10", trace.Depth, trace.DegC, 0.010, "", true},
		{"d5", trace.Depth, trace.DegC, 0.005, "", false}, // no unit is written
		{"surface-b", trace.Surface, trace.DegC, 0, "B", true},
		{"pan", trace.Pan, trace.DegC, 0, "", false},
		{"ofen", trace.Air, trace.DegC, 0, "", true},
		{"oil", trace.Fat, trace.DegC, 0, "", true},
		{"scale", trace.Scale, trace.Gram, 0, "", true},
		{"t1", trace.Other, trace.DegC, 0, "", false},
	}
	var got []row
	for _, c := range g.Columns {
		if c.Role == RoleChannel {
			ch := c.Channel
			got = append(got, row{ch.ID, ch.Place, ch.Unit, ch.DepthM, ch.Side, c.Sure})
			if c.Why == "" {
				t.Error("no reason for", c.Name)
			}
		}
	}
	if d := cmp.Diff(want, got, cmp.AllowUnexported(row{})); d != "" {
		t.Error(d)
	}
	if last := g.Columns[10]; last.Role != RoleIgnore {
		t.Errorf("the row counter: %+v", last)
	}
	if g.PeriodS != 1 || g.Time.Column != "time_s" {
		t.Errorf("%v %+v", g.PeriodS, g.Time)
	}
}

func TestCoreAboveBoilingIsFahrenheit(t *testing.T) {
	log := load(t, "time_s,core,pan\n0,140,400\n1,141,400\n", LoadOptions{})
	if log.Traces[0].Channel.Unit != trace.DegF || log.Traces[1].Channel.Unit != trace.DegC {
		t.Errorf("%+v", log.Map.Channels)
	}
	if !strings.Contains(fmt.Sprint(log.Account.Notes), "a core at 141 can only be °F") {
		t.Error(log.Account.Notes)
	}
}

func TestKilogramsAreKeptExactly(t *testing.T) {
	log := load(t, "time_s,scale kg\n0,0.2505\n1,0.2499\n", LoadOptions{})
	if d := cmp.Diff([]float64{250.5, 249.9}, values(log.Traces[0]), sameFloats); d != "" {
		t.Error(d)
	}
	if log.Traces[0].Counts[0] != 2505 || log.Map.Channels[0].Written != "kg" {
		t.Errorf("%+v", log.Traces[0])
	}
}

func TestRowsThatCannotBePlacedAreKeptOutAndTold(t *testing.T) {
	log := load(t, "time_s,core °C\n0,5.0\n1,5.1\n1,5.2\n2,OPEN\n1.5,5.3\n3,5.4\nx,5.5\n4,5.6\n,5.7\n60,5.8\n61,5.9\n", LoadOptions{})
	tr := log.Traces[0]
	if d := cmp.Diff([]int64{0, 1e6, 2e6, 3e6, 4e6, 60e6, 61e6}, tr.TimesUS); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]float64{5, 5.1, math.NaN(), 5.4, 5.6, 5.8, 5.9}, values(tr), sameFloats); d != "" {
		t.Error(d)
	}
	var got []string
	for _, p := range log.Account.Problems {
		got = append(got, p.String())
	}
	want := []string{
		`row 3: duplicate-time`,
		`row 4 (line 5), column "core °C": not-a-number "OPEN"`,
		`row 5: out-of-order`,
		`row 7 (line 8), column "time_s": not-a-number "x"`,
		`row 7, column "time_s": not-a-time, row kept out`,
		`row 9, column "time_s": not-a-time, row kept out`,
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]RowGap{{Row: 10, Seconds: 56}}, log.Account.Gaps); d != "" {
		t.Error(d)
	}
	if log.Account.Rows != 11 || log.Account.Kept != 7 {
		t.Errorf("%+v", log.Account)
	}
}

func TestClockThatGoesBackIsTold(t *testing.T) {
	var b strings.Builder
	b.WriteString("time,core °C\n")
	at := time.Date(2026, 10, 25, 2, 59, 50, 0, time.UTC)
	for i := range 30 {
		if i == 10 {
			at = at.Add(-time.Hour) // the clock change in autumn
		}
		fmt.Fprintf(&b, "%s,5.%d\n", at.Format("2006-01-02 15:04:05"), i%10)
		at = at.Add(time.Second)
	}
	log := load(t, b.String(), LoadOptions{})
	if log.Account.Kept != 10 || log.Account.Counts[OutOfOrder] != 20 || log.Account.Counts[ClockJump] != 1 {
		t.Fatalf("%+v", log.Account)
	}
	jump := log.Account.Problems[len(log.Account.Problems)-1]
	for _, p := range log.Account.Problems {
		if p.Kind == ClockJump {
			jump = p
		}
	}
	if jump.Row != 11 || !strings.Contains(jump.Detail, "went back by 3599 s") {
		t.Errorf("%+v", jump)
	}
}

func TestCoarseStampsMayBeSpread(t *testing.T) {
	var b strings.Builder
	b.WriteString("time,core °C\n")
	for i := range 40 {
		fmt.Fprintf(&b, "2026-05-01T14:03:%02dZ,5.%d\n", i/10, i%10)
	}
	log := load(t, b.String(), LoadOptions{})
	if log.Account.Kept != 4 || !strings.Contains(fmt.Sprint(log.Account.Notes), "log-coarse-stamps") {
		t.Fatalf("%+v", log.Account)
	}
	m := *log.Map
	m.Time.Spread = true
	log = load(t, b.String(), LoadOptions{Map: &m})
	if log.Account.Kept != 40 || len(log.Account.Problems) > 0 {
		t.Fatalf("%+v", log.Account)
	}
	if p := log.Traces[0].PeriodUS(); p != 100_000 {
		t.Errorf("step %d µs", p)
	}
}

func TestMapIsSavedAndFitsLaterFiles(t *testing.T) {
	const first = "Zeit;Kern °C;T2\n01.05.2026 10:00:00;5,1;6,0\n01.05.2026 10:00:01;5,2;6,1\n"
	const later = "zeit ; KERN °C;T2\n02.06.2026 10:00:00;50,1;60,0\n02.06.2026 10:00:01;50,2;60,1\n"
	g, err := Inspect(strings.NewReader(first), Options{})
	if err != nil {
		t.Fatal(err)
	}
	m := g.Map()
	m.Time.Offset = "+02:00"
	m.Channels[1].ID, m.Channels[1].Place, m.Channels[1].DepthM, m.Channels[1].OffsetK = "d10", trace.Depth, 0.01, 0.3
	var text bytes.Buffer
	if err := m.Write(&text); err != nil {
		t.Fatal(err)
	}
	back, err := ReadMap(bytes.NewReader(text.Bytes()))
	if err != nil {
		t.Fatalf("%v\n%s", err, text.String())
	}
	if d := cmp.Diff(m, back); d != "" {
		t.Fatal(d)
	}
	lg, err := Inspect(strings.NewReader(later), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if Match([]*Map{{Fingerprint: "x"}, back}, lg) != back {
		t.Fatal("the map does not fit the later file")
	}
	log := load(t, first, LoadOptions{Maps: []*Map{back}})
	if log.Map != back || log.Traces[1].Channel.ID != "d10" || log.Traces[1].OffsetMin != 120 {
		t.Errorf("%+v", log.Traces[1])
	}
	if want := time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC).UnixMicro(); log.Traces[0].TimesUS[0] != want {
		t.Errorf("first time %d, want %d", log.Traces[0].TimesUS[0], want)
	}
	if v, _ := log.Traces[1].Value(0); math.Abs(v-5.7) > 1e-9 {
		t.Errorf("offset not subtracted: %v", v)
	}
}

// A saved map stands above the guess in everything, the order of a date too.
func TestSavedMapCorrectsTheDateOrder(t *testing.T) {
	const text = "when,core °C\n01/05/2026 10:00:00,5\n01/05/2026 10:00:01,6\n"
	g, err := Inspect(strings.NewReader(text), Options{})
	if err != nil {
		t.Fatal(err)
	}
	m := g.Map()
	for form, month := range map[TimeForm]time.Month{LocalDMY: time.May, LocalMDY: time.January} {
		m.Time.Form = form
		for name, opt := range map[string]LoadOptions{"given": {Map: m}, "found": {Maps: []*Map{m}}} {
			if got := time.UnixMicro(load(t, text, opt).Traces[0].TimesUS[0]).UTC().Month(); got != month {
				t.Errorf("%s, %s: %s", form, name, got)
			}
		}
	}
}

func TestNamesThatComeLateAreLoaded(t *testing.T) {
	var b strings.Builder
	b.WriteString("time_s,probe,value °C\n")
	for i := range 600 {
		fmt.Fprintf(&b, "%d,core,5\n%d,pan,200\n", i, i)
	}
	b.WriteString("601,oven,180\n602,oven,181\n603,,7\n")
	log := load(t, b.String(), LoadOptions{})
	if len(log.Traces) != 3 || log.Traces[2].Channel.Place != trace.Air || log.Traces[2].Len() != 2 {
		t.Fatalf("%+v", log.Map.Channels)
	}
	if p := log.Account.Problems; len(p) != 1 || p[0].Kind != UnmappedName || p[0].Row != 1203 {
		t.Error(p)
	}
}

func TestMapsThatCannotBeFollowed(t *testing.T) {
	const good = "format: 1\nfingerprint: ab\ndelimiter: \",\"\ndecimal: \".\"\nshape: wide\ntime: {column: t, form: seconds}\nchannels:\n- {column: a, id: core, place: core, unit: degC}\n"
	if _, err := ReadMap(strings.NewReader(good)); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ name, old, new string }{
		{"newer format", "format: 1", "format: 2"},
		{"delimiter", `delimiter: ","`, `delimiter: ",,"`},
		{"decimal is delimiter", `decimal: "."`, `decimal: ","`},
		{"shape", "shape: wide", "shape: round"},
		{"long without columns", "shape: wide", "shape: long"},
		{"time form", "form: seconds", "form: fortnights"},
		{"offset", "form: seconds", "form: seconds, offset: two hours"},
		{"place", "place: core", "place: somewhere"},
		{"unit", "unit: degC", "unit: degX"},
		{"no id", "id: core", "id: ''"},
		{"unknown field", "shape: wide", "shape: wide\nshade: blue"},
		{"no YAML", "format: 1", "format: [1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := ReadMap(strings.NewReader(strings.Replace(good, c.old, c.new, 1))); fault.As(err) == nil {
				t.Errorf("it was read: %v", err)
			}
		})
	}
	m, _ := ReadMap(strings.NewReader(good))
	if _, err := Load(strings.NewReader("t,b\n0,1\n1,2\n"), LoadOptions{Map: m}); fault.As(err) == nil || fault.As(err).Kind != fault.Usage {
		t.Errorf("a column that is not there: %v", err)
	}
}

func TestTwoUnitsInOneChannel(t *testing.T) {
	log := load(t, "time_s,probe,value,unit\n0,core,5,C\n0,pan,200,C\n1,core,41,F\n1,pan,200,C\n2,core,6,C\n2,pan,200,C\n", LoadOptions{})
	if d := cmp.Diff([]float64{5, math.NaN(), 6}, values(log.Traces[0]), sameFloats); d != "" {
		t.Error(d)
	}
	if p := log.Account.Problems; len(p) != 1 || p[0].Kind != MixedUnit || p[0].Row != 3 {
		t.Errorf("%v", p)
	}
}

func TestLogWithoutTime(t *testing.T) {
	_, err := Load(strings.NewReader("a,b\n5,1\n4,2\n6,1\n"), LoadOptions{})
	if e := fault.As(err); e == nil || e.Code != "log-no-time" {
		t.Error(err)
	}
}

func TestAssign(t *testing.T) {
	labels := []string{"L1", "L10", "L10-first", "L10-last", "twin"}
	for file, want := range map[string]string{
		"L1.csv": "L1", "logs/L10_core.csv": "L10", "2026-05-01 l10-first.csv.gz": "L10-first",
		`C:\logs\L10-last.txt`: "L10-last", "L100.csv": "", "xL1.csv": "", "core.csv": "", "L1/x.csv": "",
	} {
		got, err := Assign(file, labels)
		if got != want || (err == nil) != (want != "") {
			t.Errorf("%s: %q %v, want %q", file, got, err, want)
		}
	}
	if _, err := Assign("A1 and B2.csv", []string{"A1", "B2"}); fault.As(err) == nil || fault.As(err).Code != "assign-tie" {
		t.Error(err)
	}
}

func TestRawBytesAreTheFile(t *testing.T) {
	const text = "t,core °C\n0,1\n1,2\n"
	var raw bytes.Buffer
	log := load(t, text, LoadOptions{Raw: &raw})
	if raw.String() != text || log.Traces[0].Source != log.SHA256 || len(log.SHA256) != 64 {
		t.Errorf("%q %s", raw.String(), log.SHA256)
	}
}

// A map comes back as it was written, whatever the column names.
func TestMapsSurviveWriting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.StringMatching(`[ -~°µäé\t]{1,20}`)
		m := &Map{
			Format: MapFormat, Fingerprint: "0a", Delimiter: rapid.SampledFrom([]string{",", ";", "\t", "|"}).Draw(t, "delimiter"), Decimal: ".",
			Shape: Wide, Time: MapTime{Column: name.Draw(t, "time"), Form: RFC3339},
			Channels: []MapChannel{{Column: name.Draw(t, "column"), Channel: trace.Channel{
				ID: "x", Place: trace.Depth, Unit: trace.DegF, Sensor: name.Draw(t, "sensor"),
				DepthM: rapid.Float64Range(0, 1).Draw(t, "depth"), OffsetK: rapid.Float64Range(-2, 2).Draw(t, "offset"),
			}}},
		}
		var b bytes.Buffer
		if err := m.Write(&b); err != nil {
			t.Fatal(err)
		}
		text := b.String()
		back, err := ReadMap(&b)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if d := cmp.Diff(m, back); d != "" {
			t.Fatalf("%s\n%s", d, text)
		}
	})
}
