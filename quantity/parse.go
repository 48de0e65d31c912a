package quantity

import (
	"math"
	"strings"

	"trivet/fault"
)

// ParseTemperature reads a temperature: "163 °C", "325F", "325 degF",
// "-18 °C", "300 K". A plus sign marks a difference and is refused.
func ParseTemperature(s string) (Temperature, error) {
	a, err := plainAmount(KindTemperature, s)
	return Temperature{a.Value}, err
}

// ParseDifference reads a difference of temperatures, marked by a sign or by
// kelvins: "+10 °F" (a rise of 5.56 K), "-5 °C", "5 K".
func ParseDifference(s string) (Difference, error) {
	a, err := plainAmount(KindDifference, s)
	return Difference{a.Value}, err
}

// ParseLength reads a length: "38 mm", "3.8 cm", "1 1/2 in", `1½"`.
func ParseLength(s string) (Length, error) {
	a, err := plainAmount(KindLength, s)
	return Length{a.Value}, err
}

// ParseMass reads a mass: "450 g", "1.2 kg", "2 lb 3 oz".
func ParseMass(s string) (Mass, error) {
	a, err := plainAmount(KindMass, s)
	return Mass{a.Value}, err
}

// ParseDuration reads a span of time: "12 min 30 s", "2 h", "90 s", "12:30"
// (minutes and seconds), "1:12:30" (hours too).
func ParseDuration(s string) (Duration, error) {
	a, err := plainAmount(KindDuration, s)
	return Duration{a.Value}, err
}

// ParsePercent reads a percentage, "30 %", and returns 30.
func ParsePercent(s string) (float64, error) {
	a, err := plainAmount(KindPercent, s)
	return a.Value, err
}

// plainAmount reads an amount of one kind that takes no ± part.
func plainAmount(kind Kind, s string) (Amount, error) {
	a, err := ParseAmount(kind, s)
	if err == nil && a.HasPm {
		return Amount{}, fault.New("unexpected-pm", "a ± part has no meaning here").On("", s).WithFix("leave out the ± and what follows it")
	}
	return a, err
}

// ParseMargin reads the smallest difference that matters: "2 points" of a
// response in per cent, "10 %" as a ratio, or an amount such as "30 s",
// "+2 °C", "3 N". It must be more than zero.
func ParseMargin(s string) (Margin, error) {
	a, err := Parse(s)
	if err != nil {
		return Margin{}, err
	}
	bad := func(code fault.Code, msg, fix string) (Margin, error) {
		return Margin{}, fault.New(code, "%s", msg).On("", s).WithFix("%s", fix)
	}
	switch {
	case a.HasPm:
		return bad("unexpected-pm", "a margin takes no ± part", "leave out the ± and what follows it")
	case a.Kind == KindTemperature:
		return bad("temperature-not-difference", "this is a temperature, and a margin is a difference", wants(KindDifference))
	case !(a.Value > 0):
		return bad("margin-not-positive", "a margin must be more than zero", "give the smallest difference that matters, without its direction")
	}
	m := Margin{MarginKind: MarginAmount, Value: a.Value, Kind: a.Kind, Unit: a.Unit, Text: a.Text}
	switch a.Kind {
	case KindPercent:
		m.MarginKind, m.Value = MarginRatio, a.Value/100
	case KindPoints:
		m.MarginKind = MarginPoints
	}
	return m, nil
}

// Parse reads an amount of any kind, guessed from its unit. With a degree
// unit a plus sign means a difference ("+10 °F"), no sign or a minus sign a
// temperature ("-18 °C"); kelvins mean a difference. A bare number has
// [KindNumber]; a unit this package does not know gives [KindOther] and is
// kept as written.
func Parse(s string) (Amount, error) { return parse("", s) }

// ParseAmount reads an amount of the given kind, with an optional ± part:
// "30 mm ± 1 mm", "30 ± 1 mm", "(30 ± 1) mm", "250 g ± 2 %". The ± part of
// a temperature is a difference and converts without the 32 °F offset.
func ParseAmount(kind Kind, s string) (Amount, error) {
	if kind == "" {
		return Amount{}, fault.New("kind", "no kind of amount was asked for").On("", s)
	}
	return parse(kind, s)
}

// parse reads an amount; kind "" takes what the unit says.
func parse(kind Kind, s string) (Amount, error) {
	text := strings.TrimSpace(s)
	sc := &scanner{text: text}
	if len(s) > longest {
		return Amount{}, sc.fault("amount-length", "this is too long for an amount: %d bytes, at most %d are read", len(s), longest)
	}
	left, right, both, err := sc.split(strings.TrimSpace(plain.Replace(s)))
	if err != nil {
		return Amount{}, err
	}
	terms, err := sc.terms(left)
	if err != nil {
		return Amount{}, err
	}
	var pm []term
	if both {
		if pm, err = sc.terms(right); err != nil {
			return Amount{}, err
		}
		// "30 ± 1 mm": the unit stands once, behind both numbers. In
		// "250 ± 2 %" of a mass the sign belongs to the ± part alone.
		head, last := &terms[0], pm[len(pm)-1]
		own := last.u.kind == KindPercent && kind != "" && kind != KindPercent
		if len(terms) == 1 && head.unit == "" && !own {
			head.unit, head.u, head.known = last.unit, last.u, last.known
		}
	}
	a, err := sc.amount(kind, terms)
	if err != nil {
		return Amount{}, err
	}
	a.Text = text
	if !both {
		return a, nil
	}
	a.HasPm = true
	a.Pm, err = sc.tolerance(a, terms[0], pm)
	if err != nil {
		return Amount{}, err
	}
	return a, nil
}

// split cuts s at its ± sign and puts the unit behind brackets inside them.
func (sc *scanner) split(s string) (left, right string, both bool, err error) {
	if inner, ok := strings.CutPrefix(s, "("); ok {
		body, unit, closed := strings.Cut(inner, ")")
		if !closed || !strings.Contains(body, "±") {
			return "", "", false, sc.fault("not-a-number", "brackets are read only around a ± pair").WithFix("write it as (30 ± 1) mm")
		}
		s = body + " " + unit
	}
	left, right, both = strings.Cut(s, "±")
	if strings.Contains(right, "±") {
		return "", "", false, sc.fault("unexpected-pm", "there are two ± parts").WithFix("keep one")
	}
	return left, right, both, nil
}

// amount turns terms into an amount of the wanted kind ("" = any).
func (sc *scanner) amount(kind Kind, terms []term) (Amount, error) {
	head := terms[0]
	if kind == KindOther && len(terms) == 1 && head.unit != "" {
		return Amount{Kind: KindOther, Value: head.value, Unit: head.unit}, nil
	}
	if err := sc.sameKind(kind, terms); err != nil {
		return Amount{}, err
	}
	if head.unit == "" {
		if kind != "" && kind != KindNumber {
			return Amount{}, sc.fault("no-unit", "a %s needs a unit", kind).WithFix("%s", wants(kind))
		}
		return Amount{Kind: KindNumber, Value: head.value}, nil
	}
	if !head.known {
		if kind != "" {
			return Amount{}, sc.fault("unknown-unit", "%q is not a unit of %s", head.unit, kind).WithFix("%s", wants(kind))
		}
		return Amount{Kind: KindOther, Value: head.value, Unit: head.unit}, nil
	}
	if head.u.kind == KindTemperature {
		return sc.degrees(kind, head)
	}
	if kind != "" && head.u.kind != kind {
		return Amount{}, sc.wrongKind(kind, head)
	}
	a := Amount{Kind: head.u.kind, Unit: head.unit}
	for _, t := range terms {
		a.Value += t.u.span(t.value)
	}
	switch {
	case !finite(a.Value):
		return Amount{}, sc.fault("number-range", "the number is too large to calculate with").WithFix("check the digits and the exponent")
	case a.Value < 0 && (a.Kind == KindLength || a.Kind == KindMass || a.Kind == KindDuration):
		return Amount{}, sc.fault("negative", "a %s cannot be less than zero", a.Kind).WithFix("leave out the minus sign")
	}
	return a, nil
}

func (sc *scanner) wrongKind(kind Kind, t term) error {
	e := sc.fault("wrong-kind", "this is a %s, and a %s is wanted", t.u.kind, kind)
	if kind == KindDuration && t.u == metre {
		return e.WithFix(`"m" is metres: write "min" for minutes`)
	}
	return e.WithFix("%s", wants(kind))
}

// sameKind checks that several terms belong together: known units of one
// kind, the larger first, like 2 lb 3 oz.
func (sc *scanner) sameKind(kind Kind, terms []term) error {
	for i := 1; i < len(terms); i++ {
		was, t := terms[i-1], terms[i]
		switch {
		case t.unit == "":
			return sc.fault("no-unit", "the number after %q has no unit", was.unit).WithFix("write every number with its unit, such as 12 min 30 s")
		case !t.known || !was.known || was.unit == "":
			return sc.fault("amount-form", "these are not parts of one amount").WithFix("write one number and one unit, or parts such as 2 lb 3 oz")
		case t.clock || was.clock, t.u.kind == KindTemperature, t.u.kind == KindPercent, t.u.kind == KindPoints,
			t.u.kind != was.u.kind, t.u.size >= was.u.size:
			return sc.fault("amount-form", "%q and %q are not parts of one amount", was.unit, t.unit).
				WithFix("write the larger unit first, such as 12 min 30 s or 2 lb 3 oz")
		}
	}
	return nil
}

// degrees reads a term in a temperature unit as a temperature or a
// difference.
func (sc *scanner) degrees(kind Kind, t term) (Amount, error) {
	marked := t.sign != 0 || t.u == kelvin
	if kind == "" {
		kind = KindTemperature
		if t.sign == '+' || t.u == kelvin {
			kind = KindDifference
		}
	}
	switch kind {
	case KindTemperature:
		if t.sign == '+' {
			return Amount{}, sc.fault("difference-not-temperature", "a plus sign marks a difference of temperatures, and a temperature is wanted").
				WithFix("leave out the plus sign: +10 °F is a rise of 10 °F, 10 °F a temperature")
		}
		c := t.u.si(t.value)
		if !finite(c) {
			return Amount{}, sc.fault("number-range", "the number is too large to calculate with").WithFix("check the digits and the exponent")
		}
		if c < absoluteZeroC-1e-9 {
			return Amount{}, sc.fault("below-absolute-zero", "this is below absolute zero (−273.15 °C, −459.67 °F)").WithFix("check the sign and the unit")
		}
		return Amount{Kind: kind, Value: math.Max(c, absoluteZeroC), Unit: t.unit}, nil
	case KindDifference:
		if !marked {
			return Amount{}, sc.fault("temperature-not-difference", "this is a temperature, and a difference of temperatures is wanted").
				WithFix("mark a difference with its sign: +10 °F is a rise of 10 °F (5.56 K); or write it in kelvins, 5 K")
		}
		return Amount{Kind: kind, Value: t.u.span(t.value), Unit: t.unit}, nil
	}
	return Amount{}, sc.wrongKind(kind, t)
}

// tolerance reads what stands behind ± in the SI unit of a; for a
// temperature it is a difference. A percentage is taken of the value where
// the scale has a true zero.
func (sc *scanner) tolerance(a Amount, head term, pm []term) (float64, error) {
	first := pm[0]
	if first.sign != 0 {
		return 0, sc.fault("unexpected-pm", "the ± part has a sign of its own").WithFix("write the tolerance without a sign")
	}
	if first.unit == "" && a.Kind != KindNumber {
		return 0, sc.fault("no-unit", "the ± part needs a unit").WithFix("write it as 30 mm ± 1 mm, or 30 ± 1 mm")
	}
	if err := sc.sameKind("", pm); err != nil {
		return 0, err
	}
	relative := first.known && first.u == percent
	var v float64
	switch {
	case relative && (a.Kind == KindTemperature || a.Kind == KindDifference || a.Kind == KindPoints):
		return 0, sc.fault("percent-of-temperature", "a percentage of a %s says nothing", a.Kind).WithFix("write the tolerance as an amount, such as ± 2 °C")
	case relative && a.Kind != KindPercent:
		v = math.Abs(a.Value) * first.value / 100
	case a.Kind == KindOther && first.unit == a.Unit, a.Kind == KindNumber && first.unit == "":
		v = first.value
	case first.known && fitsTolerance(a.Kind, first.u.kind):
		for _, t := range pm {
			v += t.u.span(t.value)
		}
	default:
		return 0, sc.fault("wrong-kind", "the unit of the ± part (%q) does not fit that of the value (%q)", first.unit, head.unit).
			WithFix("write both in units of %s", a.Kind)
	}
	if !finite(v) {
		return 0, sc.fault("number-range", "the ± part is too large to calculate with").WithFix("check the digits and the exponent")
	}
	return v, nil
}

// fitsTolerance tells whether a ± part in units of kind pm belongs to an
// amount of kind k: a difference is written in units of temperature, the
// tolerance of a percentage in % or points.
func fitsTolerance(k, pm Kind) bool {
	return pm == k || k == KindDifference && pm == KindTemperature || k == KindPercent && pm == KindPoints
}
