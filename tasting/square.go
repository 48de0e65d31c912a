package tasting

import "trivet/fault"

// williams returns serving orders of p products in which every product stands
// equally often in every position and follows every other equally often:
// p orders when p is even, 2p when it is odd.
//
// References: Williams E.J., 1949, Experimental designs balanced for the
// estimation of residual effects of treatments, Australian J. Scientific
// Research A 2:149-168.
func williams(p int) [][]int {
	// The first row runs 0, 1, p−1, 2, p−2, …; the others add 1 modulo p.
	first := make([]int, p)
	low, high := 1, p-1
	for i := 1; i < p; i++ {
		if i%2 == 1 {
			first[i] = low
			low++
		} else {
			first[i] = high
			high--
		}
	}
	var rows [][]int
	for shift := range p {
		row := make([]int, p)
		for i, v := range first {
			row[i] = (v + shift) % p
		}
		rows = append(rows, row)
	}
	if p%2 == 1 {
		for shift := range p {
			row := make([]int, p)
			for i := range row {
				row[i] = rows[shift][p-1-i]
			}
			rows = append(rows, row)
		}
	}
	return rows
}

// squareBlock is the serving block of a method that gives every product to
// every assessor.
func squareBlock(products, most int) ([]Serving, error) {
	if products < 2 || products > most {
		return nil, fault.New("product-count", "%d products cannot be served this way", products).
			WithFix("between 2 and %d products in one sitting", most)
	}
	var out []Serving
	for _, row := range williams(products) {
		out = append(out, Serving{Reference: -1, Cups: row})
	}
	return out, nil
}
