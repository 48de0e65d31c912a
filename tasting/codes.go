package tasting

import (
	"fmt"

	"trivet/fault"
	"trivet/stats"
)

// allCodes lists the three-digit codes that suggest nothing: no leading zero,
// three different digits, no run up or down such as 123 or 987. There are 633.
func allCodes() []string {
	var out []string
	for a := 1; a <= 9; a++ {
		for b := 0; b <= 9; b++ {
			for c := 0; c <= 9; c++ {
				if a == b || b == c || a == c || (b-a == c-b && (b-a == 1 || b-a == -1)) {
					continue
				}
				out = append(out, fmt.Sprintf("%d%d%d", a, b, c))
			}
		}
	}
	return out
}

// codeDealer hands out codes at random: each once, until none of the pool
// fits, then from a fresh shuffle; never twice to the same assessor, and with
// different first digits inside a set. Products play no part in it.
type codeDealer struct {
	stream *stats.Stream
	pool   []string
	given  map[string]map[string]bool // assessor → codes
}

func newCodeDealer(s *stats.Stream) *codeDealer {
	d := &codeDealer{stream: s, given: map[string]map[string]bool{}}
	d.refill()
	return d
}

func (d *codeDealer) refill() {
	d.pool = allCodes()
	stats.Shuffle(d.stream, d.pool)
}

// set returns n codes for one set. More than 8 codes a set, or more cups for
// one assessor than there are codes, is refused, code "codes-short".
func (d *codeDealer) set(assessor string, n int) ([]string, error) {
	short := fault.New("codes-short", "there are not enough three-digit codes for assessor %q", assessor).WithFix("serve at most 8 samples a set and fewer sets a session")
	if n > 8 {
		return nil, short
	}
	mine := d.given[assessor]
	if mine == nil {
		mine = map[string]bool{}
		d.given[assessor] = mine
	}
	for try := 0; try < 20; try++ {
		var codes []string
		var at []int
		first := map[byte]bool{}
		for i, c := range d.pool {
			if len(codes) < n && !mine[c] && !first[c[0]] {
				first[c[0]] = true
				codes, at = append(codes, c), append(at, i)
			}
		}
		if len(codes) == n {
			for i := len(at) - 1; i >= 0; i-- {
				d.pool = append(d.pool[:at[i]], d.pool[at[i]+1:]...)
			}
			for _, c := range codes {
				mine[c] = true
			}
			return codes, nil
		}
		d.refill()
	}
	return nil, short
}
