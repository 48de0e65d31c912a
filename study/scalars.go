package study

import (
	"math"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"trivet/fault"
	"trivet/quantity"
)

// The takes below read one scalar into a place, reporting what is wrong with
// it. Each is handed to object or list as the reader of a key.

func (r *reader) scalar(n ast.Node, path string) (string, bool) {
	s, ok := scalarText(n)
	if !ok {
		r.report(n, path, "wrong-shape", "write one value here", "expected a single value, found %s", describe(n))
	}
	return s, ok
}

// text reads any scalar as text.
func (r *reader) text(into *string) take {
	return func(n ast.Node, path string) {
		if s, ok := r.scalar(n, path); ok {
			*into = strings.TrimSpace(s)
		}
	}
}

// texts reads one scalar or a list of them.
func (r *reader) texts(into *[]string) take {
	return func(n ast.Node, path string) {
		r.oneOrList(n, path, func(n ast.Node, path string) {
			if s, ok := r.scalar(n, path); ok {
				*into = append(*into, strings.TrimSpace(s))
			}
		})
	}
}

// slug reads an id: letters, digits, dots, hyphens and underscores.
func (r *reader) slug(into *string) take {
	return func(n ast.Node, path string) {
		s, ok := r.scalar(n, path)
		if !ok {
			return
		}
		*into = strings.TrimSpace(s)
		if !isSlug(*into) {
			r.report(n, path, "id-form", "use letters, digits, hyphens, dots and underscores, such as "+strconv.Quote(orElse(NewID(s), "sear-first")),
				"not usable as an id")
		}
	}
}

func isSlug(s string) bool {
	for i, c := range s {
		letter := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9'
		if !letter && (i == 0 || !strings.ContainsRune("-_.", c)) {
			return false
		}
	}
	return s != "" && len(s) <= 64
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// choice reads one of a fixed set of words.
func choice[T ~string](r *reader, into *T, words ...T) take {
	return func(n ast.Node, path string) {
		s, ok := r.scalar(n, path)
		if !ok {
			return
		}
		s = strings.TrimSpace(s)
		names := make([]string, len(words))
		for i, w := range words {
			if s == string(w) {
				*into = w
				return
			}
			names[i] = string(w)
		}
		fix := "write one of: " + strings.Join(names, ", ")
		if near := nearest(s, names); near != "" {
			fix = "did you mean " + strconv.Quote(near) + "? (" + strings.Join(names, ", ") + ")"
		}
		r.report(n, path, "unknown-word", fix, "not a word known here")
	}
}

// yesNo reads yes, no, true or false.
func (r *reader) yesNo(into *bool) take {
	return func(n ast.Node, path string) {
		s, ok := r.scalar(n, path)
		if !ok {
			return
		}
		v, ok := parseYesNo(s)
		if !ok {
			r.report(n, path, "not-yes-or-no", "write yes or no", "expected yes or no")
			return
		}
		*into = v
	}
}

func parseYesNo(s string) (value, ok bool) {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "yes", "true":
		return true, true
	case "no", "false":
		return false, true
	}
	return false, false
}

// whole reads a whole number of at least least.
func (r *reader) whole(into *int, least int) take {
	return func(n ast.Node, path string) {
		s, ok := r.scalar(n, path)
		if !ok {
			return
		}
		v, err := strconv.Atoi(strings.TrimSpace(s))
		if err != nil || v < least || v > 1e6 {
			r.report(n, path, "not-whole-number", "write a whole number of at least "+strconv.Itoa(least),
				"expected a whole number")
			return
		}
		*into = v
	}
}

// parseNumber reads a plain finite decimal number.
func parseNumber(s string) (float64, bool) {
	s = strings.ReplaceAll(strings.TrimSpace(s), "−", "-")
	if strings.ContainsAny(s, "xXpP_iInN") { // hexadecimal, underscores, Inf and NaN are no kitchen numbers
		return 0, false
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil && !math.IsInf(v, 0) && !math.IsNaN(v)
}

// number reads a plain number.
func (r *reader) number(into *float64) take {
	return func(n ast.Node, path string) {
		s, ok := r.scalar(n, path)
		if !ok {
			return
		}
		v, ok := parseNumber(s)
		if !ok {
			r.report(n, path, "not-a-number", "write a plain number", "expected a number")
			return
		}
		*into = v
	}
}

// share reads a share between two bounds, as "30 %" or 0.3.
func (r *reader) share(into *float64, above, below float64) take {
	return func(n ast.Node, path string) {
		s, ok := r.scalar(n, path)
		if !ok {
			return
		}
		v, ok := parseNumber(s)
		if !ok {
			percent, err := quantity.ParsePercent(s)
			if err != nil {
				r.amountFault(n, path, err)
				return
			}
			v = percent / 100
		}
		if !(v > above && v < below) {
			r.report(n, path, "out-of-range",
				"write a share above "+formatShare(above)+" and below "+formatShare(below),
				"this share is out of range")
			return
		}
		*into = v
	}
}

func formatShare(v float64) string {
	return strconv.FormatFloat(v*100, 'g', 6, 64) + " %"
}

// amount reads an amount of a kind; ± is refused.
func (r *reader) amount(kind quantity.Kind, into *float64) take {
	return func(n ast.Node, path string) {
		a, ok := r.anAmount(n, path, kind)
		if !ok {
			return
		}
		if a.HasPm {
			r.report(n, path, "unexpected-pm", "leave out the ± and what follows it", "a ± part has no meaning here")
			return
		}
		*into = a.Value
	}
}

func (r *reader) anAmount(n ast.Node, path string, kind quantity.Kind) (quantity.Amount, bool) {
	s, ok := r.scalar(n, path)
	if !ok {
		return quantity.Amount{}, false
	}
	a, err := quantity.ParseAmount(kind, s)
	if err != nil {
		r.amountFault(n, path, err)
		return quantity.Amount{}, false
	}
	return a, true
}

// amountFault places an error of package quantity at a node.
func (r *reader) amountFault(n ast.Node, path string, err error) {
	e := fault.As(err)
	if e == nil {
		e = fault.New("amount", "%s", err)
	}
	s, _ := scalarText(n)
	r.errs = append(r.errs, e.In(r.file).At(position(n)).On(path, s))
}

// mostTimeS bounds times in a document: 30 days, the longest cure or dry-age.
const mostTimeS = 30 * 86400

// span reads a time from heat on in µs; "-5:00" is five minutes before it.
func (r *reader) span(n ast.Node, path string) (us int64, ok bool) {
	s, ok := r.scalar(n, path)
	if !ok {
		return 0, false
	}
	s = strings.TrimSpace(strings.ReplaceAll(s, "−", "-"))
	rest, before := strings.CutPrefix(s, "-")
	d, err := quantity.ParseDuration(strings.TrimSpace(rest))
	if err != nil {
		r.amountFault(n, path, err)
		return 0, false
	}
	if d.S() > mostTimeS {
		r.report(n, path, "out-of-range", "check the units", "longer than thirty days")
		return 0, false
	}
	us = int64(math.Round(d.S() * 1e6))
	if before {
		us = -us
	}
	return us, true
}
