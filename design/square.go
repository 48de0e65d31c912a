package design

import (
	"fmt"

	"trivet/fault"
	"trivet/stats"
)

// Williams returns orders of t things in which each stands once at every
// place and every thing follows every other equally often: t orders when t is
// even, 2t when it is odd (the second half mirrors the first).
//
// References: E. J. Williams, Australian Journal of Scientific Research A
// 2:149 (1949).
func Williams(t int) [][]int {
	first := make([]int, t) // 0, 1, t−1, 2, t−2, …
	low, high := 1, t-1
	for i := 1; i < t; i++ {
		if i%2 == 1 {
			first[i] = low
			low++
		} else {
			first[i] = high
			high--
		}
	}
	var rows [][]int
	for shift := range t {
		row := make([]int, t)
		for i, v := range first {
			row[i] = (v + shift) % t
		}
		rows = append(rows, row)
	}
	if t%2 == 1 {
		for r := range t {
			row := make([]int, t)
			for i := range row {
				row[i] = rows[r][t-1-i]
			}
			rows = append(rows, row)
		}
	}
	return rows
}

// latin is a random Latin square: the cyclic one with rows, columns and
// letters in random order.
func latin(s *stats.Stream, t int) [][]int {
	rows, cols, letters := identity(t), identity(t), identity(t)
	stats.Shuffle(s, rows)
	stats.Shuffle(s, cols)
	stats.Shuffle(s, letters)
	out := make([][]int, t)
	for i := range out {
		out[i] = make([]int, t)
		for j := range out[i] {
			out[i][j] = letters[(rows[i]+cols[j])%t]
		}
	}
	return out
}

// latinSquares deals whole squares: rows are blocks, columns the places in
// the run order or, when as many burners are named as treatments, burners.
func latinSquares(r Request) (*Plan, error) {
	t := len(r.Treatments)
	if err := r.enoughPieces(t); err != nil {
		return nil, err
	}
	if r.Blocks%t != 0 {
		next := (r.Blocks/t + 1) * t
		return nil, fault.New("square-blocks", "a Latin square of %d treatments takes %d blocks, and %d is no multiple of that", t, t, r.Blocks).
			On("blocks", fmt.Sprint(r.Blocks)).WithFix("%d blocks work next", next)
	}
	squares := r.Blocks / t
	df := (t - 1) * (squares*(t-1) - 1)
	if df < minErrorDF {
		need := squares
		for (t-1)*(need*(t-1)-1) < minErrorDF {
			need++
		}
		return nil, fault.New("square-df", "%d square(s) of %d treatments leave %d degrees of freedom for the error", squares, t, df).
			On("blocks", fmt.Sprint(r.Blocks)).WithFix("%d squares, %d blocks, work next", need, need*t)
	}
	p := &Plan{Treatments: r.Treatments, Blocks: r.Blocks, PerBlock: t, ErrorDF: float64(df), Efficiency: 1}
	s := stats.NewStream(r.Seed, "design square", 0)
	pieces := balancedOrders(stats.NewStream(r.Seed, "design pieces", 0), t, r.Blocks)
	runs := shuffled(stats.NewStream(r.Seed, "design block order", 0), r.Blocks)
	var rows [][]int
	for range squares {
		rows = append(rows, latin(s, t)...)
	}
	for _, b := range runs {
		for place, tr := range rows[b] {
			p.Slots = append(p.Slots, Slot{Order: len(p.Slots) + 1, Block: r.block(b), Piece: r.piece(b, pieces[b][place]),
				Treatment: r.Treatments[tr], Place: place + 1})
		}
	}
	p.say("Each treatment is cooked once in every block and once at every place of each of %d square(s): differences between blocks and a drift from first to last place both cancel.", squares)
	p.say("%d degrees of freedom judge the difference; complete blocks without the square would leave %d. The square pays if places differ.", df, (r.Blocks-1)*(t-1))
	p.say("Treatment × place and treatment × block interactions cannot be told from scatter.")
	if t > 2 {
		p.say("What a cook leaves behind for the next is not balanced: take a crossover if a hot pan carries over.")
	}
	return p, nil
}

const minErrorDF = 3

func shuffled(s *stats.Stream, n int) []int {
	x := identity(n)
	stats.Shuffle(s, x)
	return x
}
