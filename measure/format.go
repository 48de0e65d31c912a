package measure

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Format prints the value with its expanded uncertainty (95.45 %), both to
// two significant digits of it (JCGM 100:2008, 7.2.6); the coverage factor is
// told where it is not 2. Where the interval is far from even it is printed
// in place of ±.
func (r Response) Format() string {
	if r.StdU <= 0 {
		if r.Unit == "s" {
			return spanText(r.Value, 0)
		}
		return strings.TrimSpace(fmt.Sprintf("%.4g %s", r.Value, r.Unit))
	}
	if low, high, uneven := r.Uneven(); uneven {
		d := digits((high - low) / 2)
		return strings.TrimSpace(fmt.Sprintf("%s %s", fixed(r.Value, d), r.Unit)) + fmt.Sprintf(" (%s to %s)", fixed(low, d), fixed(high, d))
	}
	u, k := r.Expanded()
	d := digits(u)
	tail := ""
	if k > 2.05 {
		tail = fmt.Sprintf(" (k = %.2g)", k)
	}
	if r.Unit == "s" {
		return spanText(r.Value, d) + " ± " + spanText(u, d) + tail
	}
	return strings.TrimSpace(fixed(r.Value, d)+" ± "+fixed(u, d)+" "+r.Unit) + tail
}

// Uneven returns the interval of a value whose propagated distribution
// reaches more than twice as far to one side as to the other: ± would
// misstate it (JCGM 101:2008, 7.7). Spans of time are left as they are.
func (r Response) Uneven() (low, high float64, uneven bool) {
	if r.draws.n == 0 || r.Unit == "s" || !(r.StdU > 0) {
		return 0, 0, false
	}
	low, high = r.Interval()
	down, up := r.Value-low, high-r.Value
	return low, high, max(down, up) > 2*min(down, up)
}

// digits is the place of the second significant digit of u: decimals, or
// below zero tens and hundreds. It is taken from the printed form, so that
// 0.0996 counts as 0.10.
func digits(u float64) int {
	_, exp, _ := strings.Cut(strconv.FormatFloat(u, 'e', 1, 64), "e")
	e, _ := strconv.Atoi(exp)
	return 1 - e
}

// decimals is the number of decimals that shows two significant digits of u.
func decimals(u float64) int { return max(0, digits(u)) }

// fixed prints with so many decimals; below zero to tens and hundreds.
func fixed(x float64, digits int) string {
	if digits < 0 {
		p := math.Pow(10, float64(-digits))
		x, digits = math.Round(x/p)*p, 0
	}
	text := strconv.FormatFloat(math.Abs(x), 'f', digits, 64)
	if x < 0 && strings.Trim(text, "0.") != "" {
		return "−" + text
	}
	return text
}

// spanText prints seconds as "1 h 2 min", "12 min 30.4 s" or "15.3 s", to so
// many decimals of a second.
func spanText(s float64, digits int) string {
	sign := ""
	if s < 0 {
		sign, s = "−", -s
	}
	p := math.Pow(10, float64(digits))
	if s = math.Round(s*p) / p; s < 60 {
		return sign + fixed(s, digits) + " s"
	}
	h, min := int(s)/3600, int(s)/60%60
	var parts []string
	if h > 0 {
		parts = append(parts, fmt.Sprintf("%d h", h))
	}
	if min > 0 {
		parts = append(parts, fmt.Sprintf("%d min", min))
	}
	// Whole minutes carry seconds where those are known.
	if rest := s - float64(3600*h+60*min); rest > 0 || digits >= 0 {
		parts = append(parts, fixed(rest, digits)+" s")
	}
	return sign + strings.Join(parts, " ")
}
