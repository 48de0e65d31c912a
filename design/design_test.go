package design

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"trivet/fault"
	"trivet/stats"
)

func mustMake(t testing.TB, r Request) *Plan {
	t.Helper()
	p, err := Make(r)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func lines(p *Plan) string {
	var b strings.Builder
	for _, s := range p.Slots {
		fmt.Fprintf(&b, "%d %s %s %s %s %s %s\n", s.Order, s.Block, s.Piece, s.Treatment, s.Burner, s.Probe, s.Code)
	}
	return b.String()
}

// Golden vectors: the same seed deals the same on every machine and version.
// A change here is a change of Version. The draws rest on ChaCha8 (C2SP
// chacha8rand) and SHA-256.
func TestTheSameSeedDealsTheSame(t *testing.T) {
	for _, tc := range []struct {
		name string
		r    Request
		want string
	}{
		{"pairs", Request{Kind: Pairs, Treatments: []string{"last", "first"}, Blocks: 4, Seed: "20260301", Burners: []string{"left", "right"}, Probes: []string{"P1", "P2"}}, goldenPairs},
		{"incomplete", Request{Kind: IncompleteBlocks, Treatments: []string{"a", "b", "c", "d"}, Pieces: 2, Blocks: 6, Seed: "x"}, goldenIncomplete},
	} {
		if got := lines(mustMake(t, tc.r)); got != tc.want {
			t.Errorf("%s:\n%s", tc.name, got)
		}
	}
}

// Every complete design: each treatment once in every block, each piece once,
// order from 1, codes all different, places shared out to within one.
func TestCompleteDesignsAreCompleteAndBalanced(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 6).Draw(t, "treatments")
		r := Request{Kind: CompleteBlocks, Blocks: rapid.IntRange(2, 30).Draw(t, "blocks"), Seed: rapid.String().Draw(t, "seed") + "s",
			Burners: []string{"l", "r"}, Probes: []string{"1", "2", "3"}, NoThreeAlike: rapid.Bool().Draw(t, "no three")}
		for i := range n {
			r.Treatments = append(r.Treatments, fmt.Sprint("t", i))
		}
		p, err := Make(r)
		if err != nil {
			t.Fatal(err)
		}
		cell, piece, code, first := map[[2]string]int{}, map[string]int{}, map[string]int{}, map[string]int{}
		place := map[[2]string]int{}
		for i, s := range p.Slots {
			if s.Order != i+1 {
				t.Fatalf("order %d at %d", s.Order, i)
			}
			cell[[2]string{s.Block, s.Treatment}]++
			piece[s.Piece]++
			code[s.Code]++
			place[[2]string{s.Treatment, fmt.Sprint(s.Place)}]++
			if s.Place == 1 {
				first[s.Treatment]++
			}
		}
		if len(cell) != n*r.Blocks || len(piece) != n*r.Blocks || len(code) != n*r.Blocks {
			t.Fatalf("%d cells, %d pieces, %d codes for %d × %d", len(cell), len(piece), len(code), n, r.Blocks)
		}
		low, high := r.Blocks, 0
		for _, tr := range r.Treatments {
			for k := 1; k <= n; k++ {
				c := place[[2]string{tr, fmt.Sprint(k)}]
				low, high = min(low, c), max(high, c)
			}
		}
		if high-low > 1 {
			t.Fatalf("a treatment stands at a place %d times, another %d times", high, low)
		}
		shared(t, p, func(s Slot) string { return s.Burner })
		shared(t, p, func(s Slot) string { return s.Probe })
	})
}

// shared checks that each thing serves every treatment equally often, to
// within one.
func shared(t *rapid.T, p *Plan, thing func(Slot) string) {
	count, things := map[[2]string]int{}, map[string]bool{}
	for _, s := range p.Slots {
		count[[2]string{s.Treatment, thing(s)}]++
		things[thing(s)] = true
	}
	for _, tr := range p.Treatments {
		low, high := len(p.Slots), 0
		for v := range things {
			c := count[[2]string{tr, v}]
			low, high = min(low, c), max(high, c)
		}
		if high-low > 1 {
			t.Fatalf("treatment %s is served %d times by one and %d times by another", tr, high, low)
		}
	}
}

func TestNoThreeAlikeInARow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 40).Draw(t, "n")
		p, err := Make(Request{Kind: Unblocked, Treatments: []string{"a", "b"}, Blocks: n, Seed: fmt.Sprint(rapid.Int().Draw(t, "seed")), NoThreeAlike: true})
		if err != nil {
			t.Fatal(err)
		}
		count := 0
		for i, s := range p.Slots {
			if s.Treatment == "a" {
				count++
			}
			if i >= 2 && s.Treatment == p.Slots[i-1].Treatment && s.Treatment == p.Slots[i-2].Treatment {
				t.Fatalf("three alike at %d", i)
			}
		}
		if count != n {
			t.Fatalf("%d of a, want %d", count, n)
		}
	})
	s := stats.NewStream("s", "t", 0)
	if _, ok := noThreeAlike(s, []string{"a", "a", "a"}); ok {
		t.Error("three alike were ordered without three alike")
	}
	if got, ok := noThreeAlike(s, []string{"a", "a", "a", "b"}); !ok || got[2] != "b" && got[1] != "b" {
		t.Errorf("aaab: %v %v", got, ok)
	}
}

// Williams squares: each once at every place; each follows each other equally
// often, 1 (even) or 2 (odd) times. Williams 1949.
func TestWilliamsSquaresBalanceCarryOver(t *testing.T) {
	for n := 2; n <= 9; n++ {
		rows := Williams(n)
		follows, place := map[[2]int]int{}, map[[2]int]int{}
		for _, r := range rows {
			for i, v := range r {
				place[[2]int{i, v}]++
				if i > 0 {
					follows[[2]int{r[i-1], v}]++
				}
			}
		}
		each := len(rows) / n
		if len(place) != n*n || len(follows) != n*(n-1) {
			t.Errorf("%d treatments: %d places, %d successions", n, len(place), len(follows))
		}
		for k, c := range place {
			if c != each {
				t.Errorf("%d treatments: %v %d times", n, k, c)
			}
		}
		for k, c := range follows {
			if c != each {
				t.Errorf("%d treatments: succession %v %d times", n, k, c)
			}
		}
	}
}

func TestLatinSquaresHoldEachTreatmentOncePerRowAndColumn(t *testing.T) {
	for n := 2; n <= 8; n++ {
		sq := latin(stats.NewStream("s", "square", uint64(n)), n)
		for i := range n {
			row, col := map[int]bool{}, map[int]bool{}
			for j := range n {
				row[sq[i][j]] = true
				col[sq[j][i]] = true
			}
			if len(row) != n || len(col) != n {
				t.Errorf("%d treatments: row or column %d repeats", n, i)
			}
		}
	}
}

// Parameters (t, k, b, r, λ) of balanced designs as published in Fisher &
// Yates, Statistical Tables, 6th ed. 1963, tables XVII and XVIII, and Cochran
// & Cox, Experimental Designs, 2nd ed. 1957, section 11.5 (parameters typed
// from memory of the tables; the five conditions are counted).
func TestCatalogueIsBalancedByCounting(t *testing.T) {
	for _, want := range [][5]int{
		{3, 2, 3, 2, 1}, {4, 2, 6, 3, 1}, {4, 3, 4, 3, 2}, {5, 2, 10, 4, 1}, {5, 3, 10, 6, 3}, {5, 4, 5, 4, 3},
		{6, 2, 15, 5, 1}, {6, 3, 10, 5, 2}, {6, 5, 6, 5, 4}, {7, 3, 7, 3, 1}, {7, 4, 7, 4, 2}, {8, 4, 14, 7, 3},
		{9, 3, 12, 4, 1}, {10, 4, 15, 6, 2}, {11, 5, 11, 5, 2}, {13, 3, 26, 6, 1}, {13, 4, 13, 4, 1},
	} {
		tr, k := want[0], want[1]
		d, err := BalancedIncidence(tr, k)
		if err != nil {
			t.Errorf("%d in %d: %v", tr, k, err)
			continue
		}
		c, err := Balance(tr, d)
		if err != nil || !c.Balanced() {
			t.Errorf("%d in %d: %+v %v", tr, k, c, err)
		}
		if got := [5]int{tr, c.BlockSize, c.Blocks, c.Replicates[0], c.Concurrence[0]}; got != want {
			t.Errorf("%v, want %v", got, want)
		}
	}
	if len(catalogue) != 9 {
		t.Errorf("%d listed designs, 9 checked", len(catalogue))
	}
}

func TestBalanceFindsWhatIsNotBalanced(t *testing.T) {
	c, err := Balance(4, Incidence{{0, 1}, {0, 2}, {0, 3}})
	if err != nil || c.Balanced() || c.Replicates != [2]int{1, 3} || c.Concurrence != [2]int{0, 1} {
		t.Errorf("%+v %v", c, err)
	}
	for _, bad := range []Incidence{{{0, 0}}, {{0, 1}, {2}}, {{0, 9}}, {}} {
		if _, err := Balance(4, bad); err == nil {
			t.Errorf("%v passes", bad)
		}
	}
}

// Efficiency λt/(rk): Yates 1936. For t = 4, k = 3, b = 4: 8/9.
func TestIncompleteBlocksStateTheirEfficiency(t *testing.T) {
	p := mustMake(t, Request{Kind: IncompleteBlocks, Treatments: []string{"a", "b", "c", "d"}, Pieces: 3, Blocks: 4, Seed: "s"})
	if p.Efficiency != 8.0/9 || p.ErrorDF != 5 {
		t.Errorf("efficiency %v on %v degrees of freedom", p.Efficiency, p.ErrorDF)
	}
	near := mustMake(t, Request{Kind: IncompleteBlocks, Treatments: []string{"a", "b", "c", "d"}, Pieces: 3, Blocks: 7, Seed: "s", Nearly: true})
	if !strings.Contains(near.Says[0], "nearly balanced") {
		t.Errorf("says %q", near.Says[0])
	}
}

// Defining words, resolutions and alias strings of the fractions in Box,
// Hunter & Hunter, Statistics for Experimenters, 2nd ed. 2005, chapter 6.
func TestFractionsStateTheirAliases(t *testing.T) {
	for _, tc := range []struct {
		k, p, resolution int
		alias            string // of A, by letters
	}{
		{3, 1, 3, "A BC"}, {4, 1, 4, "A BCD"}, {5, 1, 5, "A BCDE"}, {5, 2, 3, "A BD CE ABCDE"},
		{6, 2, 4, "A BCE DEF ABCDF"}, {7, 4, 3, "A BD CE FG BCG BEF CDF DEG ABCF ABEG ACDG ADEF ABCDE ABDFG ACEFG BCDEFG"},
	} {
		words, err := definingWords(fractions[[2]int{tc.k, tc.p}], tc.k)
		if err != nil {
			t.Fatal(err)
		}
		if len(words) != 1<<tc.p-1 || resolution(words) != tc.resolution {
			t.Errorf("2^(%d−%d): %d words, resolution %d", tc.k, tc.p, len(words), resolution(words))
		}
		if got := strings.Join(aliases(tc.k, words)[0].Effects, " "); got != tc.alias {
			t.Errorf("2^(%d−%d): A = %s, want %s", tc.k, tc.p, got, tc.alias)
		}
		// Counted, not derived: columns that are aliased are equal, others orthogonal.
		runs := runsOf(tc.k, words, fractions[[2]int{tc.k, tc.p}])
		if len(runs) != 1<<(tc.k-tc.p) {
			t.Errorf("2^(%d−%d) has %d runs", tc.k, tc.p, len(runs))
		}
		sign := func(e, run effect) int {
			if (e.order()-(run&e).order())%2 == 0 {
				return 1
			}
			return -1
		}
		for e := effect(1); e < 1<<tc.k; e++ {
			for f := effect(1); f < e; f++ {
				dot := 0
				for _, c := range runs {
					dot += sign(e, c) * sign(f, c)
				}
				aliased := e^f != 0 && slices.Contains(words, e^f)
				if aliased != (dot == len(runs)) || !aliased && dot != 0 {
					t.Fatalf("2^(%d−%d): %s and %s have product %d, aliased %v", tc.k, tc.p, e, f, dot, aliased)
				}
			}
		}
	}
}

// Half replicates with the highest interaction confounded, as in the
// published pea experiment: N, P, K in blocks of four, NPK with blocks.
func TestFactorialInHalfReplicatesConfoundsTheHighestInteraction(t *testing.T) {
	f := []Factor{{"N", []string{"no N", "N"}}, {"P", []string{"no P", "P"}}, {"K", []string{"no K", "K"}}}
	p := mustMake(t, Request{Kind: Factorial, Factors: f, Blocks: 6, Pieces: 4, Seed: "s"})
	byBlock := map[string]int{}
	for _, s := range p.Slots {
		n := 0
		for _, v := range s.Settings {
			if !strings.HasPrefix(v, "no ") {
				n++
			}
		}
		byBlock[s.Block] |= 1 << (n % 2)
	}
	for b, parity := range byBlock {
		if parity == 3 {
			t.Errorf("block %s holds both halves", b)
		}
	}
	// 24 runs: 5 for blocks, 6 effects, 1 mean leave 12, as in the analysis
	// of Venables & Ripley, Modern Applied Statistics with S, section 6.7.
	if p.ErrorDF != 12 || !strings.Contains(strings.Join(p.Says, " "), "N × P × K is confounded") {
		t.Errorf("%v degrees of freedom; %v", p.ErrorDF, p.Says)
	}
}

// The published oats experiment (Yates 1935): 6 blocks, 3 varieties whole, 4
// manures inside; with the interaction fitted, 10 and 45 degrees of freedom.
func TestSplitPlotCountsBatchesForTheWholeFactor(t *testing.T) {
	p := mustMake(t, Request{Kind: SplitPlot, Blocks: 6, Seed: "s", Factors: []Factor{
		{"variety", []string{"V", "G", "M"}}, {"manure", []string{"0", "0.2", "0.4", "0.6"}}}})
	if p.ErrorDF != 45 || !strings.Contains(p.Says[0], "10 degrees of freedom") || len(p.Slots) != 72 {
		t.Errorf("%v; %v; %d cooks", p.ErrorDF, p.Says, len(p.Slots))
	}
	whole := map[string]map[string]bool{}
	for _, s := range p.Slots {
		if whole[s.Batch] == nil {
			whole[s.Batch] = map[string]bool{}
		}
		whole[s.Batch][s.Settings["variety"]] = true
	}
	for b, levels := range whole {
		if len(levels) != 1 {
			t.Errorf("batch %s has %d settings", b, len(levels))
		}
	}
}

func TestImpossibleDesignsSayWhatWorksNext(t *testing.T) {
	four := []string{"a", "b", "c", "d"}
	two := func(n int) (out []Factor) {
		for i := range n {
			out = append(out, Factor{fmt.Sprint("f", i), []string{fmt.Sprint("low", i), fmt.Sprint("high", i)}})
		}
		return out
	}
	for _, tc := range []struct {
		name string
		r    Request
		code fault.Code
		fix  string
	}{
		{"a square with a row missing", Request{Kind: LatinSquare, Treatments: four, Blocks: 6}, "square-blocks", "8 blocks"},
		{"one 2 × 2 square", Request{Kind: LatinSquare, Treatments: four[:2], Blocks: 2}, "square-df", "8 blocks"},
		{"one 3 × 3 square", Request{Kind: LatinSquare, Treatments: four[:3], Blocks: 3}, "square-df", "6 blocks"},
		{"a crossover of three in four", Request{Kind: Crossover, Treatments: four[:3], Blocks: 4}, "crossover-blocks", "6 blocks"},
		{"incomplete blocks that cannot balance", Request{Kind: IncompleteBlocks, Treatments: four, Pieces: 2, Blocks: 7}, "incomplete-blocks", "12 blocks"},
		{"incomplete blocks of one piece", Request{Kind: IncompleteBlocks, Treatments: four, Pieces: 1, Blocks: 7}, "incomplete-size", "2 pieces"},
		{"incomplete blocks that are complete", Request{Kind: IncompleteBlocks, Treatments: four, Pieces: 4, Blocks: 7}, "incomplete-size", "complete"},
		{"pairs of three", Request{Kind: Pairs, Treatments: four[:3], Blocks: 7}, "pairs-treatments", "blocks"},
		{"one pair", Request{Kind: Pairs, Treatments: four[:2], Blocks: 1}, "blocks-count", "4"},
		{"blocks with too few pieces", Request{Kind: CompleteBlocks, Treatments: four, Pieces: 3, Blocks: 7}, "pieces-few", "incomplete-blocks"},
		{"half replicates by an odd number", Request{Kind: Factorial, Factors: two(3), Pieces: 4, Blocks: 3}, "factorial-blocks", "4 blocks"},
		{"a fraction that is not listed", Request{Kind: Factorial, Factors: two(3), Fraction: 2, Blocks: 3}, "fraction-unknown", "4 runs"},
		{"a generator of itself", Request{Kind: Factorial, Factors: two(3), Generators: []string{"C=AC"}, Blocks: 3}, "generator", "D=ABC"},
		{"generators that say the same", Request{Kind: Factorial, Factors: two(4), Generators: []string{"C=ABD", "D=ABC"}, Blocks: 3}, "generator", "drop"},
		{"a split plot of one batch each", Request{Kind: SplitPlot, Factors: two(2), Blocks: 1}, "split-batches", "2 blocks"},
		{"doses that fall", Request{Kind: DoseSeries, Treatments: four[:3], Levels: []float64{1, 3, 2}, Blocks: 4}, "dose-levels", "lowest"},
		{"one treatment", Request{Kind: CompleteBlocks, Treatments: four[:1], Blocks: 4}, "treatments-few", "compared"},
		{"a treatment twice", Request{Kind: Pairs, Treatments: []string{"a", "a"}, Blocks: 4}, "treatment-twice", "own id"},
		{"no seed", Request{Kind: Pairs, Treatments: four[:2], Blocks: 4, Seed: " "}, "seed-missing", "text"},
		{"an unknown kind", Request{Kind: "spiral", Treatments: four[:2], Blocks: 4}, "design-unknown", "pairs"},
	} {
		if tc.r.Seed == "" {
			tc.r.Seed = "s"
		}
		_, err := Make(tc.r)
		var f *fault.Error
		if !errors.As(err, &f) {
			t.Errorf("%s: %v", tc.name, err)
			continue
		}
		if f.Code != tc.code || !strings.Contains(f.Fix, tc.fix) {
			t.Errorf("%s: %s %q (fix %q), want %s … %q", tc.name, f.Code, f.Message, f.Fix, tc.code, tc.fix)
		}
	}
}

func ExampleMake() {
	p, err := Make(Request{Kind: Pairs, Treatments: []string{"late", "early"}, Blocks: 6, Seed: "a coin"})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(len(p.Slots), "cooks")
	fmt.Println(p.Says[0])
	fmt.Println(p.Says[1])
	// Output:
	// 12 cooks
	// Every block gives one piece to each of the 2 treatments, so differences between blocks cancel; 5 degrees of freedom judge a difference.
	// Each treatment is cooked first in 3 of the 6 blocks: a drift within a block favours none.
}
