package quantity

import (
	"math"
	"testing"

	"trivet/fault"
)

// Worked conversions: NIST Special Publication 811 (2008), appendix B: the
// inch is 25.4 mm exactly, the pound 453.59237 g exactly, a degree Fahrenheit
// 1/1.8 K; 2.2046 lb ≈ 1 kg. Kitchen figures beside them are arithmetic on
// those definitions.
func TestParseAmountForms(t *testing.T) {
	for _, c := range []struct {
		kind Kind
		in   string
		want float64
	}{
		{KindTemperature, "325 °F", (325 - 32) / 1.8},
		{KindTemperature, "325F", (325 - 32) / 1.8},
		{KindTemperature, "325 degF", (325 - 32) / 1.8},
		{KindTemperature, "325 deg F", (325 - 32) / 1.8},
		{KindTemperature, "325 degrees Fahrenheit", (325 - 32) / 1.8},
		{KindTemperature, "212 ℉", 100},
		{KindTemperature, "163C", 163},
		{KindTemperature, "163 ºC", 163},
		{KindTemperature, "−18 °C", -18},
		{KindTemperature, "-40 °F", -40},
		{KindTemperature, "62,8 °C", 62.8},
		{KindTemperature, "300 K", 300 - 273.15},
		{KindTemperature, "-459.67 °F", -273.15},
		{KindDifference, "+10 °F", 10 / 1.8},
		{KindDifference, "−5 K", -5},
		{KindDifference, "5 K", 5},
		{KindDifference, "-18 °C", -18},
		{KindLength, "1 1/2 in", 0.0381},
		{KindLength, `1½"`, 0.0381},
		{KindLength, "1 ½ inches", 0.0381},
		{KindLength, "3/4 in.", 0.01905},
		{KindLength, "38 mm", 0.038},
		{KindLength, "3.8 cm", 0.038},
		{KindLength, "3,8 cm", 0.038},
		{KindLength, "0,125 m", 0.125},
		{KindLength, "1 ft 6 in", 0.4572},
		{KindLength, ".5 cm", 0.005},
		{KindMass, "2 lb 3 oz", 35 * 0.45359237 / 16},
		{KindMass, "2lb3oz", 35 * 0.45359237 / 16},
		{KindMass, "450 g", 0.45},
		{KindMass, "1.2 kg", 1.2},
		{KindMass, "1e3 g", 1},
		{KindDuration, "12:30", 750},
		{KindDuration, "12:30.5", 750.5},
		{KindDuration, "1:12:30", 4350},
		{KindDuration, "12 min 30 s", 750},
		{KindDuration, "12min30s", 750},
		{KindDuration, "1 h 12 min 30 s", 4350},
		{KindDuration, "90 s", 90},
		{KindDuration, "2 h", 7200},
		{KindDuration, "½ hour", 1800},
		{KindPoints, "2 points", 2},
		{KindPoints, "2.5 percentage points", 2.5},
		{KindPercent, "10 %", 10},
		{KindPercent, "10%", 10},
		{KindNumber, "7", 7},
		{KindOther, "42 N", 42},
	} {
		t.Run(c.in, func(t *testing.T) {
			a, err := ParseAmount(c.kind, c.in)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(a.Value-c.want) > 1e-12*math.Max(1, math.Abs(c.want)) || a.Kind != c.kind || a.HasPm {
				t.Errorf("got %+v, want %v", a, c.want)
			}
			if a.Text != c.in {
				t.Errorf("text %q", a.Text)
			}
		})
	}
}

func TestRefused(t *testing.T) {
	for _, c := range []struct {
		name string
		kind Kind
		in   string
		code string
	}{
		{"bare number", KindTemperature, "325", "no-unit"},
		{"bare length", KindLength, "38", "no-unit"},
		{"bare tail", KindDuration, "12 min 30", "no-unit"},
		{"bare tolerance", KindLength, "30 mm ± 1", "no-unit"},
		{"temperature for a difference", KindDifference, "10 °F", "temperature-not-difference"},
		{"difference for a temperature", KindTemperature, "+10 °F", "difference-not-temperature"},
		{"below absolute zero", KindTemperature, "-274 °C", "below-absolute-zero"},
		{"kelvins below zero", KindTemperature, "-5 K", "below-absolute-zero"},
		{"overflow", KindMass, "1e400 kg", "number-range"},
		{"overflow by the unit", KindDuration, "1e308 h", "number-range"},
		{"not a number", KindMass, "NaN g", "not-a-number"},
		{"infinite", KindMass, "Inf kg", "not-a-number"},
		{"words", KindMass, "a lot", "not-a-number"},
		{"empty", KindMass, "  ", "empty-amount"},
		{"mass for a length", KindLength, "38 g", "wrong-kind"},
		{"metres for minutes", KindDuration, "5 m", "wrong-kind"},
		{"unknown unit", KindMass, "2 cups", "unknown-unit"},
		{"ambiguous comma", KindMass, "1,200 g", "ambiguous-comma"},
		{"two commas", KindMass, "1,200,000 g", "ambiguous-comma"},
		{"comma and point", KindMass, "1,200.5 g", "ambiguous-comma"},
		{"two points", KindMass, "1.2.3 g", "not-a-number"},
		{"negative mass", KindMass, "-1 g", "negative"},
		{"negative span", KindDuration, "-1 s", "negative"},
		{"time of day", KindDuration, "12:30 pm", "clock-not-span"},
		{"seconds over 59", KindDuration, "12:75", "span-form"},
		{"one digit", KindDuration, "12:3", "span-form"},
		{"four fields", KindDuration, "1:02:03:04", "span-form"},
		{"small unit first", KindMass, "3 oz 2 lb", "amount-form"},
		{"mixed kinds", KindMass, "2 lb 3 in", "amount-form"},
		{"two temperatures", KindTemperature, "20 °C 5 °C", "amount-form"},
		{"division by zero", KindLength, "1/0 in", "not-a-number"},
		{"two tolerances", KindLength, "3 mm ± 1 mm ± 1 mm", "unexpected-pm"},
		{"signed tolerance", KindLength, "3 mm ± -1 mm", "unexpected-pm"},
		{"tolerance of another kind", KindLength, "30 mm ± 1 g", "wrong-kind"},
		{"percent of a temperature", KindTemperature, "60 °C ± 5 %", "percent-of-temperature"},
		{"one bracket", KindLength, "(30 mm", "not-a-number"},
		{"per cent for points", KindPoints, "2 %", "wrong-kind"},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, err := ParseAmount(c.kind, c.in)
			e := fault.As(err)
			if e == nil {
				t.Fatalf("%q read as %+v", c.in, a)
			}
			if string(e.Code) != c.code {
				t.Errorf("code %q, want %q: %v", e.Code, c.code, err)
			}
			if a != (Amount{}) {
				t.Errorf("a value beside the error: %+v", a)
			}
		})
	}
}

func TestErrorsSayWhatToDo(t *testing.T) {
	_, err := ParseTemperature("325")
	const want = `a temperature needs a unit (got "325"); write it with its unit, such as "163 °C" or "325 °F"`
	if err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
}

func TestTolerance(t *testing.T) {
	for _, c := range []struct {
		kind    Kind
		in      string
		want    float64
		wantPm  float64
		wantUnt string
	}{
		{KindLength, "30 mm ± 1 mm", 0.03, 0.001, "mm"},
		{KindLength, "30 ± 1 mm", 0.03, 0.001, "mm"},
		{KindLength, "(30 ± 1) mm", 0.03, 0.001, "mm"},
		{KindLength, "30 mm +/- 0.5 cm", 0.03, 0.005, "mm"},
		{KindTemperature, "5 °C ± 1 °C", 5, 1, "°C"},
		{KindTemperature, "40 °F ± 2 °F", (40 - 32) / 1.8, 2 / 1.8, "°F"}, // no 32 °F offset
		{KindTemperature, "5 °C ± 1 K", 5, 1, "°C"},
		{KindDifference, "+10 °F ± 2 °F", 10 / 1.8, 2 / 1.8, "°F"},
		{KindMass, "250 g ± 2 %", 0.25, 0.005, "g"},
		{KindDuration, "12:30 ± 15 s", 750, 15, "min:s"},
		{KindPercent, "25 % ± 2 points", 25, 2, "%"},
		{KindPercent, "25 ± 2 %", 25, 2, "%"},
		{KindOther, "42 ± 3 N", 42, 3, "N"},
		{KindNumber, "7 ± 1", 7, 1, ""},
	} {
		t.Run(c.in, func(t *testing.T) {
			a, err := ParseAmount(c.kind, c.in)
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(a.Value-c.want) > 1e-12 || math.Abs(a.Pm-c.wantPm) > 1e-12 || !a.HasPm || a.Unit != c.wantUnt {
				t.Errorf("got %+v", a)
			}
		})
	}
}

func TestParseGuessesTheKind(t *testing.T) {
	for in, want := range map[string]Kind{
		"325 °F": KindTemperature, "+10 °F": KindDifference, "-18 °C": KindTemperature, "5 K": KindDifference,
		"30 mm": KindLength, "2 lb 3 oz": KindMass, "12:30": KindDuration, "2 points": KindPoints,
		"10 %": KindPercent, "7": KindNumber, "42 N": KindOther, "410 W/m²": KindOther, "2 cups": KindOther,
	} {
		if a, err := Parse(in); err != nil || a.Kind != want {
			t.Errorf("%q: %+v, %v; want %s", in, a, err, want)
		}
	}
}

func TestParseMargin(t *testing.T) {
	for _, c := range []struct {
		in   string
		want Margin
	}{
		{"2 points", Margin{MarginPoints, 2, KindPoints, "points", "2 points"}},
		{"10 %", Margin{MarginRatio, 0.1, KindPercent, "%", "10 %"}},
		{"30 s", Margin{MarginAmount, 30, KindDuration, "s", "30 s"}},
		{"+2 °C", Margin{MarginAmount, 2, KindDifference, "°C", "+2 °C"}},
		{"2 K", Margin{MarginAmount, 2, KindDifference, "K", "2 K"}},
		{"3 N", Margin{MarginAmount, 3, KindOther, "N", "3 N"}},
		{"0.5", Margin{MarginAmount, 0.5, KindNumber, "", "0.5"}},
	} {
		if got, err := ParseMargin(c.in); err != nil || got != c.want {
			t.Errorf("%q: %+v, %v", c.in, got, err)
		}
	}
	for in, code := range map[string]string{
		"2 °C": "temperature-not-difference", "0 points": "margin-not-positive", "-2 %": "margin-not-positive",
		"2 ± 1 points": "unexpected-pm", "": "empty-amount",
	} {
		if _, err := ParseMargin(in); fault.As(err) == nil || string(fault.As(err).Code) != code {
			t.Errorf("%q: %v, want %s", in, err, code)
		}
	}
}

func TestParseClock(t *testing.T) {
	for in, want := range map[string]Clock{
		"2:05 pm":                   {Hour: 14, Minute: 5},
		"12:00 am":                  {},
		"12:30 PM":                  {Hour: 12, Minute: 30},
		"11:58:30 a.m.":             {Hour: 11, Minute: 58, Second: 30},
		"2026-05-01 14:03":          {Year: 2026, Month: 5, Day: 1, Hour: 14, Minute: 3, HasDate: true},
		"2026-05-01T14:03:07.25Z":   {Year: 2026, Month: 5, Day: 1, Hour: 14, Minute: 3, Second: 7.25, HasDate: true, HasOffset: true},
		"2026-05-01T14:03:07-04:00": {Year: 2026, Month: 5, Day: 1, Hour: 14, Minute: 3, Second: 7, HasDate: true, HasOffset: true, OffsetMin: -240},
	} {
		if got, err := ParseClock(in); err != nil || got != want {
			t.Errorf("%q: %+v, %v", in, got, err)
		}
	}
	for in, code := range map[string]string{
		"12:30": "span-not-clock", "13:30 pm": "clock-range", "2026-02-30 10:00": "clock-date", "noon": "clock-form",
		"2026-05-01 24:10": "clock-range", "2:05 pm Z": "clock-form", "0:30 am": "clock-range",
	} {
		if c, err := ParseClock(in); fault.As(err) == nil || string(fault.As(err).Code) != code {
			t.Errorf("%q: %+v, %v, want %s", in, c, err, code)
		}
	}
	// RFC 3339, section 5.8: 1996-12-19T16:39:57-08:00 is the same moment as
	// 1996-12-20T00:39:57Z.
	a, _ := ParseClock("1996-12-19T16:39:57-08:00")
	b, _ := ParseClock("1996-12-20T00:39:57Z")
	au, ok := a.UnixMicro(0)
	bu, _ := b.UnixMicro(0)
	if !ok || au != bu || au != 851042397_000000 {
		t.Errorf("%d, %d", au, bu)
	}
}
