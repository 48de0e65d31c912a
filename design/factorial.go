package design

import (
	"cmp"
	"fmt"
	"math/bits"
	"slices"
	"strings"

	"trivet/fault"
	"trivet/stats"
)

// Alias is a set of effects that a design cannot tell apart.
type Alias struct {
	Effects []string // by letters: "A", "BC"; the first is of the lowest order
	// Block marks effects that differ between blocks and cannot be judged.
	Block bool
}

// fractions are generators of the fractions with the highest resolution and,
// among those, the fewest words of that length.
//
// References: A. Fries & W. G. Hunter, Technometrics 22:601 (1980); G. E. P.
// Box, J. S. Hunter & W. G. Hunter, Statistics for Experimenters, 2nd ed.
// 2005, table 6.22. Resolution is counted, not taken from there.
var fractions = map[[2]int][]string{
	{3, 1}: {"C=AB"},
	{4, 1}: {"D=ABC"},
	{5, 1}: {"E=ABCD"}, {5, 2}: {"D=AB", "E=AC"},
	{6, 1}: {"F=ABCDE"}, {6, 2}: {"E=ABC", "F=BCD"}, {6, 3}: {"D=AB", "E=AC", "F=BC"},
	{7, 1}: {"G=ABCDEF"}, {7, 2}: {"F=ABCD", "G=ABDE"}, {7, 3}: {"E=ABC", "F=BCD", "G=ACD"}, {7, 4}: {"D=AB", "E=AC", "F=BC", "G=ABC"},
}

// effect is a set of factors as a bit mask: bit 0 is A.
type effect uint

func (e effect) order() int { return bits.OnesCount(uint(e)) }

func (e effect) String() string {
	var b strings.Builder
	for i := 0; e>>i != 0; i++ {
		if e>>i&1 == 1 {
			b.WriteByte(byte('A' + i))
		}
	}
	return b.String()
}

func parseEffect(s string, k int) (effect, error) {
	var e effect
	for _, c := range strings.ToUpper(strings.TrimSpace(s)) {
		i := int(c - 'A')
		if i < 0 || i >= k || e>>i&1 == 1 {
			return 0, fault.New("generator", "no product of different factors A to %c", 'A'+k-1).On("generators", s).WithFix("write it like D=ABC")
		}
		e |= 1 << i
	}
	return e, nil
}

// definingWords are the products that are constant in a fraction: all
// products of its generators' words.
func definingWords(generators []string, k int) ([]effect, error) {
	var words []effect
	seen := map[effect]bool{}
	for _, g := range generators {
		left, right, ok := strings.Cut(g, "=")
		if !ok {
			return nil, fault.New("generator", "a generator names a factor and the product it follows").On("generators", g).WithFix("write it like D=ABC")
		}
		a, err := parseEffect(left, k)
		if err != nil {
			return nil, err
		}
		b, err := parseEffect(strings.TrimLeft(strings.TrimSpace(right), "+"), k)
		if err != nil {
			return nil, err
		}
		if a.order() != 1 || b.order() < 2 || a&b != 0 || seen[a] {
			return nil, fault.New("generator", "a generator gives one factor the product of two or more others").On("generators", g).WithFix("write it like D=ABC")
		}
		seen[a] = true
		w := a | b
		for _, old := range slices.Clone(words) {
			words = append(words, old^w)
		}
		words = append(words, w)
	}
	for i, w := range words {
		if w == 0 || slices.Contains(words[:i], w) {
			return nil, fault.New("generator", "the generators are not independent").WithFix("drop one of them")
		}
	}
	return words, nil
}

// aliases groups every effect with those that words make equal to it, main
// effects and two-factor interactions first.
func aliases(k int, words []effect) []Alias {
	done := map[effect]bool{0: true}
	for _, w := range words {
		done[w] = true
	}
	all := make([]effect, 0, 1<<k)
	for e := effect(1); e < 1<<k; e++ {
		all = append(all, e)
	}
	byOrder := func(a, b effect) int {
		return cmp.Or(cmp.Compare(a.order(), b.order()), cmp.Compare(a.String(), b.String()))
	}
	slices.SortFunc(all, byOrder)
	var out []Alias
	for _, e := range all {
		if done[e] {
			continue
		}
		group := []effect{e}
		for _, w := range words {
			group = append(group, e^w)
		}
		slices.SortFunc(group, byOrder)
		a := Alias{}
		for _, g := range group {
			done[g] = true
			a.Effects = append(a.Effects, g.String())
		}
		out = append(out, a)
	}
	return out
}

// factorial deals a two-level factorial or a fraction of it. A block holds
// all runs, or half of them with the highest interaction confounded with
// blocks.
func factorial(r Request) (*Plan, error) {
	k := len(r.Factors)
	if k < 2 || k > 7 {
		return nil, fault.New("factors-count", "a two-level factorial takes 2 to 7 factors, and there are %d", k).WithFix("name each with its two levels")
	}
	for _, f := range r.Factors {
		if len(f.Levels) != 2 || f.Levels[0] == f.Levels[1] {
			return nil, fault.New("factor-levels", "the factor %s needs two different levels", f.Name).On("levels", strings.Join(f.Levels, ", ")).WithFix("give a low and a high one")
		}
	}
	generators := r.Generators
	if r.Fraction > 0 {
		var ok bool
		if generators, ok = fractions[[2]int{k, r.Fraction}]; !ok {
			return nil, fault.New("fraction-unknown", "there is no fraction 2^(%d−%d) here", k, r.Fraction).On("fraction", fmt.Sprint(r.Fraction)).WithFix("%s", fractionsOf(k))
		}
	}
	words, err := definingWords(generators, k)
	if err != nil {
		return nil, err
	}
	cells := runsOf(k, words, generators)
	p := &Plan{Blocks: r.Blocks, Efficiency: 1}
	for _, c := range cells {
		p.Treatments = append(p.Treatments, r.combination(c))
	}
	p.Resolution = resolution(words)
	perBlock := r.Pieces
	if perBlock == 0 {
		perBlock = len(cells)
	}
	halves := [][]effect{cells}
	var blockWord effect
	switch {
	case perBlock >= len(cells):
	case perBlock >= len(cells)/2 && len(words) == 0:
		blockWord = effect(1<<k) - 1
		halves = [][]effect{nil, nil}
		for _, c := range cells {
			halves[(c&blockWord).order()%2] = append(halves[(c&blockWord).order()%2], c)
		}
		if r.Blocks%2 != 0 {
			return nil, fault.New("factorial-blocks", "blocks of %d hold half of the %d combinations, so they come in twos, and %d is odd", len(cells)/2, len(cells), r.Blocks).
				On("blocks", fmt.Sprint(r.Blocks)).WithFix("%d blocks work next", r.Blocks+1)
		}
	default:
		e := fault.New("pieces-few", "a block gives %d pieces, and this factorial has %d combinations", perBlock, len(cells)).On("pieces", fmt.Sprint(perBlock))
		if len(words) == 0 {
			return nil, e.WithFix("%d pieces of a block work next (half of the combinations), or take a fraction", len(cells)/2)
		}
		return nil, e.WithFix("%d pieces of a block work, or a smaller fraction", len(cells))
	}
	p.PerBlock = len(halves[0])
	main := len(aliases(k, words))
	p.ErrorDF = float64(r.Blocks*p.PerBlock - r.Blocks - main)
	if blockWord != 0 {
		p.ErrorDF++ // the confounded interaction is not fitted
	}
	whichHalf := identity(r.Blocks)
	stats.Shuffle(stats.NewStream(r.Seed, "design sets", 0), whichHalf)
	s := stats.NewStream(r.Seed, "design run order", 0)
	pieces := stats.NewStream(r.Seed, "design pieces", 0)
	runs := shuffled(stats.NewStream(r.Seed, "design block order", 0), r.Blocks)
	for _, b := range runs {
		part := slices.Clone(halves[whichHalf[b]%len(halves)])
		stats.Shuffle(s, part)
		if r.NoThreeAlike { // of the first factor's levels
			if !spreadOut(s, part, func(e effect) string { return fmt.Sprint(e & 1) }) {
				return nil, tooAlike()
			}
		}
		order := shuffled(pieces, len(part))
		for i, c := range part {
			slot := Slot{Order: len(p.Slots) + 1, Block: r.block(b), Piece: r.piece(b, order[i]), Treatment: r.combination(c), Place: i + 1, Settings: map[string]string{}}
			for j, f := range r.Factors {
				slot.Settings[f.Name] = f.Levels[c>>j&1]
			}
			p.Slots = append(p.Slots, slot)
		}
	}
	p.sayFactorial(r, words, blockWord)
	return p, nil
}

func fractionsOf(k int) string {
	var out []string
	for p := 1; p < k; p++ {
		if _, ok := fractions[[2]int{k, p}]; ok {
			out = append(out, fmt.Sprintf("2^(%d−%d), %d runs", k, p, 1<<(k-p)))
		}
	}
	if len(out) == 0 {
		return "plan all combinations"
	}
	return strings.Join(out, "; ")
}

// runsOf lists the combinations of a fraction: bit j is the level of factor
// j. The base factors run through all combinations, a generated one has the
// product of its factors' signs.
func runsOf(k int, words []effect, generators []string) []effect {
	var out []effect
	for c := effect(0); c < 1<<k; c++ {
		keep := true
		for _, g := range generators {
			left, right, _ := strings.Cut(g, "=")
			a, _ := parseEffect(left, k)
			b, _ := parseEffect(strings.TrimLeft(strings.TrimSpace(right), "+"), k)
			// sign of a product is + when an even number of its factors is low
			low := b.order() - (c & b).order()
			high := low%2 == 0
			if (c&a != 0) != high {
				keep = false
			}
		}
		if keep {
			out = append(out, c)
		}
	}
	return out
}

func resolution(words []effect) int {
	least := 0
	for _, w := range words {
		if n := w.order(); least == 0 || n < least {
			least = n
		}
	}
	return least
}

// combination names one run: its levels, in the factors' order.
func (r *Request) combination(c effect) string {
	var parts []string
	for j, f := range r.Factors {
		parts = append(parts, f.Levels[c>>j&1])
	}
	return strings.Join(parts, " + ")
}

// inWords spells an effect with the factors' names.
func (r *Request) inWords(e string) string {
	var parts []string
	for _, c := range e {
		parts = append(parts, r.Factors[int(c-'A')].Name)
	}
	return strings.Join(parts, " × ")
}

func (p *Plan) sayFactorial(r Request, words []effect, blockWord effect) {
	k := len(r.Factors)
	p.say("%d combinations of %d factors; every run counts in the effect of every factor, whose two levels are on %d cooks each.", len(p.Treatments), k, len(p.Slots)/2)
	if p.ErrorDF < 1 {
		p.say("Nothing is left to judge the effects by: with one run of each combination they can be screened, not settled.")
	} else {
		p.say("%g degrees of freedom judge an effect when all that can be told apart are fitted.", p.ErrorDF)
	}
	if len(words) > 0 {
		p.Aliases = aliases(k, words)
		p.say("This is a fraction of resolution %s: what stands on one line below cannot be told apart.", roman(p.Resolution))
		for _, a := range p.Aliases {
			var names []string
			for _, e := range a.Effects {
				if len(e) <= 3 {
					names = append(names, r.inWords(e))
				}
			}
			if len(names) > 1 && len(a.Effects[0]) <= 2 {
				p.say("Not told apart: %s.", strings.Join(names, " = "))
			}
		}
		switch {
		case p.Resolution == 3:
			p.say("Main effects are aliased with two-factor interactions: an effect found here may be an interaction. No claim about an interaction can be made.")
		case p.Resolution == 4:
			p.say("Main effects are clear of two-factor interactions, which are aliased with each other: no claim about an interaction can be made.")
		default:
			p.say("Main effects and two-factor interactions are clear of each other.")
		}
	}
	if blockWord != 0 {
		p.Aliases = append(p.Aliases, Alias{Effects: []string{blockWord.String()}, Block: true})
		p.say("The interaction %s is confounded with blocks and cannot be judged; all else is judged within blocks.", r.inWords(blockWord.String()))
	}
}

func roman(n int) string {
	names := []string{"0", "I", "II", "III", "IV", "V", "VI", "VII"}
	if n < len(names) {
		return names[n]
	}
	return fmt.Sprint(n)
}
