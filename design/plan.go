package design

import (
	"fmt"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/stats"
)

// Version of the dealing rules.
const Version = 1

// Kind names a design.
type Kind string

// Kinds of design.
const (
	// Pairs: two treatments, one matched piece of every block for each.
	Pairs Kind = "pairs"
	// CompleteBlocks: every block has a piece for every treatment.
	CompleteBlocks Kind = "blocks"
	// IncompleteBlocks: a block has fewer pieces than there are treatments;
	// every pair of treatments meets in equally many blocks.
	IncompleteBlocks Kind = "incomplete-blocks"
	// LatinSquare: each treatment once in every block and once at every
	// place (a burner, or a place in the run order).
	LatinSquare Kind = "latin-square"
	// Crossover: complete blocks in which every treatment follows every other
	// equally often, so that what one cook leaves behind (a hot pan) is spread
	// over all.
	Crossover Kind = "crossover"
	// Factorial: two levels of several factors, all combinations or a stated
	// fraction of them.
	Factorial Kind = "factorial"
	// SplitPlot: one factor is set for a whole batch (an oven), the other
	// piece by piece inside it.
	SplitPlot Kind = "split-plot"
	// DoseSeries: complete blocks of one factor at ordered levels.
	DoseSeries Kind = "dose-series"
	// Unblocked: pieces without blocks, treatments dealt over all of them.
	Unblocked Kind = "unblocked"
)

// Kinds lists every kind.
func Kinds() []Kind {
	return []Kind{Pairs, CompleteBlocks, IncompleteBlocks, LatinSquare, Crossover, Factorial, SplitPlot, DoseSeries, Unblocked}
}

// Request says what to deal.
type Request struct {
	Kind Kind
	// Treatments in the document's order. A factorial and a split plot make
	// theirs from Factors.
	Treatments []string
	// Blocks is the number of blocks; of squares it is the number of rows in
	// all, of an unblocked plan the number of pieces of each treatment.
	Blocks int
	// Pieces a block gives; 0 means one for each treatment.
	Pieces int
	Seed   string // any text; it is recorded

	// BlockNames and PieceNames label what the kitchen has; by default B01 …,
	// and B01-a …. PieceNames[i] are the pieces of block i.
	BlockNames []string
	PieceNames [][]string
	// Burners and Probes are shared out so that none serves one treatment
	// alone; empty leaves them out.
	Burners []string
	Probes  []string
	// NoThreeAlike keeps three cooks in a row from having one treatment, and
	// three blocks in a row from opening with one.
	NoThreeAlike bool
	// Nearly takes an incomplete design that is not balanced when the number
	// of blocks allows no balanced one.
	Nearly bool

	// Factors of a factorial (two levels each) or of a split plot (the whole
	// batch's first, the piece's second).
	Factors []Factor
	// Generators of a fraction, such as "D=ABC" by the factors' letters.
	// Fraction asks for the fraction 2^−Fraction with generators from a
	// catalogue instead.
	Generators []string
	Fraction   int
	// Levels of a dose series, one for each treatment, rising.
	Levels []float64
}

// Factor is something that is varied, with its levels.
type Factor struct {
	Name   string
	Levels []string
}

// Slot is one planned cook.
type Slot struct {
	Order     int // from 1
	Block     string
	Piece     string
	Treatment string
	Place     int // in its block, from 1
	Burner    string
	Probe     string
	Code      string            // for whoever weighs and reads
	Batch     string            // of a split plot: what shares one setting of the whole batch
	Settings  map[string]string // level of each factor
}

// Plan is a design that has been dealt.
type Plan struct {
	Kind       Kind
	Version    int
	Seed       string
	Treatments []string
	Blocks     int
	PerBlock   int // pieces of a block
	Slots      []Slot
	// ErrorDF is the number of degrees of freedom that judge a treatment
	// difference; of a split plot, the piece's factor.
	ErrorDF float64
	// Efficiency is the information on a treatment difference relative to
	// complete blocks with as many pieces and the same scatter within blocks.
	Efficiency float64
	// Says is what the design is worth and what it confounds, in words.
	Says []string
	// Aliases of a fraction or of blocks smaller than a replicate.
	Aliases []Alias
	// Resolution of a fraction; 0 where nothing is aliased.
	Resolution int
}

func (p *Plan) say(format string, args ...any) { p.Says = append(p.Says, fmt.Sprintf(format, args...)) }

// mostCooks bounds a plan.
const mostCooks = 5000

// Make deals a design. Errors are *fault.Error; an impossible design says
// which count works.
func Make(r Request) (*Plan, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	var p *Plan
	var err error
	switch r.Kind {
	case Pairs, CompleteBlocks, DoseSeries, Crossover:
		p, err = completeBlocks(r)
	case IncompleteBlocks:
		p, err = incompleteBlocks(r)
	case LatinSquare:
		p, err = latinSquares(r)
	case Factorial:
		p, err = factorial(r)
	case SplitPlot:
		p, err = splitPlot(r)
	case Unblocked:
		p, err = unblocked(r)
	}
	if err != nil {
		return nil, err
	}
	p.Kind, p.Version, p.Seed = r.Kind, Version, r.Seed
	shareOut(r.Seed, "burner", p.Slots, r.Burners, func(s *Slot, v string) { s.Burner = v })
	shareOut(r.Seed, "probe", p.Slots, r.Probes, func(s *Slot, v string) { s.Probe = v })
	for i, code := range codes(stats.NewStream(r.Seed, "design codes", 0), len(p.Slots)) {
		p.Slots[i].Code = code
	}
	p.sayShared("burner", r.Burners)
	p.sayShared("probe", r.Probes)
	return p, nil
}

func (r *Request) check() error {
	if !slices.Contains(Kinds(), r.Kind) {
		var names []string
		for _, k := range Kinds() {
			names = append(names, string(k))
		}
		return fault.BadUsage("design-unknown", "there is no design %q", r.Kind).On("design", string(r.Kind)).WithFix("one of: %s", strings.Join(names, ", "))
	}
	if strings.TrimSpace(r.Seed) == "" {
		return fault.New("seed-missing", "a draw needs a seed").WithFix("give any text; it is recorded beside the plan")
	}
	if r.Blocks < 1 {
		return fault.New("blocks-count", "there must be at least one block").On("blocks", fmt.Sprint(r.Blocks)).WithFix("4 blocks are the least for a verdict")
	}
	if r.Kind != Factorial && r.Kind != SplitPlot {
		if len(r.Treatments) < 2 {
			return fault.New("treatments-few", "there must be at least two treatments").WithFix("name what is compared and what it is compared with")
		}
		if name, twice := repeated(r.Treatments); twice {
			return fault.New("treatment-twice", "a treatment is named twice").On("treatments", name).WithFix("give each treatment its own id")
		}
	}
	if n := max(len(r.Treatments), r.Pieces, 1) * r.Blocks; n > mostCooks {
		return fault.New("design-large", "%d cooks are more than trivet deals (%d)", n, mostCooks).WithFix("fewer blocks")
	}
	if len(r.BlockNames) > 0 && len(r.BlockNames) < r.Blocks {
		return fault.New("blocks-short", "%d blocks are asked for and %d are named", r.Blocks, len(r.BlockNames)).WithFix("name more blocks, or plan %d", len(r.BlockNames))
	}
	if name, twice := repeated(r.BlockNames); twice {
		return fault.New("block-twice", "a block is named twice").On("blocks", name).WithFix("give each block its own name")
	}
	return nil
}

func repeated(names []string) (string, bool) {
	seen := map[string]bool{}
	for _, n := range names {
		if seen[n] {
			return n, true
		}
		seen[n] = true
	}
	return "", false
}

// block is the name of block i.
func (r *Request) block(i int) string {
	if i < len(r.BlockNames) {
		return r.BlockNames[i]
	}
	return fmt.Sprintf("B%02d", i+1)
}

// piece is the label of piece k of block i.
func (r *Request) piece(i, k int) string {
	if i < len(r.PieceNames) && k < len(r.PieceNames[i]) {
		return r.PieceNames[i][k]
	}
	if k < 26 {
		return fmt.Sprintf("%s-%c", r.block(i), 'a'+k)
	}
	return fmt.Sprintf("%s-%d", r.block(i), k+1)
}

// enoughPieces refuses blocks that give fewer pieces than are cooked in each.
func (r *Request) enoughPieces(need int) error {
	have := r.Pieces
	if have == 0 {
		have = need
	}
	for i, names := range r.PieceNames {
		if i < r.Blocks && len(names) > 0 && len(names) < have {
			have = len(names)
		}
	}
	if have >= need {
		return nil
	}
	e := fault.New("pieces-few", "a block gives %d pieces and this design cooks %d of each", have, need).On("pieces", fmt.Sprint(have))
	if r.Kind != IncompleteBlocks && have >= 2 && len(r.Treatments) > 2 {
		return e.WithFix("cut %d pieces of a block, or take the design \"%s\"", need, IncompleteBlocks)
	}
	return e.WithFix("cut %d pieces of a block", need)
}
