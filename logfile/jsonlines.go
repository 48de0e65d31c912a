package logfile

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"strings"

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
	read    int // lines read
	torn    int // the line, from 1, that had no line end; 0 if none
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
	var head []map[string]string
	var ok []bool
	var size int
	for len(head) < jsonHeadLines && size < blockBytes {
		line, err := j.line()
		if err != nil && !errors.Is(err, io.EOF) {
			return err
		}
		if len(line) > 0 {
			size += len(line)
			names, obj, good := flatObject(line)
			for _, n := range names {
				if _, known := j.index[n]; !known {
					j.index[n] = len(j.columns)
					j.columns = append(j.columns, n)
				}
			}
			if len(j.columns) > j.limits.MaxColumns {
				return fault.New("log-columns", "the objects have more than %d names", j.limits.MaxColumns).WithFix("leave out names, or raise the limit")
			}
			head, ok = append(head, obj), append(ok, good)
		}
		if err != nil {
			break
		}
	}
	if len(j.columns) == 0 {
		return fault.New("log-no-table", "no line is a JSON object with values").WithFix("write one object a line")
	}
	out := bufio.NewWriterSize(w, 64<<10)
	writeRow(out, j.columns)
	cells := make([]string, len(j.columns))
	for i, obj := range head {
		j.write(out, cells, obj, ok[i])
	}
	for {
		line, err := j.line()
		if len(line) > 0 {
			_, obj, good := flatObject(line)
			j.write(out, cells, obj, good)
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
	}
	names := make([]string, 0, len(j.late))
	for n := range j.late {
		names = append(names, n)
	}
	slices.Sort(names)
	for _, n := range names {
		j.account.note("log-late-name", "the name %q comes first after line %d and was left out of %d rows", n, jsonHeadLines, j.late[n])
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
func (j *jsonLines) write(out *bufio.Writer, cells []string, obj map[string]string, good bool) {
	j.row++
	clear(cells)
	if !good {
		p := Problem{Kind: BadJSON, Row: j.row, Detail: "the line is no JSON object"}
		if j.row == j.torn {
			p.Detail = "the file ends inside this line"
		}
		j.account.add(p)
	}
	for n, v := range obj {
		if i, ok := j.index[n]; ok {
			cells[i] = v
		} else {
			j.late[n]++
		}
	}
	writeRow(out, cells)
}

// flatObject reads one object: its names in order and its values as text.
func flatObject(line []byte) (names []string, values map[string]string, ok bool) {
	d := json.NewDecoder(bytes.NewReader(line))
	d.UseNumber()
	values = map[string]string{}
	names, ok = flatten(d, "", nil, values, 0)
	if _, err := d.Token(); ok && !errors.Is(err, io.EOF) {
		ok = false
	}
	if !ok {
		return nil, nil, false
	}
	return names, values, true
}

// flatten reads the object that comes next; arrays are passed over.
func flatten(d *json.Decoder, prefix string, names []string, values map[string]string, depth int) ([]string, bool) {
	if t, err := d.Token(); err != nil || t != json.Delim('{') || depth > 16 {
		return names, false
	}
	for d.More() {
		t, err := d.Token()
		key, isKey := t.(string)
		if err != nil || !isKey {
			return names, false
		}
		name := prefix + key
		var raw json.RawMessage
		if err := d.Decode(&raw); err != nil {
			return names, false
		}
		raw = bytes.TrimSpace(raw)
		_, seen := values[name]
		switch {
		case len(raw) == 0:
			return names, false
		case raw[0] == '{':
			sub := json.NewDecoder(bytes.NewReader(raw))
			var ok bool
			if names, ok = flatten(sub, name+".", names, values, depth+1); !ok {
				return names, false
			}
			continue
		case raw[0] == '[':
			continue
		case raw[0] == '"':
			var s string
			if err := json.Unmarshal(raw, &s); err != nil {
				return names, false
			}
			values[name] = s
		case string(raw) == "null":
			values[name] = ""
		default:
			values[name] = string(raw)
		}
		if !seen {
			names = append(names, name)
		}
	}
	_, err := d.Token()
	return names, err == nil
}

// writeRow writes cells by RFC 4180. A row of empty cells is quoted, so that
// it does not pass for a blank line.
func writeRow(w *bufio.Writer, cells []string) {
	for i, c := range cells {
		if i > 0 {
			w.WriteByte(',') // an error stays with the writer until Flush
		}
		if strings.ContainsAny(c, "\",\r\n") || c == "" && len(cells) == 1 {
			w.WriteByte('"')
			w.WriteString(strings.ReplaceAll(c, `"`, `""`))
			w.WriteByte('"')
			continue
		}
		w.WriteString(c)
	}
	w.WriteByte('\n')
}
