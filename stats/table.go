package stats

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"trivet/fault"
)

// Column is a categorical column: one label per row of a [Table].
type Column struct {
	Name   string
	Labels []string
}

// Covariate is a numeric column measured before the treatment (thickness,
// mass, start temperature).
type Covariate struct {
	Name   string
	Values []float64
}

// Table holds one response per row and the labels that say where it came
// from. Response and Treatment are required and all columns are equally long;
// an absent column is nil.
type Table struct {
	Response  []float64
	Treatment []string
	// Block labels the lot, animal, batch or day inside which treatments were
	// randomised. Labels are compared as written.
	Block []string
	// Piece labels the experimental unit. Rows with the same piece, block,
	// treatment and factors are averaged and count as one.
	Piece      []string
	Factors    []Column    // further categorical columns, used when [Options.Also] names them
	Covariates []Covariate // numeric columns, used when [Options.Covariates] names them
	// Names of the columns as the user knows them, for messages. Empty means
	// "response", "treatment", "block", "piece".
	ResponseName, TreatmentName, BlockName, PieceName string
}

// NewTable builds a table from plain slices; block may be nil.
func NewTable(response []float64, treatment, block []string) Table {
	return Table{Response: response, Treatment: treatment, Block: block}
}

// Len is the number of rows.
func (t Table) Len() int { return len(t.Response) }

// name returns given or the fallback when given is empty.
func name(given, fallback string) string {
	if given != "" {
		return given
	}
	return fallback
}

// Check reports the first thing that makes the table unusable: columns of
// unequal length, a response that is no finite number, an empty label.
func (t Table) Check() error {
	n := len(t.Response)
	response := name(t.ResponseName, "response")
	if n == 0 {
		return fault.New("table-empty", "the table has no rows").WithFix("give at least two treatments, each measured at least twice")
	}
	for i, y := range t.Response {
		if math.IsNaN(y) || math.IsInf(y, 0) {
			return fault.New("response-not-finite", "the response is not a number").AtRow(i+1).
				On(response, strconv.FormatFloat(y, 'g', -1, 64)).
				WithFix("leave the row out if the cook was lost, and log the reason")
		}
	}
	labelled := func(column string, labels []string, required bool) error {
		if labels == nil && !required {
			return nil
		}
		if len(labels) != n {
			return fault.New("column-length", "column %q has %d values, the response has %d", column, len(labels), n).
				WithFix("give one value per row")
		}
		if i := slices.Index(labels, ""); i >= 0 {
			return fault.New("label-missing", "column %q is empty", column).AtRow(i+1).On(column, "").
				WithFix("write the label, or leave the row out")
		}
		return nil
	}
	if err := labelled(name(t.TreatmentName, "treatment"), t.Treatment, true); err != nil {
		return err
	}
	if err := labelled(name(t.BlockName, "block"), t.Block, false); err != nil {
		return err
	}
	if err := labelled(name(t.PieceName, "piece"), t.Piece, false); err != nil {
		return err
	}
	for _, f := range t.Factors {
		if err := labelled(f.Name, f.Labels, true); err != nil {
			return err
		}
	}
	for _, c := range t.Covariates {
		if len(c.Values) != n {
			return fault.New("column-length", "column %q has %d values, the response has %d", c.Name, len(c.Values), n).
				WithFix("give one value per row")
		}
		for i, x := range c.Values {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return fault.New("covariate-not-finite", "the covariate is not a number").AtRow(i+1).
					On(c.Name, strconv.FormatFloat(x, 'g', -1, 64)).
					WithFix("give the value, or leave the covariate out")
			}
		}
	}
	return nil
}

// factor is a column coded as indices into its sorted levels.
type factor struct {
	levels []string
	index  []int
}

// newFactor codes labels. Levels sort as numbers when all are numbers and as
// text otherwise, so the result does not depend on the order of the rows.
func newFactor(labels []string) factor {
	levels := slices.Clone(labels)
	slices.Sort(levels)
	levels = slices.Compact(levels)
	if scores, ok := numericScores(levels); ok {
		order := seq(len(levels))
		slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(scores[a], scores[b]) })
		byValue := make([]string, len(levels))
		for i, k := range order {
			byValue[i] = levels[k]
		}
		levels = byValue
	}
	place := make(map[string]int, len(levels))
	for i, l := range levels {
		place[l] = i
	}
	f := factor{levels: levels, index: make([]int, len(labels))}
	for i, l := range labels {
		f.index[i] = place[l]
	}
	return f
}

// numericScores reads every level as a finite number.
func numericScores(levels []string) ([]float64, bool) {
	scores := make([]float64, len(levels))
	for i, l := range levels {
		v, err := strconv.ParseFloat(strings.TrimSpace(l), 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, false
		}
		scores[i] = v
	}
	return scores, true
}

// levelScores are the levels as numbers, or 1, 2, 3 … when they are words.
func levelScores(levels []string) []float64 {
	if scores, ok := numericScores(levels); ok {
		return scores
	}
	return floats(seq(len(levels) + 1)[1:])
}
