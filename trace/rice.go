package trace

import (
	"encoding/binary"
	"math/bits"
)

// The Rice code of residuals, FORMAT.md "Residuals".
const (
	partition = 128 // residuals coded with one parameter
	escape    = 24  // quotient from which the number is stored whole
	allZero   = 255 // parameter: every residual is 0
	mostRice  = 62
)

func zigzag(v int64) uint64   { return uint64(v)<<1 ^ uint64(v>>63) }
func unzigzag(z uint64) int64 { return int64(z>>1) ^ -int64(z&1) }

// riceParameter is the parameter that codes the zigzagged residuals in the
// fewest bits.
func riceParameter(z []uint64) byte {
	var any uint64
	for _, v := range z {
		any |= v
	}
	if any == 0 {
		return allZero
	}
	best, least, worse := 0, -1, 0
	for k := 0; k <= min(bits.Len64(any), mostRice); k++ {
		cost := len(z) * (k + 1)
		for _, v := range z {
			if q := v >> k; q < escape {
				cost += int(q)
			} else {
				cost += escape + 63 - k
			}
		}
		switch {
		case least < 0 || cost < least:
			best, least, worse = k, cost, 0
		default:
			if worse++; worse > 3 { // the cost has one valley but for outliers
				return byte(best)
			}
		}
	}
	return byte(best)
}

// bitWriter appends bits, highest first.
type bitWriter struct {
	b    []byte
	acc  uint64 // pending bits at the low end
	fill uint   // how many, < 8 between calls
}

// write appends the low n ≤ 56 bits of v.
func (w *bitWriter) write(v uint64, n uint) {
	w.acc = w.acc<<n | v&(1<<n-1)
	w.fill += n
	for w.fill >= 8 {
		w.fill -= 8
		w.b = append(w.b, byte(w.acc>>w.fill))
	}
}

func (w *bitWriter) pad() {
	if w.fill > 0 {
		w.write(0, 8-w.fill)
	}
}

// appendResiduals codes zigzagged residuals.
func appendResiduals(dst []byte, z []uint64) []byte {
	w := bitWriter{b: dst}
	for len(z) > 0 {
		part := z[:min(len(z), partition)]
		z = z[len(part):]
		k := riceParameter(part)
		w.b = append(w.b, k)
		if k == allZero {
			continue
		}
		for _, v := range part {
			if q := v >> k; q < escape {
				w.write(1<<(q+1)-2, uint(q)+1)
				if k > 32 {
					w.write(v>>32, uint(k)-32)
					w.write(v, 32)
				} else {
					w.write(v, uint(k))
				}
				continue
			}
			w.write(1<<escape-1, escape)
			w.write(v>>32, 32)
			w.write(v, 32)
		}
		w.pad()
	}
	return w.b
}

// reader takes numbers from untrusted bytes. After a failure bad is set and
// every further number is 0.
type reader struct {
	b   []byte
	bad bool
}

func (r *reader) fail() uint64 { r.bad, r.b = true, nil; return 0 }

func (r *reader) uvarint() uint64 {
	v, n := binary.Uvarint(r.b)
	if n <= 0 {
		return r.fail()
	}
	r.b = r.b[n:]
	return v
}

func (r *reader) varint() int64 {
	v, n := binary.Varint(r.b)
	if n <= 0 {
		return int64(r.fail())
	}
	r.b = r.b[n:]
	return v
}

func (r *reader) byte() byte {
	if len(r.b) == 0 {
		return byte(r.fail())
	}
	v := r.b[0]
	r.b = r.b[1:]
	return v
}

// bytes takes n bytes.
func (r *reader) bytes(n uint64) []byte {
	if n > uint64(len(r.b)) {
		r.fail()
		return nil
	}
	v := r.b[:n]
	r.b = r.b[n:]
	return v
}

// residuals decodes len(out) residuals.
func (r *reader) residuals(out []int64) {
	for len(out) > 0 && !r.bad {
		part := out[:min(len(out), partition)]
		out = out[len(part):]
		k := r.byte()
		switch {
		case r.bad:
			return
		case k == allZero:
			clear(part)
		case k > mostRice:
			r.fail()
		default:
			r.partition(part, uint(k))
		}
	}
}

// partition decodes the residuals of one parameter.
func (r *reader) partition(out []int64, k uint) {
	b := r.b
	var acc uint64 // unread bits at the high end
	var fill uint
	pos := 0 // past the end, zero bits are read and refused below
	refill := func() {
		for fill <= 56 {
			if pos < len(b) {
				acc |= uint64(b[pos]) << (56 - fill)
			}
			pos++
			fill += 8
		}
	}
	take := func(n uint) uint64 { // n ≤ 32
		refill()
		v := acc >> (64 - n)
		if n == 0 {
			v = 0
		}
		acc <<= n
		fill -= n
		return v
	}
	for i := range out {
		refill()
		q := uint(bits.LeadingZeros64(^acc))
		if q < escape {
			acc <<= q + 1
			fill -= q + 1
			var low uint64
			if k > 32 {
				low = take(k-32) << 32
				low |= take(32)
			} else {
				low = take(k)
			}
			out[i] = unzigzag(uint64(q)<<k | low)
		} else {
			acc <<= escape
			fill -= escape
			high := take(32)
			out[i] = unzigzag(high<<32 | take(32))
		}
	}
	used := uint(pos)*8 - fill // bits consumed, padding included
	n := (used + 7) / 8
	if n > uint(len(b)) {
		r.fail()
		return
	}
	if rest := used & 7; rest != 0 && b[n-1]<<rest != 0 {
		r.fail() // padding must be zero: one trace has one coding
		return
	}
	r.b = b[n:]
}
