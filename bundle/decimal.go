package bundle

import (
	"math/big"
	"math/bits"
	"slices"
	"strconv"
	"strings"
)

// decimal is a resolution as the decimal number it was written as: a digit
// string times a power of ten. A source with a resolution of 0.1 means one
// tenth, not the binary fraction nearest to it; the shortest decimal that
// reads back as the same float64 is what was meant.
type decimal struct {
	mantissa *big.Int // > 0
	exponent int
}

// mostPlaces is how many decimals, or trailing zeros, are written out before
// an exponent is used.
const mostPlaces = 20

// decimalOf returns the shortest decimal of a positive finite number.
func decimalOf(q float64) decimal {
	s := strconv.FormatFloat(q, 'e', -1, 64) // d.ddde±dd
	digits, exp, _ := strings.Cut(s, "e")
	whole, fraction, _ := strings.Cut(digits, ".")
	e, _ := strconv.Atoi(exp)
	m, _ := new(big.Int).SetString(whole+fraction, 10)
	return decimal{m, e - len(fraction)}
}

// appendTimes writes count × d exactly, with as many decimals as d has, so
// that the resolution shows: 540 × 0.1 is "54.0".
func (d decimal) appendTimes(b []byte, count int64) []byte {
	from := len(b)
	if hi, m := bits.Mul64(magnitude(count), d.mantissa.Uint64()); hi == 0 && m>>63 == 0 && d.mantissa.IsUint64() {
		if count < 0 {
			b = append(b, '-')
		}
		b = strconv.AppendUint(b, m, 10)
	} else {
		b = new(big.Int).Mul(big.NewInt(count), d.mantissa).Append(b, 10)
	}
	switch {
	case d.exponent < -mostPlaces || d.exponent > mostPlaces:
		return strconv.AppendInt(append(b, 'e'), int64(d.exponent), 10)
	case d.exponent >= 0:
		if count != 0 {
			for range d.exponent {
				b = append(b, '0')
			}
		}
		return b
	}
	if count < 0 {
		from++ // past the sign
	}
	for len(b)-from < 1-d.exponent { // at least one digit before the point
		b = slices.Insert(b, from, '0')
	}
	return slices.Insert(b, len(b)+d.exponent, '.')
}

func magnitude(v int64) uint64 {
	if v < 0 {
		return -uint64(v)
	}
	return uint64(v)
}

// count divides a decimal number as text by d. ok is false when the text is
// not a number or not a whole multiple of d.
func (d decimal) count(text string) (n int64, ok bool) {
	if n, ok := d.quickCount(text); ok {
		return n, true
	}
	digits, exp, hasExp := strings.Cut(text, "e")
	if !hasExp {
		digits, exp, hasExp = strings.Cut(text, "E")
	}
	e := 0
	if hasExp {
		var err error
		if e, err = strconv.Atoi(exp); err != nil || e > 400 || e < -400 {
			return 0, false
		}
	}
	whole, fraction, _ := strings.Cut(digits, ".")
	if len(whole)+len(fraction) > 800 || strings.TrimLeft(whole, "+-0123456789") != "" || strings.TrimLeft(fraction, "0123456789") != "" {
		return 0, false
	}
	v, fine := new(big.Int).SetString(whole+fraction, 10)
	if !fine {
		return 0, false
	}
	// v × 10^(e − places) = n × m × 10^exponent
	shift := e - len(fraction) - d.exponent
	m := d.mantissa
	if power := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(shift, -shift))), nil); shift >= 0 {
		v.Mul(v, power)
	} else {
		m = new(big.Int).Mul(m, power)
	}
	q, r := new(big.Int).QuoRem(v, m, new(big.Int))
	if r.Sign() != 0 || !q.IsInt64() {
		return 0, false
	}
	return q.Int64(), true
}

// quickCount reads what appendTimes writes for common resolutions: a number
// with exactly as many decimals as d has.
func (d decimal) quickCount(text string) (n int64, ok bool) {
	if d.exponent > 0 || d.exponent < -9 || len(text) == 0 || len(text) > 18 || !d.mantissa.IsInt64() {
		return 0, false
	}
	s, negative := text, false
	if s[0] == '-' {
		s, negative = s[1:], true
	}
	point := len(s) + d.exponent - 1
	if d.exponent == 0 {
		point = len(s)
	}
	if point < 1 || d.exponent < 0 && s[point] != '.' {
		return 0, false
	}
	for i := range len(s) {
		if i == point {
			continue
		}
		c := s[i] - '0'
		if c > 9 {
			return 0, false
		}
		n = n*10 + int64(c)
	}
	m := d.mantissa.Int64()
	if n%m != 0 {
		return 0, false
	}
	if n /= m; negative {
		n = -n
	}
	return n, true
}
