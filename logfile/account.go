package logfile

import (
	"fmt"
	"slices"
	"strings"

	"trivet/fault"
)

// ProblemKind names what was wrong with a cell or a row.
type ProblemKind string

// Kinds of problem. A cell that cannot be read becomes a missing sample; a
// row that cannot be placed is kept out. Both are accounted for.
const (
	NotANumber     ProblemKind = "not-a-number"    // cell missing
	NotATime       ProblemKind = "not-a-time"      // row kept out
	MixedUnit      ProblemKind = "mixed-unit"      // cell missing: another unit than the column's
	NULBytes       ProblemKind = "nul-bytes"       // cell missing
	ShortRow       ProblemKind = "short-row"       // too few cells, the others missing
	LongRow        ProblemKind = "long-row"        // too many cells, the extra ones left out
	RepeatedHeader ProblemKind = "repeated-header" // row kept out
	DuplicateTime  ProblemKind = "duplicate-time"  // row kept out
	OutOfOrder     ProblemKind = "out-of-order"    // row kept out: earlier than one before it
	StrayTime      ProblemKind = "stray-time"      // row kept out: later than the rows behind it
	ClockJump      ProblemKind = "clock-jump"      // the clock went back for good; says by how much
	UnmappedName   ProblemKind = "unmapped-name"   // row kept out: a long log names a channel the map does not
	CutOff         ProblemKind = "cut-off"         // the last row is incomplete, row kept out
	OtherSession   ProblemKind = "other-session"   // row kept out: the file holds several logs, this is another
	BadQuote       ProblemKind = "bad-quote"       // text behind a closing quote, read as it stands

	RepeatedName      ProblemKind = "repeated-name"       // a JSON object has one name twice: the last value is read
	BelowAbsoluteZero ProblemKind = "below-absolute-zero" // cell missing: no temperature
	MayBeCut          ProblemKind = "may-be-cut"          // the file ends without a line end: its last cell may lack digits
	MayBeDecimal      ProblemKind = "may-be-decimal"      // of a followed log: read as thousands, which its column alone could tell from decimals
	PackingCut        ProblemKind = "packing-cut"         // a packed file breaks off here: rows behind are lost
)

// RowOut tells whether rows of the problem are not in the table.
func (k ProblemKind) RowOut() bool {
	switch k {
	case NotATime, RepeatedHeader, DuplicateTime, OutOfOrder, StrayTime, UnmappedName, CutOff, OtherSession:
		return true
	}
	return false
}

// Problem is one cell or row that was not as it should be, or a run of
// neighbouring rows with the same problem. Rows count records from 1, header
// not counted; Line is the line of the first in the file, 0 when unknown.
type Problem struct {
	Kind    ProblemKind `json:"kind"`
	Row     int         `json:"row"`
	LastRow int         `json:"last_row"`
	Line    int         `json:"line,omitempty"`
	Column  string      `json:"column,omitempty"`
	Value   string      `json:"value,omitempty"` // as written, shortened
	Detail  string      `json:"detail,omitempty"`
}

// Rows is how many rows the problem spans.
func (p Problem) Rows() int { return p.LastRow - p.Row + 1 }

// String renders the problem as one line.
func (p Problem) String() string {
	var b strings.Builder
	if p.LastRow > p.Row {
		fmt.Fprintf(&b, "rows %d–%d", p.Row, p.LastRow)
	} else {
		fmt.Fprintf(&b, "row %d", p.Row)
	}
	if p.Line > 0 {
		fmt.Fprintf(&b, " (line %d)", p.Line)
	}
	if p.Column != "" {
		fmt.Fprintf(&b, ", column %q", p.Column)
	}
	fmt.Fprintf(&b, ": %s", p.Kind)
	if p.Value != "" {
		fmt.Fprintf(&b, " %q", p.Value)
	}
	if p.Detail != "" {
		b.WriteString(", " + p.Detail)
	}
	return b.String()
}

// MostProblems is how many runs of problems an account lists; beyond it they
// are only counted.
const MostProblems = 10_000

// Account tells what became of every row that was read.
type Account struct {
	Rows     int                 `json:"rows"`     // records read
	Kept     int                 `json:"kept"`     // records in the result
	Empty    int                 `json:"empty"`    // cells left empty
	Problems []Problem           `json:"problems"` // in order of row
	Counts   map[ProblemKind]int `json:"counts"`   // rows of each kind, unlisted ones too
	Unlisted int                 `json:"unlisted"` // runs beyond MostProblems
	// Columns counts the rows of each kind by the column they are told of.
	Columns map[string]map[ProblemKind]int `json:"columns,omitempty"`
	Gaps    []RowGap                       `json:"gaps,omitempty"`
	Notes   []fault.Note                   `json:"notes,omitempty"`
}

// RowGap is a step in time much longer than the others.
type RowGap struct {
	Row     int     `json:"row"` // the row after the gap
	Seconds float64 `json:"seconds"`
	Channel string  `json:"channel,omitempty"` // of a long log, as its rows name it
}

// String renders the gap as one line.
func (g RowGap) String() string {
	s := fmt.Sprintf("gap of %s before row %d", gapWords(g.Seconds), g.Row)
	if g.Channel != "" {
		s += fmt.Sprintf(" of channel %q", g.Channel)
	}
	return s
}

// gapWords prints seconds, and hours or days where those are long.
func gapWords(s float64) string {
	switch {
	case s < 2*3600:
		return fmt.Sprintf("%.4g s", s)
	case s < 2*86400:
		return fmt.Sprintf("%.3g h", s/3600)
	}
	return fmt.Sprintf("%.0f days", s/86400)
}

// add records a problem, joined to the one before where it continues it.
func (a *Account) add(p Problem) {
	if p.LastRow == 0 {
		p.LastRow = p.Row
	}
	p.Value = clip(p.Value)
	a.count(p.Kind, p.Column, p.Rows())
	for i := len(a.Problems) - 1; i >= 0 && i >= len(a.Problems)-16; i-- {
		q := &a.Problems[i]
		if q.Kind == p.Kind && q.Column == p.Column && q.Value == p.Value && q.Detail == p.Detail && q.LastRow+1 == p.Row {
			q.LastRow = p.LastRow
			return
		}
	}
	if len(a.Problems) >= MostProblems {
		a.Unlisted++
		return
	}
	a.Problems = append(a.Problems, p)
}

// count adds rows of a kind, listed or not.
func (a *Account) count(kind ProblemKind, column string, n int) {
	if a.Counts == nil {
		a.Counts = map[ProblemKind]int{}
	}
	add := func(counts map[ProblemKind]int) {
		if counts[kind] += n; counts[kind] == 0 {
			delete(counts, kind)
		}
	}
	add(a.Counts)
	if column == "" {
		return
	}
	if a.Columns == nil {
		a.Columns = map[string]map[ProblemKind]int{}
	}
	if a.Columns[column] == nil {
		a.Columns[column] = map[ProblemKind]int{}
	}
	add(a.Columns[column])
}

// join adds the account of a block whose rows and lines begin behind the
// given ones.
func (a *Account) join(b *Account, rows, lines int) {
	var listed Account
	for _, p := range b.Problems {
		listed.count(p.Kind, p.Column, p.Rows())
		p.Row, p.LastRow = p.Row+rows, p.LastRow+rows
		if p.Line > 0 {
			p.Line += lines
		}
		a.add(p)
	}
	a.Unlisted += b.Unlisted
	for column, kinds := range b.Columns {
		for kind, n := range kinds {
			if more := n - listed.Columns[column][kind]; more != 0 {
				a.count(kind, column, more)
				listed.count(kind, "", more)
			}
		}
	}
	for kind, n := range b.Counts {
		if more := n - listed.Counts[kind]; more != 0 {
			a.count(kind, "", more)
		}
	}
}

// sort puts the problems in order of row.
func (a *Account) sort() {
	slices.SortStableFunc(a.Problems, func(p, q Problem) int { return p.Row - q.Row })
}

func (a *Account) note(code fault.Code, format string, args ...any) {
	a.Notes = append(a.Notes, fault.Notef(code, format, args...))
}

// clip keeps a quoted cell short.
func clip(s string) string {
	const most = 60
	if len(s) <= most {
		return s
	}
	r := []rune(s[:most])
	return string(r[:max(len(r)-3, 0)]) + "…"
}
