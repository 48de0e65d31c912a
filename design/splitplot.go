package design

import (
	"fmt"
	"strings"

	"trivet/fault"
	"trivet/stats"
)

// splitPlot deals a factor that is set for a whole batch (the oven's
// temperature) and one that varies piece by piece inside it. In every block
// each whole-batch level is run once, in random order, and inside each batch
// the pieces' levels are dealt.
func splitPlot(r Request) (*Plan, error) {
	if len(r.Factors) != 2 {
		return nil, fault.New("factors-count", "a split plot has two factors: the whole batch's first, the piece's second").WithFix("name both with their levels")
	}
	whole, sub := r.Factors[0], r.Factors[1]
	for _, f := range r.Factors {
		if _, twice := repeated(f.Levels); len(f.Levels) < 2 || twice {
			return nil, fault.New("factor-levels", "the factor %s needs at least two different levels", f.Name).On("levels", strings.Join(f.Levels, ", ")).WithFix("give two or more")
		}
	}
	a, c := len(whole.Levels), len(sub.Levels)
	wholeDF := (r.Blocks - 1) * (a - 1)
	if wholeDF < 1 {
		return nil, fault.New("split-batches", "with %s of each %s level, %s and batch cannot be told apart", "one batch", whole.Name, whole.Name).
			On("blocks", fmt.Sprint(r.Blocks)).WithFix("2 blocks work next; %d give %d degrees of freedom for %s", 1+(minErrorDF+a-2)/(a-1), (minErrorDF+a-2)/(a-1)*(a-1), whole.Name)
	}
	if err := r.enoughPieces(a * c); err != nil {
		return nil, err
	}
	p := &Plan{Blocks: r.Blocks, PerBlock: a * c, ErrorDF: float64(a * (r.Blocks - 1) * (c - 1)), Efficiency: 1}
	for _, w := range whole.Levels {
		for _, x := range sub.Levels {
			p.Treatments = append(p.Treatments, w+" + "+x)
		}
	}
	batches := balancedOrders(stats.NewStream(r.Seed, "design batches", 0), a, r.Blocks)
	orders := balancedOrders(stats.NewStream(r.Seed, "design run order", 0), c, r.Blocks*a)
	pieces := stats.NewStream(r.Seed, "design pieces", 0)
	runs := shuffled(stats.NewStream(r.Seed, "design block order", 0), r.Blocks)
	for _, b := range runs {
		cut := shuffled(pieces, a*c)
		place := 0
		for i, w := range batches[b] {
			for _, x := range orders[b*a+i] {
				p.Slots = append(p.Slots, Slot{Order: len(p.Slots) + 1, Block: r.block(b), Piece: r.piece(b, cut[place]),
					Treatment: whole.Levels[w] + " + " + sub.Levels[x], Place: place + 1, Batch: fmt.Sprintf("%s-%d", r.block(b), i+1),
					Settings: map[string]string{whole.Name: whole.Levels[w], sub.Name: sub.Levels[x]}})
				place++
			}
		}
	}
	p.say("%s is set for a whole batch, so a batch counts as one: %d degrees of freedom judge it, however many pieces it holds.", whole.Name, wholeDF)
	p.say("%s and its interaction with %s are judged inside batches, on %g degrees of freedom, usually far more surely.", sub.Name, whole.Name, p.ErrorDF)
	if wholeDF < minErrorDF {
		p.say("That is fewer than %d for %s: no verdict on it can be given; %d blocks would do.", minErrorDF, whole.Name, 1+(minErrorDF+a-2)/(a-1))
	}
	return p, nil
}
