package web

import (
	"fmt"
	"regexp"
	"strings"

	"trivet/quantity"
)

// amountIn finds what a sentence says in °C, mm or kelvins of difference: an
// amount, one with its tolerance, or two with a word between them.
var amountIn = regexp.MustCompile(`[+−-]?\d+(?:\.\d+)?(?: (?:°C|mm|K))?(?:( and | to |–)\d+(?:\.\d+)?)? (?:°C|mm|K)\b(?: ± \d+(?:\.\d+)? (?:°C|mm|K)\b)?`)

// saidInBoth is an amount that stands in the other units already, in brackets.
var saidInBoth = regexp.MustCompile(`^ \([^()]*°F\)`)

// own is a sentence with its amounts in a person's units, but for those that it
// says in both.
func (u units) own(text string) string {
	if u == (units{}) || !strings.ContainsAny(text, "0123456789") {
		return text
	}
	var out strings.Builder
	from := 0
	for _, at := range amountIn.FindAllStringIndex(text, -1) {
		amount := text[at[0]:at[1]]
		if !saidInBoth.MatchString(text[at[1]:]) {
			amount = u.amount(amount)
		}
		out.WriteString(text[from:at[0]])
		out.WriteString(amount)
		from = at[1]
	}
	return out.String() + text[from:]
}

func (u units) amount(amount string) string {
	unit := "°C"
	for _, x := range []string{"mm", "K"} {
		if strings.HasSuffix(amount, " "+x) || strings.Contains(amount, " "+x+" ") {
			unit = x
		}
	}
	if unit == "mm" && !u.Inch || unit != "mm" && !u.Fahrenheit {
		return amount
	}
	for _, between := range []string{" and ", " to ", "–"} {
		if a, b, ok := strings.Cut(amount, between); ok {
			if !strings.HasSuffix(a, " "+unit) {
				a += " " + unit
			}
			return u.one(a, unit) + between + u.one(b, unit)
		}
	}
	return u.one(amount, unit)
}

// one is a single amount in a person's units.
func (u units) one(amount, unit string) string {
	if unit == "K" {
		return strings.TrimPrefix(u.written(quantity.KindDifference, amount), "+")
	}
	return u.written("", amount)
}

// says is a sentence of the catalogue whose own examples are in a person's
// units; what it is filled with is left as it comes.
func (u units) says(key string, args ...any) string {
	text := english[key]
	if text == "" {
		return say(key, args...) // a mistake of ours, told there
	}
	if text = u.own(text); len(args) == 0 {
		return text
	}
	return fmt.Sprintf(text, args...)
}

// knownIn is known with the figures of its words in a person's units.
func (u units) knownIn(kind string) knownNote {
	n := known(kind)
	n.Formula, n.Data, n.Source = u.own(n.Formula), u.own(n.Data), u.own(n.Source)
	return n
}
