package bench

import (
	"fmt"
	"slices"

	"trivet/design"
	"trivet/fault"
	"trivet/study"
)

// DealOptions steer [Deal].
type DealOptions struct {
	Kind         design.Kind // "" takes the document's, else the one its numbers call for
	Seed         string
	Burners      []string
	Probes       []string
	NoThreeAlike bool
	Nearly       bool
}

// Deal deals a study's treatments to its pieces.
func Deal(s *study.Study, o DealOptions) (*design.Plan, error) {
	r := design.Request{Kind: o.Kind, Blocks: s.Blocks.Count, Pieces: s.Blocks.Pieces, Seed: o.Seed, Burners: o.Burners, Probes: o.Probes,
		NoThreeAlike: o.NoThreeAlike, Nearly: o.Nearly}
	for _, t := range s.Treatments {
		r.Treatments = append(r.Treatments, t.ID)
	}
	if r.Blocks == 0 {
		return nil, fault.New("blocks-missing", "the study does not say how many blocks are planned").
			On("blocks.count", "").WithFix("write it; the sizes above say how many")
	}
	if r.Kind == "" {
		r.Kind = design.Kind(s.Design.Kind)
	}
	if r.Kind == "" {
		switch {
		case r.Pieces > 0 && r.Pieces < len(r.Treatments):
			r.Kind = design.IncompleteBlocks
		case len(r.Treatments) == 2:
			r.Kind = design.Pairs
		default:
			r.Kind = design.CompleteBlocks
		}
	}
	switch r.Kind {
	case design.Factorial, design.SplitPlot, design.DoseSeries:
		return nil, fault.New("design-factors", "the study document names treatments, not factors with levels, which a %s needs", r.Kind).
			On("design", string(r.Kind)).WithFix("list each combination as a treatment and take blocks")
	}
	at := map[string]int{}
	for _, p := range s.Pieces {
		if p.Spare || p.Twin != "" || p.Block == "" {
			continue
		}
		i, ok := at[p.Block]
		if !ok {
			i = len(r.BlockNames)
			at[p.Block] = i
			r.BlockNames = append(r.BlockNames, p.Block)
			r.PieceNames = append(r.PieceNames, nil)
		}
		r.PieceNames[i] = append(r.PieceNames[i], p.Label)
	}
	if len(r.BlockNames) == 0 {
		for i := range r.Blocks {
			r.BlockNames = append(r.BlockNames, fmt.Sprintf("B%02d", i+1))
		}
	}
	return design.Make(r)
}

// Dealt reads the plan that a study document holds; false when it holds none.
func Dealt(s *study.Study, probes []string) (*design.Plan, bool) {
	if len(s.Design.RunOrder) == 0 {
		return nil, false
	}
	p := &design.Plan{Kind: design.Kind(s.Design.Kind), Seed: s.Design.Seed} // by whatever rules: Version stays 0
	blocks, perBlock, place := map[string]int{}, 0, map[string]int{}
	runs := slices.Clone(s.Design.RunOrder)
	slices.SortStableFunc(runs, func(a, b study.RunSlot) int { return a.Order - b.Order })
	for _, r := range runs {
		blocks[r.Block]++
		place[r.Block]++
		perBlock = max(perBlock, blocks[r.Block])
		p.Slots = append(p.Slots, design.Slot{Order: r.Order, Block: r.Block, Piece: r.Piece, Treatment: r.Treatment, Burner: r.Burner, Code: r.Code, Place: place[r.Block]})
	}
	for _, t := range s.Treatments {
		p.Treatments = append(p.Treatments, t.ID)
	}
	p.Blocks, p.PerBlock = len(blocks), perBlock
	p.ShareProbes(probes)
	return p, true
}

// DesignOf is a dealt plan as a study keeps it; [Dealt] reads it back.
func DesignOf(p *design.Plan) study.Design {
	out := study.Design{Kind: string(p.Kind), Seed: p.Seed}
	for _, x := range p.Slots {
		out.RunOrder = append(out.RunOrder, study.RunSlot{Order: x.Order, Block: x.Block, Piece: x.Piece, Treatment: x.Treatment, Burner: x.Burner, Code: x.Code})
	}
	return out
}

// WriteDeal puts a dealt plan into a study document: its kind, seed and run
// order, and the pieces where the document has none. Every other byte stays.
func WriteDeal(name string, document []byte, s *study.Study, p *design.Plan) ([]byte, error) {
	d, err := study.ReadDocument(name, document)
	if err != nil {
		return nil, err
	}
	if len(s.Pieces) == 0 {
		seen := map[string]bool{}
		var pieces []any
		var labels []design.Slot
		for _, slot := range p.Slots {
			if slot.Block != "" && !seen[slot.Piece] {
				seen[slot.Piece] = true
				labels = append(labels, slot)
			}
		}
		slices.SortFunc(labels, func(a, b design.Slot) int {
			if a.Piece < b.Piece {
				return -1
			}
			return 1
		})
		for _, slot := range labels {
			pieces = append(pieces, study.Fields{{Key: "label", Value: slot.Piece}, {Key: "block", Value: slot.Block}})
		}
		if len(pieces) > 0 {
			if err := d.Set("pieces", pieces); err != nil {
				return nil, err
			}
		}
	}
	for _, f := range DesignOf(p).Fields() {
		if err := d.Set("design."+f.Key, f.Value); err != nil {
			return nil, err
		}
	}
	return d.Bytes(), nil
}
