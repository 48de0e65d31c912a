package trace

import "math/bits"

// Count is the number of marked indices.
func (b Bitmap) Count() int {
	n := 0
	for _, w := range b.words {
		n += bits.OnesCount64(w)
	}
	return n
}

// Any tells whether an index is marked.
func (b Bitmap) Any() bool {
	for _, w := range b.words {
		if w != 0 {
			return true
		}
	}
	return false
}

// Equal tells whether both mark the same indices.
func (b Bitmap) Equal(c Bitmap) bool {
	if len(b.words) < len(c.words) {
		b, c = c, b
	}
	for i, w := range b.words {
		if i < len(c.words) && w != c.words[i] || i >= len(c.words) && w != 0 {
			return false
		}
	}
	return true
}

// Slice returns the marks of indices from … to−1, counted from 0.
func (b Bitmap) Slice(from, to int) Bitmap {
	var out Bitmap
	for i := from; i < to; i++ {
		if i>>6 >= len(b.words) {
			break
		}
		if b.words[i>>6] == 0 {
			i |= 63
			continue
		}
		if b.Has(i) {
			out.Set(i - from)
		}
	}
	return out
}
