package design

import (
	"fmt"

	"trivet/fault"
	"trivet/stats"
)

// completeBlocks deals pairs, complete blocks, dose series and crossovers:
// one piece of every block for every treatment. Which piece gets which
// treatment and which is cooked first are two separate draws, each balanced
// over the blocks.
func completeBlocks(r Request) (*Plan, error) {
	t := len(r.Treatments)
	if r.Kind == Pairs && t != 2 {
		return nil, fault.New("pairs-treatments", "pairs compare two treatments, and there are %d", t).
			On("treatments", fmt.Sprint(t)).WithFix("take complete blocks, the design \"%s\"", CompleteBlocks)
	}
	if err := r.enoughPieces(t); err != nil {
		return nil, err
	}
	if r.Blocks < 2 {
		return nil, fault.New("blocks-count", "one block shows what happened once; it has no error to judge a difference by").
			On("blocks", fmt.Sprint(r.Blocks)).WithFix("2 blocks can be analysed, 4 are the least for a verdict")
	}
	if r.Kind == DoseSeries {
		if err := rising(r.Levels, t); err != nil {
			return nil, err
		}
	}
	whole := t
	if t%2 == 1 {
		whole = 2 * t
	}
	if r.Kind == Crossover && r.Blocks%whole != 0 {
		return nil, fault.New("crossover-blocks", "for every treatment to follow every other equally often %d treatments take %d blocks, and %d is no multiple of that", t, whole, r.Blocks).
			On("blocks", fmt.Sprint(r.Blocks)).WithFix("%d blocks work next", (r.Blocks/whole+1)*whole)
	}
	p := &Plan{Treatments: r.Treatments, Blocks: r.Blocks, PerBlock: t, ErrorDF: float64((r.Blocks - 1) * (t - 1)), Efficiency: 1}
	orders := balancedOrders(stats.NewStream(r.Seed, "design run order", 0), t, r.Blocks)
	pieces := balancedOrders(stats.NewStream(r.Seed, "design pieces", 0), t, r.Blocks)
	s := stats.NewStream(r.Seed, "design block order", 0)
	runs := shuffled(s, r.Blocks)
	if r.NoThreeAlike && !spreadOut(s, runs, func(b int) string { return fmt.Sprint(orders[b][0]) }) {
		return nil, tooAlike()
	}
	for _, b := range runs {
		for place, tr := range orders[b] {
			p.Slots = append(p.Slots, Slot{Order: len(p.Slots) + 1, Block: r.block(b), Piece: r.piece(b, pieces[b][tr]),
				Treatment: r.Treatments[tr], Place: place + 1})
		}
	}
	p.say("Every block gives one piece to each of the %d treatments, so differences between blocks cancel; %g degrees of freedom judge a difference.", t, p.ErrorDF)
	p.sayPlaces(r.Treatments, orders)
	switch r.Kind {
	case Crossover:
		p.say("Every treatment follows every other equally often: what a cook leaves behind, such as a hot pan, adds to all alike. It cannot be told from the treatments' own effect at the first place; bring the pan back to its band before each cook all the same.")
	case DoseSeries:
		p.say("The levels %s are read as one factor: a straight trend and its bend are judged on %g degrees of freedom; the trend rests mostly on the lowest and highest level.", floats(r.Levels), p.ErrorDF)
	}
	p.say("Nothing is confounded with the treatments but what people do differently because they know them: weigh and read by code.")
	return p, nil
}

func tooAlike() error {
	return fault.New("three-alike", "no order of these cooks keeps three alike from following each other").
		WithFix("more blocks or treatments, or drop the rule")
}

// sayPlaces says how treatments meet places in the run order of their block.
func (p *Plan) sayPlaces(treatments []string, orders [][]int) {
	low, high := len(orders), 0
	for tr := range treatments {
		n := 0
		for _, o := range orders {
			if o[0] == tr {
				n++
			}
		}
		low, high = min(low, n), max(high, n)
	}
	if low == high {
		p.say("Each treatment is cooked first in %d of the %d blocks: a drift within a block favours none.", low, len(orders))
		return
	}
	p.say("Treatments are cooked first in %d to %d of the %d blocks; a multiple of %d blocks would share this out evenly.", low, high, len(orders), len(treatments))
}

// unblocked deals treatments over all pieces at random.
func unblocked(r Request) (*Plan, error) {
	t := len(r.Treatments)
	if r.Blocks < 2 {
		return nil, fault.New("blocks-count", "one piece of each treatment shows what happened once").WithFix("2 pieces of each can be analysed, 4 are the least for a verdict")
	}
	p := &Plan{Treatments: r.Treatments, Blocks: 1, PerBlock: t * r.Blocks, ErrorDF: float64(t * (r.Blocks - 1)), Efficiency: 1}
	var deal []string
	for range r.Blocks {
		deal = append(deal, r.Treatments...)
	}
	s := stats.NewStream(r.Seed, "design run order", 0)
	stats.Shuffle(s, deal)
	if r.NoThreeAlike && !spreadOut(s, deal, func(x string) string { return x }) {
		return nil, tooAlike()
	}
	pieces := shuffled(stats.NewStream(r.Seed, "design pieces", 0), len(deal))
	for i, tr := range deal {
		p.Slots = append(p.Slots, Slot{Order: i + 1, Piece: fmt.Sprintf("P%03d", pieces[i]+1), Treatment: tr, Place: i + 1})
	}
	p.say("%d pieces of each of %d treatments without blocks: all differences between pieces stand in the error, on %g degrees of freedom.", r.Blocks, t, p.ErrorDF)
	p.say("Where pieces can be matched (one muscle, one batch), pairs or blocks need fewer of them.")
	return p, nil
}

func rising(levels []float64, t int) error {
	if len(levels) != t {
		return fault.New("dose-levels", "a dose series has one level for each treatment: %d treatments, %d levels", t, len(levels)).WithFix("give %d levels", t)
	}
	if t < 3 {
		return fault.New("dose-levels", "two levels show a step, no trend").WithFix("3 levels or more, or plan pairs")
	}
	for i := 1; i < t; i++ {
		if !(levels[i] > levels[i-1]) {
			return fault.New("dose-levels", "the levels of a dose series must rise").On("levels", floats(levels)).WithFix("list treatments from the lowest level to the highest")
		}
	}
	return nil
}

func floats(x []float64) string {
	out := ""
	for i, v := range x {
		if i > 0 {
			out += ", "
		}
		out += fmt.Sprintf("%g", v)
	}
	return out
}
