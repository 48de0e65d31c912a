// Package fault holds the one error type and the one note type of trivet.
//
// An [Error] says what was wrong, where (file, line, column, row, field),
// which value caused it and what to do about it. A [Note] says something a
// reader of a result must know: an assumption, a limit, a caution. Results
// carry notes; they are shown and never stop the work.
package fault

import (
	"errors"
	"fmt"
	"strings"
)

// Kind tells the caller's side of an error and so its exit status.
type Kind int

const (
	// Content means the input was read but what it says cannot be used: a
	// non-number, a single block, a corrupt file. Exit status 1.
	Content Kind = iota
	// Usage means the request itself was wrong: a flag, a missing file, a
	// column or level name that does not exist. Exit status 2.
	Usage
	// Internal means a fault of trivet itself. Exit status 1.
	Internal
)

// Code is a stable, machine-readable name such as "temperature-unit".
type Code string

// Error is a mistake in something trivet was given. The zero values of the
// position fields mean "not applicable". Line, Column and Row count from 1;
// Row is a record number of a table, header not counted.
type Error struct {
	Kind    Kind
	Code    Code
	Message string // what was wrong, one sentence without a full stop
	File    string
	Line    int
	Column  int
	Row     int
	Field   string // field, column or flag name
	Value   string // the offending value as it was written
	Fix     string // what would be right
	Err     error  // the cause, if any
}

// New returns a Content error.
func New(code Code, format string, args ...any) *Error {
	return &Error{Code: code, Message: fmt.Sprintf(format, args...)}
}

// BadUsage returns a Usage error.
func BadUsage(code Code, format string, args ...any) *Error {
	return &Error{Kind: Usage, Code: code, Message: fmt.Sprintf(format, args...)}
}

// In returns a copy placed in a file. An already known file is kept.
func (e *Error) In(file string) *Error {
	c := *e
	if c.File == "" {
		c.File = file
	}
	return &c
}

// At returns a copy placed at a line and column.
func (e *Error) At(line, column int) *Error { c := *e; c.Line, c.Column = line, column; return &c }

// AtRow returns a copy placed at a table row.
func (e *Error) AtRow(row int) *Error { c := *e; c.Row = row; return &c }

// On returns a copy naming the field and the value as written.
func (e *Error) On(field, value string) *Error { c := *e; c.Field, c.Value = field, value; return &c }

// WithFix returns a copy saying what would be right.
func (e *Error) WithFix(format string, args ...any) *Error {
	c := *e
	c.Fix = fmt.Sprintf(format, args...)
	return &c
}

// Wrap returns a copy carrying its cause.
func (e *Error) Wrap(err error) *Error { c := *e; c.Err = err; return &c }

// Where renders the position as "file:line:column, row 7, field x"; empty
// if nothing is known.
func (e *Error) Where() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		if e.File == "" {
			b.WriteString("line ")
		} else {
			b.WriteString(":")
		}
		fmt.Fprintf(&b, "%d", e.Line)
		if e.Column > 0 {
			fmt.Fprintf(&b, ":%d", e.Column)
		}
	}
	part := func(s string) {
		if b.Len() > 0 {
			b.WriteString(", ")
		}
		b.WriteString(s)
	}
	if e.Row > 0 {
		part(fmt.Sprintf("row %d", e.Row))
	}
	if e.Field != "" {
		part(e.Field)
	}
	return b.String()
}

// Error renders one line: where, what, the value and what to do.
func (e *Error) Error() string {
	var b strings.Builder
	if w := e.Where(); w != "" {
		b.WriteString(w + ": ")
	}
	b.WriteString(e.Message)
	if e.Value != "" && !strings.Contains(e.Message, e.Value) {
		fmt.Fprintf(&b, " (got %q)", clip(e.Value))
	}
	if e.Fix != "" {
		b.WriteString("; " + e.Fix)
	}
	if e.Err != nil {
		fmt.Fprintf(&b, ": %v", e.Err)
	}
	return b.String()
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

// clip keeps a quoted value short enough for a terminal line.
func clip(s string) string {
	const most = 80
	r := []rune(s)
	if len(r) <= most {
		return s
	}
	return string(r[:most]) + "…"
}

// List is several errors found in one pass over one input.
type List []*Error

// Error renders one error per line.
func (l List) Error() string {
	lines := make([]string, len(l))
	for i, e := range l {
		lines[i] = e.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap lets errors.As find the members.
func (l List) Unwrap() []error {
	out := make([]error, len(l))
	for i, e := range l {
		out[i] = e
	}
	return out
}

// Err returns the list as an error, or nil when it is empty.
func (l List) Err() error {
	if len(l) == 0 {
		return nil
	}
	return l
}

// As returns the first *Error in err's tree, or nil.
func As(err error) *Error {
	var e *Error
	if errors.As(err, &e) {
		return e
	}
	return nil
}

// Note is a remark a reader of a result must see. Code is stable; Text is a
// plain sentence.
type Note struct {
	Code Code   `json:"code"`
	Text string `json:"text"`
}

// Notef builds a note.
func Notef(code Code, format string, args ...any) Note {
	return Note{Code: code, Text: fmt.Sprintf(format, args...)}
}
