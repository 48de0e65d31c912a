package tasting

import (
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"trivet/fault"
)

// Records is a text table with a header, as a spreadsheet saves it. Columns
// are found by name, case aside.
//
//	choice     assessor, correct                       [sureness]
//	response   assessor, product or pair, answer       [sureness]
//	others     assessor, product, value (or rank, score) [attribute, position, round, comment]
type Records struct {
	Name    string // for messages
	Columns []string
	Rows    [][]string
	Lines   []int // line of each row in the file; nil if unknown
}

// column finds the first of several names; −1 when none is there.
func (r Records) column(names ...string) int {
	for _, n := range names {
		for i, c := range r.Columns {
			if strings.EqualFold(strings.TrimSpace(c), n) {
				return i
			}
		}
	}
	return -1
}

func (r Records) need(names ...string) (int, error) {
	if i := r.column(names...); i >= 0 {
		return i, nil
	}
	return -1, fault.BadUsage("column-unknown", "the table has no column %q", names[0]).In(r.Name).
		WithFix("it has %s; rename one to %s", strings.Join(r.Columns, ", "), strings.Join(names, " or "))
}

// at places an error in a row.
func (r Records) at(e *fault.Error, row int) *fault.Error {
	e = e.In(r.Name)
	if row < len(r.Lines) {
		return e.At(r.Lines[row], 0)
	}
	return e.AtRow(row + 1)
}

func (r Records) cell(row, col int) string {
	if col < 0 || col >= len(r.Rows[row]) {
		return ""
	}
	return strings.TrimSpace(r.Rows[row][col])
}

// number reads a cell; a decimal comma is understood.
func (r Records) number(row, col int) (float64, error) {
	s := r.cell(row, col)
	t := s
	if strings.Count(t, ",") == 1 && !strings.Contains(t, ".") {
		t = strings.Replace(t, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, r.at(fault.New("not-a-number", "this is not a number").On(r.Columns[col], s).WithFix("write a plain number"), row)
	}
	return v, nil
}

func (r Records) sureness(row, col int) (int, error) {
	if r.cell(row, col) == "" {
		return 0, nil
	}
	v, err := r.number(row, col)
	if err != nil {
		return 0, err
	}
	if v != math.Trunc(v) || v < 1 || v > 9 {
		return 0, r.at(fault.New("sureness-range", "sureness is a whole number from 1, a guess, upwards").On(r.Columns[col], r.cell(row, col)).WithFix("1 to %d", len(SurenessWords())), row)
	}
	return int(v), nil
}

// ChoiceTable counts a table of right and wrong answers.
func (r Records) ChoiceTable() (*Choices, error) {
	who, err := r.need("assessor")
	if err != nil {
		return nil, err
	}
	correct, err := r.need("correct", "right")
	if err != nil {
		return nil, err
	}
	sure := r.column("sureness", "sure")
	out := &Choices{}
	at := map[string]int{}
	grades := map[int]*SureRow{}
	for i := range r.Rows {
		name := r.cell(i, who)
		if name == "" {
			return nil, r.at(fault.New("row-incomplete", "the row names no assessor").WithFix("fill in the pseudonym"), i)
		}
		ok, err := r.yes(i, correct, []string{"1", "yes", "true", "right"}, []string{"0", "no", "false", "wrong"})
		if err != nil {
			return nil, err
		}
		k, seen := at[name]
		if !seen {
			k = len(out.Replicates)
			at[name] = k
			out.Replicates = append(out.Replicates, Replicate{Assessor: name})
		}
		g, err := r.sureness(i, sure)
		if err != nil {
			return nil, err
		}
		out.Replicates[k].N++
		out.N++
		if ok {
			out.Replicates[k].Correct++
			out.Correct++
		}
		out.Right = append(out.Right, ok)
		if g > 0 {
			if grades[g] == nil {
				grades[g] = &SureRow{Sureness: g}
			}
			grades[g].N++
			grades[g].Correct += b2i(ok)
		}
	}
	for g := 1; g <= 9; g++ {
		if grades[g] != nil {
			out.Sure = append(out.Sure, *grades[g])
		}
	}
	out.Assessors = len(out.Replicates)
	return out, nil
}

func (r Records) yes(row, col int, yes, no []string) (bool, error) {
	s := strings.ToLower(r.cell(row, col))
	switch {
	case slices.Contains(yes, s):
		return true, nil
	case slices.Contains(no, s):
		return false, nil
	}
	return false, r.at(fault.New("answer-unknown", "this is not one of the answers").On(r.Columns[col], r.cell(row, col)).
		WithFix("write %s or %s", yes[0], no[0]), row)
}

// ResponseTable reads judgements of single samples (product: A or not A) or
// pairs (pair: same or different).
func (r Records) ResponseTable(m ResponseMethod) ([]ResponseAnswer, error) {
	who, err := r.need("assessor")
	if err != nil {
		return nil, err
	}
	what, err := r.need("product", "pair", "sample")
	if err != nil {
		return nil, err
	}
	answer, err := r.need("answer", "response")
	if err != nil {
		return nil, err
	}
	sure := r.column("sureness", "sure")
	w := responseWords(m)
	yes, no := []string{strings.ToLower(w[1])}, []string{strings.ToLower(w[0])}
	if _, ok := m.(ANotA); ok {
		yes = append(yes, "not-a", "nota", "b")
	}
	var out []ResponseAnswer
	for i := range r.Rows {
		a := ResponseAnswer{Assessor: r.cell(i, who)}
		if a.Assessor == "" {
			return nil, r.at(fault.New("row-incomplete", "the row names no assessor").WithFix("fill in the pseudonym"), i)
		}
		if a.Signal, err = r.yes(i, what, yes, no); err != nil {
			return nil, err
		}
		if a.Yes, err = r.yes(i, answer, yes, no); err != nil {
			return nil, err
		}
		if a.Sureness, err = r.sureness(i, sure); err != nil {
			return nil, err
		}
		out = append(out, a)
	}
	return out, nil
}

// RowTable reads judgements for a TableMethod.
func (r Records) RowTable(m TableMethod) ([]Row, error) {
	who, err := r.need("assessor")
	if err != nil {
		return nil, err
	}
	what, err := r.need("product", "sample")
	if err != nil {
		return nil, err
	}
	d := m.Describe()
	names := []string{"value", "score", "liking", "rating"}
	if d.Kind == KindRank {
		names = []string{"rank", "value"}
	}
	if d.Kind == KindChecks {
		names = []string{"checked", "ticked", "value"}
	}
	value := r.column(names...)
	if value < 0 && d.Kind != KindWords {
		_, err := r.need(names...)
		return nil, err
	}
	attribute, position, round := r.column("attribute", "word"), r.column("position"), r.column("round", "replicate")
	text := r.column("comment", "text")
	if d.Kind == KindWords && text < 0 {
		_, err := r.need("comment", "text")
		return nil, err
	}
	var out []Row
	for i := range r.Rows {
		row := Row{Assessor: r.cell(i, who), Product: r.cell(i, what), Attribute: r.cell(i, attribute), Text: r.cell(i, text), Round: 1}
		if row.Assessor == "" || row.Product == "" {
			return nil, r.at(fault.New("row-incomplete", "the row names no assessor or no product").WithFix("fill in both"), i)
		}
		if value >= 0 {
			if row.Value, err = r.number(i, value); err != nil {
				return nil, err
			}
		}
		for _, c := range []struct {
			col int
			to  *int
		}{{position, &row.Position}, {round, &row.Round}} {
			if r.cell(i, c.col) != "" {
				v, err := r.number(i, c.col)
				if err != nil {
					return nil, err
				}
				*c.to = int(v)
			}
		}
		out = append(out, row)
	}
	return out, nil
}

// Answers reads the ballots of a session from a table: one row a tray for
// choice and response methods (tray, assessor, choice or answer), one row a
// sample for the others (tray, assessor, code, and rank, value, checked or
// comment, with attribute). Ids are drawn from the random source.
func (r Records) Answers(s *Session, random io.Reader) ([]Answer, error) {
	m, err := Lookup(s.Method)
	if err != nil {
		return nil, err
	}
	kind := m.Describe().Kind
	tray, err := r.need("tray")
	if err != nil {
		return nil, err
	}
	who, err := r.need("assessor")
	if err != nil {
		return nil, err
	}
	content := map[Kind][]string{KindChoice: {"choice", "code"}, KindResponse: {"answer", "response"}, KindRank: {"rank", "value"},
		KindScale: {"value", "score"}, KindChecks: {"checked", "value"}, KindWords: {"comment"}}[kind]
	what, err := r.need(content...)
	if err != nil {
		return nil, err
	}
	code := -1
	if kind != KindChoice && kind != KindResponse {
		if code, err = r.need("code"); err != nil {
			return nil, err
		}
	}
	attribute, sure, comment := r.column("attribute", "word"), r.column("sureness", "sure"), r.column("comment")
	var out []Answer
	index := map[string]int{}
	for i := range r.Rows {
		n := r.cell(i, tray)
		at := slices.IndexFunc(s.Trays, func(t Tray) bool { return strconv.Itoa(t.Tray) == n })
		if at < 0 {
			return nil, r.at(fault.New("ballot-unknown", "this tasting has no such tray").On(r.Columns[tray], n).WithFix("trays run from 1 to %d", len(s.Trays)), i)
		}
		k, seen := index[n]
		if seen && code < 0 {
			return nil, r.at(fault.New("ballot-duplicate", "tray %s is answered twice", n).WithFix("keep the first answer and note the change as a deviation"), i)
		}
		if !seen {
			id, err := uuid.NewRandomFromReader(random)
			if err != nil {
				return nil, err
			}
			k = len(out)
			index[n] = k
			out = append(out, Answer{ID: id.String(), Set: s.Trays[at].Set, Assessor: r.cell(i, who)})
		}
		a := &out[k]
		if a.Sureness, err = r.sureness(i, sure); err != nil {
			return nil, err
		}
		if kind != KindWords && r.cell(i, comment) != "" {
			a.Comment = r.cell(i, comment)
		}
		if err := r.fill(a, kind, i, what, code, attribute); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (r Records) fill(a *Answer, kind Kind, i, what, code, attribute int) error {
	c := r.cell(i, code)
	switch kind {
	case KindChoice:
		a.Choice = strings.FieldsFunc(r.cell(i, what), func(x rune) bool { return x == ' ' || x == '+' || x == ';' || x == '/' })
		return nil
	case KindResponse:
		a.Response = r.cell(i, what)
		return nil
	case KindWords:
		if a.Words == nil {
			a.Words = map[string]string{}
		}
		a.Words[c] = r.cell(i, what)
		return nil
	}
	v, err := r.number(i, what)
	if err != nil {
		return err
	}
	switch kind {
	case KindRank:
		if a.Ranks == nil {
			a.Ranks = map[string]float64{}
		}
		a.Ranks[c] = v
	case KindScale:
		if a.Values == nil {
			a.Values = map[string]map[string]float64{}
		}
		name := r.cell(i, attribute)
		if a.Values[name] == nil {
			a.Values[name] = map[string]float64{}
		}
		a.Values[name][c] = v
	case KindChecks:
		if a.Checks == nil {
			a.Checks = map[string][]string{}
		}
		if v != 0 {
			a.Checks[c] = append(a.Checks[c], r.cell(i, attribute))
		}
	}
	return nil
}
