package cli

import (
	"encoding/hex"
	"fmt"
	"io"
	"math/bits"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"trivet/cells"
	"trivet/design"
	"trivet/fault"
)

// dealOptions are the flags of a design dealt without a study.
type dealOptions struct {
	kind       string
	factors    []string
	fraction   string
	generators []string
	replicates int
	pieces     int
	levels     []float64
	inARow     int
	csv        bool
}

func (d *dealOptions) flags(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&d.kind, "deal", "", "deal a design without a study: pairs, blocks, incomplete-blocks, latin-square, crossover, factorial, split-plot, dose-series or unblocked")
	f.StringArrayVar(&d.factors, "factors", nil, "a factor and its levels, salt=low,high (repeatable; of a split plot the whole batch's first)")
	f.StringVar(&d.fraction, "fraction", "", "deal only this fraction of a factorial: 1/2, 1/4 …")
	f.StringSliceVar(&d.generators, "generators", nil, "generators of a fraction by the factors' letters, such as D=ABC, instead of --fraction")
	f.IntVar(&d.replicates, "replicates", 0, "whole sets of the treatments, instead of --blocks: runs of a factorial, squares of a Latin square")
	f.IntVar(&d.pieces, "pieces", 0, "pieces a block gives (default: one for each treatment)")
	f.Float64SliceVar(&d.levels, "levels", nil, "levels of a dose series, rising (default: the treatments read as numbers)")
	f.IntVar(&d.inARow, "at-most-in-a-row", 0, "2: never three cooks in a row of one treatment (of a factorial: of one level of its first factor, inside a block); of pairs and blocks no three that open with one")
	f.BoolVar(&d.csv, "csv", false, "print the run order of --deal as CSV")
}

// dealFlags belong to --deal alone; the others it takes are shared.
var dealFlags = []string{"factors", "fraction", "generators", "replicates", "pieces", "levels", "at-most-in-a-row", "csv"}

// checkDeal refuses flags that mean nothing to a design without a study.
func (o planOptions) checkDeal(cmd *cobra.Command, study bool) error {
	if study {
		return fault.BadUsage("flag-form", "--deal makes a design without a study").WithFix("leave the study out, or choose its design with --kind")
	}
	for _, name := range []string{"margin", "sd", "true-effect", "alpha", "power", "design", "test", "pilot", "published", "heat", "baseline", "write", "kind", "sheets", "paper", "figure", "question"} {
		if cmd.Flags().Changed(name) {
			return fault.BadUsage("flag-form", "--%s does not go with --deal", name).WithFix("leave it out; the number of blocks is a question of its own: trivet plan --margin … --sd …")
		}
	}
	return nil
}

// runDeal deals a design and prints it.
func runDeal(env *Env, o planOptions) error {
	r, err := o.dealRequest(env)
	if err != nil {
		return err
	}
	p, err := design.Make(r)
	if err != nil {
		return err
	}
	switch {
	case o.deal.csv && env.JSON:
		return fault.BadUsage("form-twice", "--csv and --json are two forms of one result").WithFix("give one of them")
	case env.JSON:
		return env.PrintJSON(dealOut(r, p, o.seed == ""))
	case o.deal.csv:
		if o.seed == "" {
			env.Tell("drawn from the seed %s: --seed %s deals the same again", p.Seed, p.Seed)
		}
		return dealCSV(env, r, p)
	}
	printDeal(env, r, p, o.seed == "")
	return nil
}

// dealRequest turns the flags into a request.
func (o planOptions) dealRequest(env *Env) (design.Request, error) {
	d := o.deal
	r := design.Request{Kind: design.Kind(d.kind), Pieces: d.pieces, Seed: o.seed, Burners: o.burners, Probes: o.probes, Nearly: o.nearly, Levels: d.levels,
		Generators: d.generators, NoThreeAlike: o.noThree || d.inARow > 0, Blocks: o.blocks}
	if !slices.Contains(design.Kinds(), r.Kind) {
		_, err := design.Make(r) // says which there are
		return r, err
	}
	if d.inARow != 0 && d.inARow != 2 {
		return r, fault.BadUsage("in-a-row", "the rule known here is at most two alike in a row").On("--at-most-in-a-row", strconv.Itoa(d.inARow)).WithFix("write 2, or leave it out")
	}
	if d.pieces < 0 || d.replicates < 0 {
		return r, fault.BadUsage("count-negative", "a number of pieces or replicates cannot be negative").WithFix("write a positive number")
	}
	var err error
	if r.Factors, err = dealFactors(d.factors); err != nil {
		return r, err
	}
	crossed := r.Kind == design.Factorial || r.Kind == design.SplitPlot
	if crossed && o.treatments != "" {
		return r, fault.BadUsage("flag-form", "the treatments of a %s are made from its factors", r.Kind).WithFix("name them with --factors salt=low,high")
	}
	if !crossed && len(r.Factors) > 0 {
		return r, fault.BadUsage("flag-form", "the design %s takes treatments, not factors", r.Kind).WithFix("name them with --treatments A,B,C, or take --deal factorial")
	}
	if r.Kind != design.Factorial && (d.fraction != "" || len(d.generators) > 0) {
		return r, fault.BadUsage("flag-form", "only a factorial has fractions").WithFix("take --deal factorial, or leave --fraction and --generators out")
	}
	if !crossed {
		if r.Treatments, err = dealTreatments(o.treatments); err != nil {
			return r, err
		}
	}
	if d.fraction != "" {
		if len(d.generators) > 0 {
			return r, fault.BadUsage("flag-twice", "--generators say the fraction already").WithFix("leave --fraction out")
		}
		if r.Fraction, err = dealFraction(d.fraction); err != nil {
			return r, err
		}
	}
	if r.Kind == design.DoseSeries && len(r.Levels) == 0 {
		for _, t := range r.Treatments {
			a, err := parseAmountFlag("treatments", t)
			if err != nil {
				return r, fault.BadUsage("dose-levels", "the levels of a dose series are numbers").On("--treatments", t).WithFix("give them with --levels 0,10,20, or name the treatments 0,10,20")
			}
			r.Levels = append(r.Levels, a.value)
		}
	}
	if r.Blocks, err = d.blocks(r); err != nil {
		return r, err
	}
	if strings.TrimSpace(r.Seed) == "" {
		b := make([]byte, 8)
		if _, err := io.ReadFull(env.Random, b); err != nil {
			return r, fault.New("random", "this machine gives no random numbers").Wrap(err)
		}
		r.Seed = hex.EncodeToString(b)
	}
	return r, nil
}

// blocks is the number of blocks, from --blocks or --replicates.
func (d dealOptions) blocks(r design.Request) (int, error) {
	n := d.replicates
	switch {
	case r.Blocks > 0 && n > 0:
		return 0, fault.BadUsage("flag-twice", "--blocks and --replicates both say how often").WithFix("give one of them")
	case r.Blocks > 0:
		return r.Blocks, nil
	case n > 0 && r.Kind == design.IncompleteBlocks:
		return 0, fault.BadUsage("flag-form", "incomplete blocks are counted in blocks").WithFix("write --blocks %d", n)
	case n > 0 && r.Kind == design.LatinSquare:
		return n * len(r.Treatments), nil
	case n > 0 && r.Kind == design.Factorial:
		if whole := 1 << len(r.Factors); d.pieces > 0 && d.pieces < whole && r.Fraction == 0 && len(r.Generators) == 0 {
			return 2 * n, nil // a set of all combinations takes two blocks
		}
		return n, nil
	case n > 0:
		return n, nil
	case r.Kind == design.Factorial:
		return 1, nil
	}
	return 0, fault.BadUsage("flag-missing", "--blocks is needed").WithFix("say how many blocks, such as --blocks 6; trivet plan --margin … --sd … finds the number")
}

// dealTreatments reads a list of names, or a number of treatments to name A,
// B, C ….
func dealTreatments(s string) ([]string, error) {
	if n, err := strconv.Atoi(strings.TrimSpace(s)); err == nil {
		if n < 2 || n > 26 {
			return nil, fault.BadUsage("treatments-count", "a number of treatments is from 2 to 26").On("--treatments", s).WithFix("name them: --treatments A,B,C")
		}
		var names []string
		for i := range n {
			names = append(names, string(rune('A'+i)))
		}
		return names, nil
	}
	var names []string
	for part := range strings.SplitSeq(s, ",") {
		if part = strings.TrimSpace(part); part != "" {
			names = append(names, part)
		}
	}
	if len(names) == 0 {
		return nil, fault.BadUsage("flag-missing", "--treatments is needed").WithFix("name them: --treatments A,B,C")
	}
	return names, nil
}

func dealFactors(flags []string) ([]design.Factor, error) {
	var out []design.Factor
	for _, s := range flags {
		name, levels, ok := strings.Cut(s, "=")
		name = strings.TrimSpace(name)
		if !ok || name == "" {
			return nil, fault.BadUsage("factor-form", "a factor is a name and its levels").On("--factors", s).WithFix("write salt=low,high")
		}
		if slices.ContainsFunc(out, func(f design.Factor) bool { return f.Name == name }) {
			return nil, fault.BadUsage("factor-twice", "a factor is named twice").On("--factors", name).WithFix("give each factor once, with all its levels")
		}
		f := design.Factor{Name: name}
		for l := range strings.SplitSeq(levels, ",") {
			if l = strings.TrimSpace(l); l != "" {
				f.Levels = append(f.Levels, l)
			}
		}
		out = append(out, f)
	}
	return out, nil
}

// dealFraction reads 1/2, 1/4 … as the power of two it halves by.
func dealFraction(s string) (int, error) {
	one, of, ok := strings.Cut(strings.ReplaceAll(s, " ", ""), "/")
	n, err := strconv.ParseUint(of, 10, 16)
	if !ok || one != "1" || err != nil || n < 2 || bits.OnesCount64(n) != 1 {
		return 0, fault.BadUsage("fraction-form", "a two-level factorial is halved, and halved again").On("--fraction", s).WithFix("write 1/2, 1/4, 1/8 or 1/16")
	}
	return bits.TrailingZeros64(n), nil
}

// dealJSON is a dealt design, as JSON.
type dealJSON struct {
	Format     int          `json:"format"`
	Kind       design.Kind  `json:"kind"`
	Seed       string       `json:"seed"`
	SeedDrawn  bool         `json:"seed_drawn"`
	Version    int          `json:"version"`
	Treatments []string     `json:"treatments"`
	Factors    []factorJSON `json:"factors,omitempty"`
	Blocks     int          `json:"blocks"`
	PerBlock   int          `json:"per_block"`
	Efficiency float64      `json:"efficiency"`
	ErrorDF    float64      `json:"error_df"`
	Resolution int          `json:"resolution,omitempty"`
	Aliases    []aliasJSON  `json:"aliases"`
	Says       []string     `json:"says"`
	RunOrder   []dealSlot   `json:"run_order"`
}

type factorJSON struct {
	Letter string   `json:"letter"`
	Name   string   `json:"name"`
	Levels []string `json:"levels"`
}

type aliasJSON struct {
	Effects    []string `json:"effects"`
	WithBlocks bool     `json:"with_blocks,omitempty"`
}

type dealSlot struct {
	Order     int               `json:"order"`
	Block     string            `json:"block,omitempty"`
	Batch     string            `json:"batch,omitempty"`
	Place     int               `json:"place"`
	Piece     string            `json:"piece"`
	Treatment string            `json:"treatment"`
	Settings  map[string]string `json:"settings,omitempty"`
	Burner    string            `json:"burner,omitempty"`
	Probe     string            `json:"probe,omitempty"`
	Code      string            `json:"code"`
}

func dealOut(r design.Request, p *design.Plan, drawn bool) dealJSON {
	out := dealJSON{Format: 1, Kind: p.Kind, Seed: p.Seed, SeedDrawn: drawn, Version: p.Version, Treatments: p.Treatments, Blocks: p.Blocks, PerBlock: p.PerBlock,
		Efficiency: p.Efficiency, ErrorDF: p.ErrorDF, Resolution: p.Resolution, Aliases: []aliasJSON{}, Says: p.Says}
	for i, f := range r.Factors {
		out.Factors = append(out.Factors, factorJSON{string(rune('A' + i)), f.Name, f.Levels})
	}
	for _, a := range p.Aliases {
		out.Aliases = append(out.Aliases, aliasJSON{a.Effects, a.Block})
	}
	for _, s := range p.Slots {
		out.RunOrder = append(out.RunOrder, dealSlot{s.Order, s.Block, s.Batch, s.Place, s.Piece, s.Treatment, s.Settings, s.Burner, s.Probe, s.Code})
	}
	return out
}

// dealRows is the run order as a table: columns that say nothing are left out.
func dealRows(r design.Request, p *design.Plan) (head []string, rows [][]string) {
	type column struct {
		name  string
		value func(design.Slot) string
	}
	all := []column{
		{"order", func(s design.Slot) string { return strconv.Itoa(s.Order) }},
		{"block", func(s design.Slot) string { return s.Block }},
		{"batch", func(s design.Slot) string { return s.Batch }},
		{"place", func(s design.Slot) string { return strconv.Itoa(s.Place) }},
		{"piece", func(s design.Slot) string { return s.Piece }},
	}
	if len(r.Factors) == 0 {
		all = append(all, column{"treatment", func(s design.Slot) string { return s.Treatment }})
	}
	for _, f := range r.Factors {
		all = append(all, column{f.Name, func(s design.Slot) string { return s.Settings[f.Name] }})
	}
	all = append(all, column{"burner", func(s design.Slot) string { return s.Burner }},
		column{"probe", func(s design.Slot) string { return s.Probe }},
		column{"code", func(s design.Slot) string { return s.Code }})
	rows = make([][]string, len(p.Slots))
	for _, c := range all {
		if !slices.ContainsFunc(p.Slots, func(s design.Slot) bool { return c.value(s) != "" }) {
			continue
		}
		head = append(head, c.name)
		for i, s := range p.Slots {
			rows[i] = append(rows[i], c.value(s))
		}
	}
	return head, rows
}

// dealCSV prints the run order with its seed on every line, so that a file
// kept alone can be dealt again.
func dealCSV(env *Env, r design.Request, p *design.Plan) error {
	head, rows := dealRows(r, p)
	head = append(head, "seed")
	for i := range rows {
		rows[i] = append(rows[i], p.Seed)
	}
	w := cells.NewWriter(env)
	w.LF = true
	return w.WriteAll(head, rows)
}

func printDeal(env *Env, r design.Request, p *design.Plan, drawn bool) {
	env.Printf("%s, %s", p.Kind, plural(len(p.Slots), "cook", "cooks"))
	if p.Blocks > 1 {
		env.Printf(" in %d blocks of %d", p.Blocks, p.PerBlock)
	}
	env.Printf("; seed %s", p.Seed)
	if drawn {
		env.Printf(" (drawn now: --seed %s deals the same again)", p.Seed)
	}
	env.Printf("\n\n")
	head, rows := dealRows(r, p)
	t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
	for _, row := range append([][]string{head}, rows...) {
		fmt.Fprintln(t, strings.Join(row, "\t"))
	}
	t.Flush()
	env.Printf("\nWhat it is worth (efficiency %.0f %%, %g error degrees of freedom):\n", 100*p.Efficiency, p.ErrorDF)
	for _, s := range p.Says {
		env.Printf("%s", wrapped("  ", "· "+s, 78))
	}
}
