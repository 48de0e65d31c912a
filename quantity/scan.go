package quantity

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"trivet/fault"
)

// longest is the most bytes an amount may have.
const longest = 200

// term is one number and the unit after it, as written.
type term struct {
	value float64
	sign  byte // '+', '-' or 0 when none was written
	unit  string
	known bool // u is set
	u     unit
	clock bool // 12:30 or 1:12:30, value in seconds
}

// spaces and signs that keyboards and word processors put in place of the
// plain ones.
var plain = strings.NewReplacer(
	"\u00a0", " ", "\u202f", " ", "\u2009", " ", "\u2007", " ", "\t", " ",
	"−", "-", "–", "-", "º", "°", "˚", "°", "⁄", "/",
	"+/-", "±", "+-", "±", "+ / -", "±",
)

var vulgar = map[rune]float64{
	'½': 1. / 2, '⅓': 1. / 3, '⅔': 2. / 3, '¼': 1. / 4, '¾': 3. / 4, '⅕': 1. / 5, '⅖': 2. / 5,
	'⅗': 3. / 5, '⅘': 4. / 5, '⅙': 1. / 6, '⅚': 5. / 6, '⅛': 1. / 8, '⅜': 3. / 8, '⅝': 5. / 8, '⅞': 7. / 8,
}

// scanner reads terms from one amount.
type scanner struct {
	text string // as written, for messages
	s    string // what is left
}

func (sc *scanner) fault(code fault.Code, format string, args ...any) *fault.Error {
	e := fault.New(code, format, args...)
	e.Value = sc.text
	return e
}

func (sc *scanner) space() { sc.s = strings.TrimLeft(sc.s, " ") }

// digits takes a run of ASCII digits.
func (sc *scanner) digits() string {
	i := 0
	for i < len(sc.s) && sc.s[i] >= '0' && sc.s[i] <= '9' {
		i++
	}
	d := sc.s[:i]
	sc.s = sc.s[i:]
	return d
}

// take removes the prefix p if it stands next.
func (sc *scanner) take(p string) bool {
	rest, ok := strings.CutPrefix(sc.s, p)
	sc.s = rest
	return ok
}

// terms reads the whole of s.
func (sc *scanner) terms(s string) ([]term, error) {
	sc.s = strings.Trim(s, " ")
	if sc.s == "" {
		return nil, sc.fault("empty-amount", "there is no amount")
	}
	var out []term
	for sc.s != "" {
		t, err := sc.term(len(out) == 0)
		if err != nil {
			return nil, err
		}
		out = append(out, t)
		sc.space()
	}
	return out, nil
}

// term reads one number with its unit, if any.
func (sc *scanner) term(first bool) (term, error) {
	var t term
	if first && (sc.s[0] == '+' || sc.s[0] == '-') {
		t.sign = sc.s[0]
		sc.s = sc.s[1:]
		sc.space()
	}
	if err := sc.number(&t); err != nil {
		return t, err
	}
	if !finite(t.value) {
		return t, sc.fault("number-range", "the number is too large to calculate with").WithFix("check the digits and the exponent")
	}
	if t.sign == '-' {
		t.value = -t.value
	}
	if t.clock {
		return t, nil
	}
	sc.space()
	sc.readUnit(&t)
	return t, nil
}

// number reads 12, 1.5, 1,5, 1e3, 1/2, 1 1/2, 1½, 12:30 or 1:12:30.
func (sc *scanner) number(t *term) error {
	whole := sc.digits()
	if whole == "" && !strings.HasPrefix(sc.s, ".") {
		return sc.vulgarOnly(t)
	}
	if strings.HasPrefix(sc.s, ":") {
		return sc.clock(t, whole)
	}
	text, decimal := whole, false
	if sc.s != "" && (sc.s[0] == '.' || sc.s[0] == ',') {
		point := sc.s[0]
		sc.s = sc.s[1:]
		part := sc.digits()
		switch {
		case point == ',' && part == "":
			return sc.fault("not-a-number", "a comma stands after the number with no digits behind it")
		case point == ',' && (len(part) == 3 && strings.Trim(whole, "0") != "" || strings.HasPrefix(sc.s, ",") || strings.HasPrefix(sc.s, ".")):
			return sc.fault("ambiguous-comma", "the comma may be a decimal comma or a thousands separator").
				WithFix("write %s for thousands or %s.%s for a decimal", whole+part, whole, part)
		case whole == "" && part == "":
			return sc.fault("not-a-number", "there is no number here").WithFix("start with a number, such as 30 mm")
		case strings.HasPrefix(sc.s, ".") || strings.HasPrefix(sc.s, ","):
			return sc.fault("not-a-number", "the number has two decimal points").WithFix("write digits and one decimal point, without thousands separators")
		}
		text, decimal = whole+"."+part, true
	}
	if n := exponent(sc.s); n > 0 {
		text += sc.s[:n]
		sc.s = sc.s[n:]
		decimal = true
	}
	// ParseFloat gives ±Inf on overflow, which the caller refuses.
	t.value, _ = strconv.ParseFloat(text, 64)
	if decimal {
		return nil
	}
	return sc.fraction(t)
}

// exponent is the length of an e+12 at the start of s, 0 if there is none.
func exponent(s string) int {
	if s == "" || s[0] != 'e' && s[0] != 'E' {
		return 0
	}
	i := 1
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	from := i
	for i < len(s) && s[i] >= '0' && s[i] <= '9' {
		i++
	}
	if i == from {
		return 0
	}
	return i
}

// fraction continues a whole number with /2, 1/2 or ½.
func (sc *scanner) fraction(t *term) error {
	if sc.take("/") {
		f, err := sc.divide(t.value)
		t.value = f
		return err
	}
	keep := sc.s
	sc.space()
	if r, n := utf8.DecodeRuneInString(sc.s); vulgar[r] > 0 {
		sc.s = sc.s[n:]
		t.value += vulgar[r]
		return nil
	}
	if top := sc.digits(); top != "" && sc.take("/") {
		n, _ := strconv.ParseFloat(top, 64)
		f, err := sc.divide(n)
		t.value += f
		return err
	}
	sc.s = keep
	return nil
}

// divide reads a denominator.
func (sc *scanner) divide(top float64) (float64, error) {
	d, err := strconv.ParseFloat(sc.digits(), 64)
	if err != nil || d == 0 {
		return 0, sc.fault("not-a-number", "the fraction has no denominator, or it is zero").WithFix("write it as 1/2")
	}
	return top / d, nil
}

func (sc *scanner) vulgarOnly(t *term) error {
	r, n := utf8.DecodeRuneInString(sc.s)
	if f := vulgar[r]; f > 0 {
		sc.s = sc.s[n:]
		t.value = f
		return nil
	}
	return sc.fault("not-a-number", "there is no number at %q", strings.TrimRight(sc.s, " ")).
		WithFix("start with a number, such as 30 mm")
}

// clock reads the rest of 12:30 or 1:12:30 after its first number.
func (sc *scanner) clock(t *term, first string) error {
	bad := func() error {
		return sc.fault("span-form", "this is no span of time").
			WithFix(`write minutes and seconds as 12:30, hours too as 1:12:30, with two digits and less than 60 after each colon`)
	}
	parts := []string{first}
	for sc.take(":") {
		d := sc.digits()
		if len(d) != 2 || d >= "60" || len(parts) == 3 {
			return bad()
		}
		parts = append(parts, d)
	}
	last := parts[len(parts)-1]
	if strings.HasPrefix(sc.s, ".") || strings.HasPrefix(sc.s, ",") {
		sc.s = sc.s[1:]
		d := sc.digits()
		if d == "" {
			return bad()
		}
		last += "." + d
	}
	for i, p := range parts {
		if i == len(parts)-1 {
			p = last
		}
		v, _ := strconv.ParseFloat(p, 64)
		t.value = t.value*60 + v
	}
	t.clock, t.known, t.u, t.unit = true, true, second, "min:s"
	if len(parts) == 3 {
		t.unit = "h:min:s"
	}
	sc.space()
	if lower := strings.ToLower(sc.s); strings.HasPrefix(lower, "am") || strings.HasPrefix(lower, "pm") {
		return sc.fault("clock-not-span", "this is a time of day, and a span of time is wanted").
			WithFix("leave out am or pm: 12:30 is 12 minutes 30 seconds")
	}
	return nil
}

// readUnit takes the unit that stands next. Known units may be two words
// ("deg F", "percentage points") and may run into the next number
// ("12min30s"); an unknown one ends at a space.
func (sc *scanner) readUnit(t *term) {
	word := func(s string) string {
		i := strings.IndexFunc(s, func(r rune) bool { return r == ' ' || r >= '0' && r <= '9' || vulgar[r] > 0 })
		if i < 0 {
			return s
		}
		return s[:i]
	}
	first := word(sc.s)
	if first == "" {
		return
	}
	rest := sc.s[len(first):]
	if strings.HasPrefix(rest, " ") {
		gap := len(rest) - len(strings.TrimLeft(rest, " "))
		if second := word(rest[gap:]); second != "" {
			if u, ok := lookup(first + " " + second); ok {
				t.unit, t.u, t.known = first+" "+second, u, true
				sc.s = rest[gap+len(second):]
				return
			}
		}
	}
	if u, ok := lookup(first); ok {
		t.unit, t.u, t.known = first, u, true
		sc.s = rest
		return
	}
	if i := strings.IndexFunc(sc.s, unicode.IsSpace); i >= 0 {
		t.unit, sc.s = sc.s[:i], sc.s[i:]
	} else {
		t.unit, sc.s = sc.s, ""
	}
}
