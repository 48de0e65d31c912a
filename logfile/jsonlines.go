package logfile

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"trivet/fault"
)

// A log of JSON Lines (one object a line, UTF-8, RFC 8259) is read as the
// table its objects make: a column for each name, nested names joined by a
// point. The columns are those of the first lines; names that come later are
// told in a note. A line that is no object keeps its place as an empty row, so
// that records stay countable.
type jsonLines struct {
	in      *bufio.Reader
	limits  Limits
	columns []string
	index   map[string]int
	row     int
	account Account
	late    map[string]int
	later   int      // values of names that are not even counted one by one
	lists   []string // names whose lists are left out
	read    int      // lines read
	torn    int      // the line, from 1, that had no line end; 0 if none
}

const jsonHeadLines = 1000

// BadJSON is a line of a JSON Lines log that is no object.
const BadJSON ProblemKind = "bad-json"

// looksLikeJSONLines tells whether the text begins with an object.
func looksLikeJSONLines(head []byte) bool {
	head = bytes.TrimLeft(head, " \t\r\n")
	return len(head) > 1 && head[0] == '{' && bytes.ContainsAny(head[1:min(len(head), 64)], `"}`)
}

// table writes the objects as CSV.
func (j *jsonLines) table(w io.Writer) error {
	j.index, j.late = map[string]int{}, map[string]int{}
	var head []flat
	var size int
	for len(head) < jsonHeadLines && size < blockBytes {
		line, err := j.line()
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		if len(line) > 0 {
			size += len(line)
			o := flatObject(line, j.limits.MaxColumns)
			for _, n := range o.names {
				if _, known := j.index[n]; !known {
					j.index[n] = len(j.columns)
					j.columns = append(j.columns, n)
				}
			}
			if len(j.columns) > j.limits.MaxColumns {
				return fault.New("log-columns", "the objects have more than %d names", j.limits.MaxColumns).WithFix("leave out names, or raise the limit")
			}
			head = append(head, o)
		}
		if err != nil {
			break
		}
	}
	if len(j.columns) == 0 {
		return fault.New("log-no-table", "no rows were found: neither is each line a JSON object with values, nor does an array of objects or of rows stand near the beginning").
			WithFix("write one object a line, or an array of objects")
	}
	out := bufio.NewWriterSize(w, 64<<10)
	writeRow(out, j.columns)
	cells := make([]string, len(j.columns))
	for _, o := range head {
		j.write(out, cells, o)
	}
	head = nil
	for {
		line, err := j.line()
		if len(line) > 0 {
			j.write(out, cells, flatObject(line, j.limits.MaxColumns))
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
	}
	if len(j.lists) > 0 {
		j.account.note("log-lists", "names that hold lists were left out: %s", strings.Join(j.lists, ", "))
	}
	names := make([]string, 0, len(j.late))
	for n := range j.late {
		names = append(names, n)
	}
	slices.Sort(names)
	for _, n := range names {
		j.account.note("log-late-name", "the name %q comes first after line %d and was left out of %d rows", n, jsonHeadLines, j.late[n])
	}
	if j.later > 0 {
		j.account.note("log-late-name", "more names come first after line %d; %d values of theirs were left out", jsonHeadLines, j.later)
	}
	return out.Flush()
}

// line reads the next line that is not blank.
func (j *jsonLines) line() ([]byte, error) {
	for {
		var line []byte
		for {
			part, err := j.in.ReadSlice('\n')
			line = append(line, part...)
			if len(line) > j.limits.MaxLine {
				return nil, fault.New("log-line", "a row is longer than %d bytes", j.limits.MaxLine).AtRow(j.read + 1)
			}
			if errors.Is(err, bufio.ErrBufferFull) {
				continue
			}
			if errors.Is(err, io.EOF) {
				if line = bytes.TrimSpace(line); len(line) > 0 {
					j.read++
					j.torn = j.read
				}
				return line, io.EOF
			}
			if err != nil {
				return nil, readFault(err)
			}
			break
		}
		if line = bytes.TrimSpace(line); len(line) > 0 {
			j.read++
			return line, nil
		}
	}
}

// write adds a row.
func (j *jsonLines) write(out *bufio.Writer, cells []string, o flat) {
	j.row++
	clear(cells)
	if !o.ok {
		p := Problem{Kind: BadJSON, Row: j.row, Detail: "the line is no JSON object"}
		if j.row == j.torn {
			p.Detail = "the file ends inside this line"
		}
		j.account.add(p)
	}
	for _, n := range o.twice {
		j.account.add(Problem{Kind: RepeatedName, Row: j.row, Column: n, Value: o.values[n], Detail: "the last value is read"})
	}
	for _, n := range o.lists {
		if len(j.lists) < 20 && !slices.Contains(j.lists, n) {
			j.lists = append(j.lists, n)
		}
	}
	for n, v := range o.values {
		if i, ok := j.index[n]; ok {
			cells[i] = v
		} else if _, told := j.late[n]; told || len(j.late) < j.limits.MaxColumns {
			j.late[n]++
		} else {
			j.later++
		}
	}
	writeRow(out, cells)
}

// flat is an object as a row: its names in order, its values as text, the
// names that came twice and those of lists, which are passed over.
type flat struct {
	names        []string
	values       map[string]string
	twice, lists []string
	ok           bool
	most         int
}

// flatObject reads one object; names beyond the most and one more are left.
func flatObject(line []byte, most int) flat {
	line = bytes.TrimSpace(line)
	if len(line) == 0 || line[0] != '{' || !json.Valid(line) {
		return flat{}
	}
	w := jsonWalk{b: line, flat: flat{values: map[string]string{}, most: most}}
	if w.ok = w.object("", 0); !w.ok {
		return flat{}
	}
	return w.flat
}

// mostJSONDepth is how deep objects may lie in each other.
const mostJSONDepth = 16

// jsonWalk goes through an object that was found valid, so that where a value
// ends is told by its signs alone.
type jsonWalk struct {
	flat
	b  []byte
	at int
}

// object reads the object that begins here; it is false where one lies too
// deep.
func (w *jsonWalk) object(prefix string, depth int) bool {
	if depth > mostJSONDepth {
		return false
	}
	for w.at++; w.space() != '}'; w.at++ {
		if len(w.names) > w.most {
			return true
		}
		key, ok := w.text()
		if !ok {
			return false
		}
		w.space()
		w.at++ // the colon
		if !w.value(prefix+key, depth) {
			return false
		}
		if len(w.names) > w.most {
			return true
		}
		if w.space() == '}' {
			break
		}
	}
	w.at++
	return true
}

// value reads the value of a name.
func (w *jsonWalk) value(name string, depth int) bool {
	var value string
	switch w.space() {
	case '{':
		return w.object(name+".", depth+1)
	case '[':
		w.list()
		if !slices.Contains(w.lists, name) {
			w.lists = append(w.lists, name)
		}
		return true
	case '"':
		var ok bool
		if value, ok = w.text(); !ok {
			return false
		}
	default: // a number, a truth value or null
		from := w.at
		for c := w.b[w.at]; c != ',' && c != '}' && c > ' '; c = w.b[w.at] {
			w.at++
		}
		if value = string(w.b[from:w.at]); value == "null" {
			value = ""
		}
	}
	if _, seen := w.values[name]; !seen {
		w.names = append(w.names, name)
	} else if !slices.Contains(w.twice, name) {
		w.twice = append(w.twice, name)
	}
	w.values[name] = value
	return true
}

// space passes white space and is the sign behind it.
func (w *jsonWalk) space() byte {
	for w.b[w.at] <= ' ' {
		w.at++
	}
	return w.b[w.at]
}

// text reads the text that begins here.
func (w *jsonWalk) text() (string, bool) {
	raw := w.quoted()
	if inner := raw[1 : len(raw)-1]; bytes.IndexByte(inner, '\\') < 0 && utf8.Valid(inner) {
		return string(inner), true
	}
	var s string
	err := json.Unmarshal(raw, &s)
	return s, err == nil
}

// quoted passes a text, quotes and all.
func (w *jsonWalk) quoted() []byte {
	from := w.at
	for w.at++; w.b[w.at] != '"'; w.at++ {
		if w.b[w.at] == '\\' {
			w.at++
		}
	}
	w.at++
	return w.b[from:w.at]
}

// list passes a list.
func (w *jsonWalk) list() {
	for depth := 0; ; {
		switch w.b[w.at] {
		case '"':
			w.quoted()
			continue
		case '[', '{':
			depth++
		case ']', '}':
			depth--
		}
		if w.at++; depth == 0 {
			return
		}
	}
}

// writeRow writes cells by RFC 4180. A row of empty cells is quoted, so that
// it does not pass for a blank line.
func writeRow(w *bufio.Writer, cells []string) error {
	for i, c := range cells {
		if i > 0 {
			w.WriteByte(',') // an error stays with the writer
		}
		if strings.ContainsAny(c, "\",\r\n") || c == "" && len(cells) == 1 {
			w.WriteByte('"')
			w.WriteString(strings.ReplaceAll(c, `"`, `""`))
			w.WriteByte('"')
			continue
		}
		w.WriteString(c)
	}
	return w.WriteByte('\n')
}
