package web

import "testing"

func TestASentenceInAPersonsOwnUnits(t *testing.T) {
	us := units{Fahrenheit: true, Inch: true}
	for _, c := range []struct {
		name       string
		u          units
		text, want string
	}{
		{"a length with its tolerance", us, "With its tolerance, such as 30 mm ± 1 mm.", "With its tolerance, such as 1.18 in ± 0.04 in."},
		{"two lengths", us, "between semicolons: 30 mm; 31 mm.", "between semicolons: 1.18 in; 1.22 in."},
		{"a range", us, "between 150 and 180 °C", "between 302 °F and 356 °F"},
		{"a temperature with its tolerance", us, "such as 22 °C ± 2 °C or 60 mm ± 3 mm", "such as 71.6 °F ± 3.6 °F or 2.36 in ± 0.12 in"},
		{"a difference", us, "the core to be off by 5 K", "the core to be off by 9 °F"},
		{"below zero", us, "froze at −18 °C.", "froze at −0.4 °F."},
		{"both units already", us, "the figure, 60.0 °C (140 °F)", "the figure, 60.0 °C (140 °F)"},
		{"one of them in both", us, "54.4 °C (130 °F), D at 60 °C", "54.4 °C (130 °F), D at 140 °F"},
		{"lengths alone", units{Inch: true}, "30 mm at 5 °C", "1.18 in at 5 °C"},
		{"temperatures alone", units{Fahrenheit: true}, "30 mm at 5 °C", "30 mm at 41 °F"},
		{"neither", units{}, "30 mm at 5 °C", "30 mm at 5 °C"},
		{"no amount", us, "Such as N, mm or °C; %, where it is a share.", "Such as N, mm or °C; %, where it is a share."},
		{"letters that are no unit", us, "8 Kinds of 3 mmHg", "8 Kinds of 3 mmHg"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := c.u.own(c.text); got != c.want {
				t.Errorf("%q is %q, want %q", c.text, got, c.want)
			}
		})
	}
}
