package stats

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"trivet/fault"
)

func compare(t testing.TB, table Table, o Options) *Comparison {
	t.Helper()
	c, err := Compare(table, o)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func sleepTable(t testing.TB) Table {
	d := load(t, "data/sleep.csv")
	return NewTable(d.numbers(t, "extra"), d["group"], d["ID"])
}

// Student's sleep data, paired: R 4.2.2, t.test(paired = TRUE).
func TestComparePaired(t *testing.T) {
	c := compare(t, sleepTable(t), Options{Control: "1", Margin: 2})
	r := references(t, "sleep_paired")
	k := c.Contrasts[0]
	for _, v := range []struct {
		what       string
		got        float64
		method, id string
	}{
		{"estimate", k.Estimate, "paired_t", "mean_diff"},
		{"se", k.SE, "paired_t", "se"},
		{"df", k.DF, "paired_t", "df"},
		{"t", k.T, "paired_t", "t"},
		{"p", k.P, "paired_t", "p_two_sided"},
		{"ci low", k.CILow, "paired_t", "ci95_lo"},
		{"ci high", k.CIHigh, "paired_t", "ci95_hi"},
		{"90 % low", k.Interval(0.90).Low, "paired_t", "ci90_lo"},
		{"90 % high", k.Interval(0.90).High, "paired_t", "ci90_hi"},
		{"equivalence p", k.EquivP, "tost", "p_tost"},
		{"p against ≤ 0.5", k.OneSidedP(Higher, 0.5), "min_effect", "p_gt_delta"},
		{"p against ≥ −0.5", k.OneSidedP(Lower, -0.5), "min_effect", "p_lt_minus_delta"},
	} {
		near(t, v.what, v.got, r.value(v.method, "g2-g1", v.id), 1e-9)
	}
	if !math.IsNaN(c.BlockVariance) || c.NBlocks != 10 || c.N != 20 {
		t.Errorf("block variance %v, %d blocks, n = %d; want none, 10, 20", c.BlockVariance, c.NBlocks, c.N)
	}
}

// All pairs of several designs: emmeans 1.8.4-1 (R 4.2.2); Tukey and Dunnett
// p-values by an independent double integral.
func TestCompareSeveralTreatments(t *testing.T) {
	cakeA := load(t, "data/cake.csv").where("recipe", "A")
	plants := load(t, "data/PlantGrowth.csv")
	sprays := load(t, "data/OrchardSprays.csv")
	bibd := load(t, "data/cakeA_bibd_t6_b15_k2.csv")
	latin := NewTable(sprays.numbers(t, "decrease"), sprays["treatment"], sprays["rowpos"])
	latin.Factors = sprays.factors("colpos")
	for _, c := range []struct {
		id, title, level, control string
		table                     Table
		also                      []string
		blocks                    Blocks
		dunnett                   bool
	}{
		{"cakeA_rcbd_emm", "tempf", "tempf", "175", NewTable(cakeA.numbers(t, "angle"), cakeA["temp"], cakeA["replicate"]), nil, "", true},
		{"plantgrowth_emm", "PlantGrowth", "", "ctrl", NewTable(plants.numbers(t, "weight"), plants["group"], nil), nil, "", true},
		{"latin8_emm", "latin", "", "A", latin, []string{"colpos"}, "", true},
		{"bibd_cakeA_emm", "bibd intrablock", "tempf", "175", NewTable(bibd.numbers(t, "angle"), bibd["temp"], bibd["replicate"]), nil, BlocksFixed, false},
	} {
		t.Run(c.id, func(t *testing.T) {
			r := references(t, c.id)
			o := Options{Control: c.control, Adjust: AdjustTukey, Also: c.also, Blocks: c.blocks}
			all := compare(t, c.table, o)
			p := make([]float64, len(all.Contrasts))
			names := make([]string, len(all.Contrasts))
			for i, k := range all.Contrasts {
				// R takes the first minus the second; we the second minus the first.
				names[i] = fmt.Sprintf("%s%s - %s%s", c.level, k.Control, c.level, k.Treatment)
				near(t, names[i], -k.Estimate, r.value("pairwise", names[i], "estimate"), 1e-9)
				near(t, names[i]+" se", k.SE, r.value("pairwise", names[i], "se"), 1e-9)
				near(t, names[i]+" df", k.DF, r.value("pairwise", names[i], "df"), 0)
				near(t, names[i]+" p", k.P, r.value("pairwise none", names[i], "p"), 1e-8)
				if want := r.value("pairwise tukey", names[i], "p"); want > 1e-10 {
					near(t, names[i]+" Tukey p", k.PAdjusted, want, math.Max(1e-8, 1e-13/want))
				}
				p[i] = k.P
			}
			for i, v := range Holm(p) {
				near(t, names[i]+" Holm p", v, r.value("pairwise holm", names[i], "p"), 1e-8)
			}
			if !c.dunnett {
				return
			}
			o.Adjust = AdjustDunnett
			for _, k := range compare(t, c.table, o).Contrasts {
				what := fmt.Sprintf("%s%s - %s%s", c.level, k.Treatment, c.level, k.Control)
				if want := r.value("dunnett_exact_rho0.5", what, "p"); want > 1e-10 {
					near(t, what+" Dunnett p", k.PAdjusted, want, math.Max(1e-8, 1e-13/want))
				}
			}
		})
	}
}

// Balanced incomplete blocks: the mixed model of lme4 1.1-31.
func TestCompareIncompleteBlocks(t *testing.T) {
	d := load(t, "data/cakeA_bibd_t6_b15_k2.csv")
	c := compare(t, NewTable(d.numbers(t, "angle"), d["temp"], d["replicate"]), Options{Control: "175"})
	r := references(t, "bibd_cakeA_lmm")
	near(t, "block variance", c.BlockVariance, r.value("(interblock recovered)", "replicate", "variance"), 1e-6)
	near(t, "residual variance", c.ResidualVariance, r.value("(interblock recovered)", "Residual", "variance"), 1e-6)
	for _, k := range c.Contrasts {
		checkLinear(t, r, "(interblock recovered)", "tempf"+k.Treatment, Linear{k.Estimate, k.SE, k.DF})
	}
	if !hasNote(c.Notes, "incomplete-blocks") {
		t.Error("no note about incomplete blocks")
	}
}

func hasNote(notes []fault.Note, code fault.Code) bool {
	for _, n := range notes {
		if n.Code == code {
			return true
		}
	}
	return false
}

// A zero block variance must not free degrees of freedom: 15 by lme4, but
// blocks leave 10.
func TestCompareZeroBlockVariance(t *testing.T) {
	d := load(t, "data/synth_singular.csv")
	c := compare(t, NewTable(d.numbers(t, "y"), d["treat"], d["block"]), Options{Control: "A", Blocks: BlocksRandom})
	r := references(t, "synth_singular")
	if c.BlockVariance != 0 {
		t.Errorf("block variance = %g, want 0", c.BlockVariance)
	}
	for _, k := range c.Contrasts {
		near(t, k.Treatment, k.Estimate, r.value("(zero block variance)", "treat"+k.Treatment, "estimate"), 1e-9)
		near(t, k.Treatment+" df", k.DF, 10, 0)
	}
	if !hasNote(c.Notes, "block-variance-zero") {
		t.Error("no note about the zero variance")
	}
}

// Two recipes of the cake experiment, with temperature as a further factor:
// rows are cakes, and the note carries the test on the batches (paired t over
// 15 replicates of the means of six cakes).
func TestCompareAlso(t *testing.T) {
	d := load(t, "data/cake.csv")
	table := NewTable(d.numbers(t, "angle"), d["recipe"], d["replicate"])
	table.Factors = d.factors("temp")
	c := compare(t, table, Options{Control: "A", Also: []string{"temp"}})
	if c.N != 270 || c.NBlocks != 15 {
		t.Errorf("n = %d in %d blocks, want 270 in 15", c.N, c.NBlocks)
	}
	// 270 − 15 blocks − 2 recipes − 5 temperatures.
	near(t, "df", c.Contrasts[0].DF, 248, 0)
	cells := compare(t, NewTable(d.numbers(t, "angle"), d["recipe"], d["replicate"]), Options{Control: "A"})
	near(t, "cell-level df", cells.Contrasts[0].DF, 28, 0)
	// By cells the comparison is that of the balanced split plot: R's two-
	// grouping mixed model on 28 degrees of freedom.
	r := references(t, "cake_two_re")
	for _, k := range cells.Contrasts {
		checkLinear(t, r, "(1|recipe:replicate)", "recipe"+k.Treatment, Linear{k.Estimate, k.SE, k.DF})
	}
	found := false
	for _, n := range c.Notes {
		if n.Code == "rows-inside-batch" && strings.Contains(n.Text, "B − A = "+short(cells.Contrasts[0].Estimate)) &&
			strings.Contains(n.Text, "p = "+short(cells.Contrasts[0].P)) {
			found = true
		}
	}
	if !found {
		t.Errorf("no cell-level note in %v", c.Notes)
	}
}

// One factor of a factorial, the others as further factors: emmeans 1.8.4-1.
func TestCompareFactorial(t *testing.T) {
	d := load(t, "data/npk.csv")
	r := references(t, "npk_main")
	for _, f := range []string{"N", "P", "K"} {
		var also []string
		for _, g := range []string{"N", "P", "K"} {
			if g != f {
				also = append(also, g)
			}
		}
		table := NewTable(d.numbers(t, "yield"), d[f], d["block"])
		table.Factors = d.factors("N", "P", "K")
		k := compare(t, table, Options{Control: "0", Also: also}).Contrasts[0]
		term := fmt.Sprintf("%s:%s1 - %s0", f, f, f)
		near(t, f, k.Estimate, r.value("emmeans_contrast", term, "estimate"), 1e-9)
		near(t, f+" se", k.SE, r.value("emmeans_contrast", term, "se"), 1e-9)
		near(t, f+" df", k.DF, r.value("emmeans_contrast", term, "df"), 0)
		near(t, f+" low", k.CILow, r.value("emmeans_contrast", term, "ci95_lo"), 1e-9)
		near(t, f+" p", k.P, r.value("emmeans_contrast", term, "p"), 1e-8)
	}
}

// A log comparison is a comparison of logarithms; ratios come back by exp.
func TestCompareLogScale(t *testing.T) {
	d := load(t, "data/cake.csv").where("temp", "205")
	y := d.numbers(t, "angle")
	logs := make([]float64, len(y))
	for i := range y {
		logs[i] = math.Log(y[i])
	}
	margin := math.Log(1.1)
	a := compare(t, NewTable(y, d["recipe"], d["replicate"]), Options{Control: "A", LogScale: true, Margin: margin})
	b := compare(t, NewTable(logs, d["recipe"], d["replicate"]), Options{Control: "A", Margin: margin})
	for i := range a.Contrasts {
		near(t, "estimate", a.Contrasts[i].Estimate, b.Contrasts[i].Estimate, 1e-12)
		near(t, "equivalence", a.Contrasts[i].EquivP, b.Contrasts[i].EquivP, 1e-12)
	}
}

// Rows inside a piece are averaged; pieces are then the units.
func TestComparePieces(t *testing.T) {
	var table Table
	add := func(y float64, treatment, block, piece string) {
		table.Response = append(table.Response, y)
		table.Treatment = append(table.Treatment, treatment)
		table.Block = append(table.Block, block)
		table.Piece = append(table.Piece, piece)
	}
	for b, base := range []float64{20, 23, 21, 26} {
		for p, effect := range []float64{0, 1.5, 0.4, 2.3} {
			treatment := []string{"plain", "brined", "plain", "brined"}[p]
			for core, off := range []float64{-0.2, 0, 0.2} {
				add(base+effect+off*float64(1+core)+0.1*float64((b*7+p*3)%5), treatment, fmt.Sprint(b), fmt.Sprint(p))
			}
		}
	}
	c := compare(t, table, Options{Control: "plain"})
	if c.N != 16 || c.Rows != 48 || c.Contrasts[0].DF != 16-4-1 || !hasNote(c.Notes, "averaged-to-pieces") {
		t.Errorf("n = %d of %d rows, df %g, notes %v; want 16 of 48 on 11", c.N, c.Rows, c.Contrasts[0].DF, c.Notes)
	}
	table.Piece = nil
	c = compare(t, table, Options{Control: "plain"})
	if c.N != 8 || c.Contrasts[0].DF != 3 || !hasNote(c.Notes, "averaged-to-cells") {
		t.Errorf("without pieces: n = %d, df %g", c.N, c.Contrasts[0].DF)
	}
}

// Each batch baked with one recipe: batches are the units, and the answer is
// that of the split-plot model with batch as grouping (R 4.2.2, lmerTest
// 3.1-3: recipe on 42 degrees of freedom).
func TestCompareTreatmentBetweenBlocks(t *testing.T) {
	d := load(t, "data/cake.csv")
	batch := make([]string, len(d["recipe"]))
	for i := range batch {
		batch[i] = d["recipe"][i] + d["replicate"][i]
	}
	table := NewTable(d.numbers(t, "angle"), d["recipe"], batch)
	table.Factors = d.factors("temp")
	c := compare(t, table, Options{Control: "A", Also: []string{"temp"}})
	if !hasNote(c.Notes, "treatment-between-blocks") {
		t.Errorf("notes %v", c.Notes)
	}
	for _, k := range c.Contrasts {
		near(t, k.Treatment+" df", k.DF, 42, 1e-6)
	}
	// Averaged to batches it is the same test.
	cells := compare(t, NewTable(d.numbers(t, "angle"), d["recipe"], batch), Options{Control: "A"})
	for i, k := range cells.Contrasts {
		near(t, k.Treatment, k.Estimate, c.Contrasts[i].Estimate, 1e-9)
		near(t, k.Treatment+" se", k.SE, c.Contrasts[i].SE, 1e-6)
		near(t, k.Treatment+" df", k.DF, 42, 0)
	}
}

// Batches of one treatment whose means happen to agree: the pieces inside them
// still do not count as repeats.
func TestCompareZeroBatchVariance(t *testing.T) {
	var table Table
	for b := range 6 {
		treatment, base := "plain", 20.0
		if b%2 == 1 {
			treatment, base = "brined", 22
		}
		for p, off := range []float64{-1, -0.4, 0.3, 1.1} {
			table.Response = append(table.Response, base+off)
			table.Treatment = append(table.Treatment, treatment)
			table.Block = append(table.Block, fmt.Sprint("batch ", b))
			table.Piece = append(table.Piece, fmt.Sprint(p))
		}
	}
	c := compare(t, table, Options{Control: "plain"})
	if c.BlockVariance != 0 || c.N != 24 {
		t.Errorf("block variance %g, n = %d", c.BlockVariance, c.N)
	}
	near(t, "df", c.Contrasts[0].DF, 4, 0)
}

func TestCompareCovariateNotes(t *testing.T) {
	d := load(t, "data/cake.csv").without(3, 17, 18, 40, 77, 101, 140, 199, 233, 260)
	table := NewTable(d.numbers(t, "angle"), d["recipe"], d["replicate"])
	table.Piece = d["temp"] // one cake per replicate, recipe and temperature
	table.Covariates = []Covariate{{"temp", d.numbers(t, "temp")}}
	c := compare(t, table, Options{Control: "A", Covariates: []string{"temp"}, Blocks: BlocksFixed})
	// R 4.2.2, lm(angle ~ replicate + temp + recipe).
	near(t, "B − A", c.Contrasts[0].Estimate, -1.240061296679, 1e-9)
	near(t, "se", c.Contrasts[0].SE, 0.7270911569305, 1e-9)
	if !hasNote(c.Notes, "unadjusted") || hasNote(c.Notes, "many-covariates") {
		t.Errorf("notes %v", c.Notes)
	}
}

func TestCompareBadInput(t *testing.T) {
	good := func() Table {
		return NewTable([]float64{1, 2, 3, 4.5}, []string{"plain", "brined", "plain", "brined"}, []string{"a", "a", "b", "b"})
	}
	for _, c := range []struct {
		name string
		edit func(*Table, *Options)
		code fault.Code
		kind fault.Kind
		says string
	}{
		{"not a number", func(t *Table, _ *Options) { t.Response[2] = math.NaN() }, "response-not-finite", fault.Content, "row 3"},
		{"infinite", func(t *Table, _ *Options) { t.Response[0] = math.Inf(1) }, "response-not-finite", fault.Content, "row 1"},
		{"no rows", func(t *Table, _ *Options) { *t = Table{} }, "table-empty", fault.Content, "no rows"},
		{"short column", func(t *Table, _ *Options) { t.Block = t.Block[:3] }, "column-length", fault.Content, "3 values"},
		{"empty label", func(t *Table, _ *Options) { t.Treatment[1] = "" }, "label-missing", fault.Content, "row 2"},
		{"one treatment", func(t *Table, _ *Options) { t.Treatment = []string{"x", "x", "x", "x"} }, "one-level", fault.Content, "only one treatment"},
		{"all equal", func(t *Table, _ *Options) { t.Response = []float64{3, 3, 3, 3} }, "all-equal", fault.Content, "every response is 3"},
		{"no scatter", func(t *Table, _ *Options) { t.Response = []float64{1, 2, 3, 4} }, "zero-variance", fault.Content, "without any scatter"},
		{"single block", func(t *Table, _ *Options) { t.Block = []string{"a", "a", "a", "a"} }, "single-block", fault.Content, "more blocks"},
		{"batch is treatment", func(t *Table, _ *Options) { t.Block = []string{"a", "b", "a", "b"} }, "treatment-is-batch", fault.Content, "told apart"},
		{"batch is treatment, several pieces", func(t *Table, _ *Options) {
			*t = NewTable([]float64{1, 2, 4, 5.5, 2.5, 6}, []string{"a", "a", "b", "b", "a", "b"}, []string{"1", "1", "2", "2", "1", "2"})
			t.Piece = []string{"p", "q", "r", "s", "t", "u"}
		}, "treatment-is-batch", fault.Content, "told apart"},
		{"nothing left inside blocks", func(t *Table, _ *Options) {
			*t = NewTable([]float64{1, 2, 4}, []string{"a", "b", "a"}, []string{"1", "1", "2"})
		}, "no-error-df", fault.Content, "complete the table"},
		{"unknown control", func(_ *Table, o *Options) { o.Control = "plian" }, "control-unknown", fault.Usage, `did you mean "plain"?`},
		{"unknown control, nothing near", func(_ *Table, o *Options) { o.Control = "zzzz" }, "control-unknown", fault.Usage, `"brined", "plain"`},
		{"unknown factor", func(_ *Table, o *Options) { o.Also = []string{"pan"} }, "column-unknown", fault.Usage, "pan"},
		{"factor goes with the treatment", func(t *Table, o *Options) {
			*t = Table{Response: []float64{1, 2, 3, 4.5, 2, 2.5}, Treatment: []string{"plain", "brined", "plain", "brined", "plain", "brined"},
				Block: []string{"a", "a", "b", "b", "c", "c"}, Factors: []Column{{"pan", []string{"iron", "steel", "iron", "steel", "iron", "steel"}}}}
			o.Also = []string{"pan"}
		}, "not-estimable", fault.Content, "goes with"},
		{"alpha", func(_ *Table, o *Options) { o.Alpha = 1.5 }, "alpha-range", fault.Usage, "0.05 is usual"},
		{"margin", func(_ *Table, o *Options) { o.Margin = -1 }, "margin-range", fault.Usage, "positive"},
		{"claim", func(_ *Table, o *Options) { o.Claim = "up" }, "option-unknown", fault.Usage, "higher"},
		{"log of zero", func(t *Table, o *Options) { t.Response[1] = 0; o.LogScale = true }, "log-not-positive", fault.Content, "row 2"},
		{"random without blocks", func(t *Table, o *Options) { t.Block = nil; o.Blocks = BlocksRandom }, "block-missing", fault.Usage, "block column"},
		{"one row each", func(t *Table, o *Options) {
			*t = NewTable([]float64{1, 2}, []string{"a", "b"}, nil)
		}, "no-error-df", fault.Content, "repeats"},
	} {
		t.Run(c.name, func(t *testing.T) {
			table, o := good(), Options{}
			c.edit(&table, &o)
			_, err := Compare(table, o)
			e := fault.As(err)
			if e == nil {
				t.Fatalf("no fault, got %v", err)
			}
			if e.Code != c.code || e.Kind != c.kind || !strings.Contains(err.Error(), c.says) {
				t.Errorf("code %q kind %d: %v; want code %q kind %d saying %q", e.Code, e.Kind, err, c.code, c.kind, c.says)
			}
		})
	}
}

func TestComparisonJSON(t *testing.T) {
	c := compare(t, sleepTable(t), Options{Control: "1"})
	b, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	var got map[string]any
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	k := got["contrasts"].([]any)[0].(map[string]any)
	if got["block_variance"] != nil || k["equivalence_p"] != nil || k["verdict"] != nil {
		t.Errorf("block variance, equivalence p and verdict should be null: %s", b)
	}
	if got["n"] != 20.0 || got["n_blocks"] != 10.0 || got["format"] != CompareFormat {
		t.Errorf("counts or format: %s", b)
	}
}
