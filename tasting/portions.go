package tasting

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"trivet/fault"
)

// Supply is what a tasting has to be fed from. Times are minutes.
type Supply struct {
	Method         Method
	Products       int // default 2
	Assessors      int
	Rounds         int // sets for each assessor, default 1
	PortionsAPiece int // carved from one piece
	// PiecesABlock is how many pieces of each product a block gives to one
	// wave; 0 means 1. Two let the like samples of a set come from two pieces.
	PiecesABlock int
	LikeApart    bool
	Spare        float64 // share of portions lost to end cuts and spills, e.g. 0.10
	// HoldMinutes is the longest a portion may wait between the knife and the
	// mouth, for the sake of what is tasted. A food-safety limit of the local
	// code stands beside it and the shorter one rules; 0: not limited.
	HoldMinutes  float64
	CarveMinutes float64 // to carve and plate a wave
	ServeMinutes float64 // from one group of assessors to the next
	AtOnce       int     // assessors served together, default 1
	// Before lists measurements that need the whole piece: they must be
	// finished before the knife.
	Before []string
	// Probed says that the pieces carried a probe and no unprobed twin was
	// cooked beside.
	Probed bool
}

// Budget is what has to be cooked and by when it has to be served.
type Budget struct {
	Sets            int      `json:"sets"`
	CupsAProduct    int      `json:"cups_a_product"` // most of any product
	SetsAWave       int      `json:"sets_a_wave"`
	Waves           int      `json:"waves"` // one block of pieces each
	PiecesAProduct  int      `json:"pieces_a_product"`
	PortionsAWave   int      `json:"portions_a_wave"`  // of each product, spare included
	ServeByMinutes  *float64 `json:"serve_by_minutes"` // after the first cut of a wave; null: not limited
	LikeSamplesFrom string   `json:"like_samples_from"`
	BeforeTheKnife  []string `json:"before_the_knife"`

	Notes []fault.Note `json:"notes,omitempty"`
}

// Budget works out pieces, portions and waves. Errors are content errors:
// "portions-short" when a piece cannot fill one set, "hold-short" when not
// one group can be served within the limit.
func (s Supply) Budget() (*Budget, error) {
	products, rounds, apiece, atOnce := max(2, s.Products), max(1, s.Rounds), max(1, s.PiecesABlock), max(1, s.AtOnce)
	if s.Assessors < 1 || s.PortionsAPiece < 1 {
		return nil, fault.New("supply-range", "assessors and portions a piece must be at least one").On("portions", fmt.Sprint(s.PortionsAPiece)).WithFix("count what one piece gives")
	}
	if s.Spare < 0 || s.Spare >= 1 {
		return nil, fault.New("supply-range", "the spare share must lie from 0 to below 1").On("spare", number(s.Spare)).WithFix("write 10 %% as 0.10")
	}
	block, err := s.Method.Block(products)
	if err != nil {
		return nil, err
	}
	perBlock, mostInSet := cupsIn(block, products)
	b := &Budget{Sets: s.Assessors * rounds, BeforeTheKnife: append([]string{}, s.Before...)}
	usable := int(math.Floor(float64(s.PortionsAPiece*apiece) * (1 - s.Spare)))
	if !s.LikeApart {
		usable -= (apiece - 1) * (mostInSet - 1) // a piece's last portions may be too few for like samples
	}
	if mostInSet > usable || (!s.LikeApart && mostInSet > s.PortionsAPiece) {
		return nil, fault.New("portions-short", "a set needs up to %d portions of one product and %d pieces give %d", mostInSet, apiece, usable).WithFix("carve smaller portions or take more pieces of a block together")
	}
	// A wave of whole blocks uses the same number of every product; any other
	// number of sets must be ready for the worst order.
	aligned := s.Assessors%len(block) == 0
	need := func(k int) int {
		if aligned && k%len(block) == 0 {
			return k / len(block) * perBlock
		}
		return k * mostInSet
	}
	most := b.Sets
	if s.HoldMinutes > 0 {
		left := s.HoldMinutes - s.CarveMinutes
		if left < 0 {
			return nil, fault.New("hold-short", "carving takes %g minutes and the portions may wait %g", s.CarveMinutes, s.HoldMinutes).WithFix("carve faster, carve less at a time, or hold longer if the question allows")
		}
		if groups := math.Floor(left/s.ServeMinutes) + 1; groups < float64(most) {
			most = min(most, int(groups)*atOnce)
		}
		by := s.HoldMinutes
		b.ServeByMinutes = &by
	}
	// The largest wave that both time and pieces allow; a wave of whole blocks
	// can be larger than one that is not.
	k := 0
	for n := 1; n <= most && n <= usable*len(block); n++ {
		if need(n) <= usable {
			k = n
		}
	}
	b.SetsAWave = k
	b.Waves = (b.Sets + k - 1) / k
	b.PiecesAProduct = b.Waves * apiece
	b.PortionsAWave = int(math.Ceil(float64(need(k))/(1-s.Spare) - 1e-9))
	b.CupsAProduct = b.Sets * mostInSet
	if aligned {
		b.CupsAProduct = b.Sets / len(block) * perBlock
	}
	b.LikeSamplesFrom = "one piece"
	if s.LikeApart {
		b.LikeSamplesFrom = "two pieces of the block"
	}
	s.remark(b, apiece, mostInSet)
	return b, nil
}

// cupsIn counts the cups of the most used product in a block and in a set.
func cupsIn(block []Serving, products int) (perBlock, mostInSet int) {
	total := make([]int, products)
	for _, sv := range block {
		in := make([]int, products)
		for _, p := range sv.Cups {
			in[p]++
		}
		if sv.Reference >= 0 {
			in[sv.Reference]++
		}
		for p, n := range in {
			total[p] += n
			mostInSet = max(mostInSet, n)
		}
	}
	return slices.Max(total), mostInSet
}

func (s Supply) remark(b *Budget, apiece, mostInSet int) {
	note := func(code fault.Code, format string, args ...any) {
		b.Notes = append(b.Notes, fault.Notef(code, format, args...))
	}
	if b.Waves == 1 && apiece == 1 {
		note("one-pair-of-pieces", "one pair of pieces feeds everyone: the tasting then speaks for these two pieces, not for the ways of cooking. Cook several blocks and carve fewer portions from each")
	}
	if mostInSet > 1 {
		if s.LikeApart {
			note("like-apart", "like samples from two pieces: a piece that happens to differ from its twin can pass for a difference between the products, or hide one; the answer is about the products with all their scatter")
		} else {
			note("like-together", "like samples from one piece: the odd sample then differs by piece as well as by treatment, so what is told apart may be the piece. Several blocks average this out over the panel, not inside a set")
		}
	}
	if len(s.Before) > 0 {
		note("before-the-knife", "finish before cutting: %s. A cut piece can no longer be measured whole", strings.Join(s.Before, ", "))
	}
	if s.Probed {
		note("probed", "the pieces carried a probe: it can carry surface bacteria to the core and leaves a hole that is seen. Cook an unprobed twin beside each for the tasters where possible")
	}
	if s.HoldMinutes > 0 {
		note("holding", "serve each wave within %g minutes of its first cut and discard what is left; keep the delay alike for all products. Your local food code may allow less", s.HoldMinutes)
	}
}

// PieceForTasting is a cooked piece as the carver finds it.
type PieceForTasting struct {
	Label   string
	Block   string
	Product string
	Probed  bool
}

// WavesOf groups cooked pieces into waves, a block each, in the order of the
// pieces. Where a block has unprobed pieces of a product, its probed ones are
// left out; a block without a piece of every product is left out whole. The
// notes say so.
func WavesOf(products []Product, pieces []PieceForTasting, portions int) ([]Wave, []fault.Note) {
	var blocks []string
	for _, p := range pieces {
		if !slices.Contains(blocks, p.Block) {
			blocks = append(blocks, p.Block)
		}
	}
	var waves []Wave
	var notes []fault.Note
	for _, b := range blocks {
		w := Wave{Block: b, Portions: portions}
		whole := true
		for _, pr := range products {
			var clean, probed []string
			for _, p := range pieces {
				if p.Block == b && p.Product == pr.ID {
					if p.Probed {
						probed = append(probed, p.Label)
					} else {
						clean = append(clean, p.Label)
					}
				}
			}
			if len(clean) == 0 && len(probed) > 0 {
				notes = append(notes, fault.Notef("probed", "block %s has no unprobed piece of %s: probed pieces %s would be served", b, pr.ID, strings.Join(probed, ", ")))
				clean = probed
			}
			whole = whole && len(clean) > 0
			w.Pieces = append(w.Pieces, clean)
		}
		if !whole {
			notes = append(notes, fault.Notef("block-incomplete", "block %s has no piece of every product and is not served", b))
			continue
		}
		waves = append(waves, w)
	}
	return waves, notes
}
