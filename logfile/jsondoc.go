package logfile

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"

	"trivet/fault"
)

// A JSON document holds its log as one array: of objects, or of rows (arrays
// of plain values, the first of which may name them). The array may stand in
// an object, at any depth; the first is taken. It is read as a stream and
// turned into JSON Lines.

// jsonDocument tells whether the text begins a JSON document that is no JSON
// Lines: an array, or an object that does not end on its line.
func jsonDocument(head []byte) bool {
	head = bytes.TrimLeft(head, " \t\r\n")
	if len(head) < 2 {
		return false
	}
	if head[0] == '[' {
		rest := bytes.TrimLeft(head[1:], " \t\r\n")
		return len(rest) > 0 && (rest[0] == '{' || rest[0] == '[' || rest[0] == ']')
	}
	if !looksLikeJSONLines(head) {
		return false
	}
	line, rest, more := bytes.Cut(head, []byte{'\n'})
	if json.Valid(line) {
		// One object with the log inside it, on a single line.
		return len(bytes.TrimSpace(rest)) == 0 && hasRows(line)
	}
	// The object goes on below its line: one that is torn would be followed by
	// the beginning of another.
	rest = bytes.TrimLeft(rest, " \t\r\n")
	if !more {
		return bytes.Contains(line, []byte("[{")) || bytes.Contains(line, []byte("[["))
	}
	return len(rest) > 0 && rest[0] != '{' && !bytes.ContainsRune(line, ':') || len(rest) > 0 && rest[0] == '"'
}

func hasRows(line []byte) bool {
	return bytes.Contains(line, []byte("[{")) || bytes.Contains(line, []byte("[["))
}

// jsonArray finds the array of a document and writes its elements as lines.
func jsonArray(r io.Reader, w io.Writer, limits Limits) error {
	bad := func(err error) error {
		if fault.As(err) != nil {
			return err
		}
		var syntax *json.SyntaxError
		f := fault.New("log-json", "the JSON document cannot be read").WithFix("write an array of objects, or one object a line").Wrap(err)
		if errors.As(err, &syntax) {
			f.Message += " beyond byte " + jsonNumber(syntax.Offset)
		}
		return f
	}
	in := &lineBounded{r: r, most: limits.MaxLine}
	d := json.NewDecoder(in)
	d.UseNumber()
	// Find the first array that holds objects or arrays.
	for {
		t, err := d.Token()
		if err != nil {
			return bad(err)
		}
		if t != json.Delim('[') || !d.More() {
			continue
		}
		var first json.RawMessage
		if err := d.Decode(&first); err != nil {
			return bad(err)
		}
		if first = bytes.TrimSpace(first); first[0] == '{' || first[0] == '[' {
			return elements(d, first, w, in, limits, bad)
		}
		for d.More() { // an array of plain values
			if err := d.Decode(&first); err != nil {
				return bad(err)
			}
		}
	}
}

func elements(d *json.Decoder, first json.RawMessage, w io.Writer, in *lineBounded, limits Limits, bad func(error) error) error {
	out := bufio.NewWriterSize(w, 64<<10)
	var names []string
	emit := func(raw json.RawMessage) error {
		in.seen = 0
		var line []byte
		if raw[0] == '[' {
			var row []any
			sub := json.NewDecoder(bytes.NewReader(raw))
			sub.UseNumber()
			if err := sub.Decode(&row); err != nil {
				return err
			}
			if len(row) > limits.MaxColumns {
				return fault.New("log-columns", "a row of the JSON array has %d values, at most %d are read", len(row), limits.MaxColumns)
			}
			if names == nil {
				names = make([]string, len(row))
				header := true
				for i, v := range row {
					s, ok := v.(string)
					header = header && ok && s != ""
					names[i] = s
				}
				if header {
					return nil
				}
				for i := range names {
					names[i] = "column " + jsonNumber(int64(i+1))
				}
			}
			var b bytes.Buffer
			b.WriteByte('{')
			for i := len(names); i < len(row); i++ { // a row longer than the first
				names = append(names, "column "+jsonNumber(int64(i+1)))
			}
			for i, v := range row {
				if i > 0 {
					b.WriteByte(',')
				}
				key, _ := json.Marshal(names[i])
				val, err := json.Marshal(v)
				if err != nil {
					return err
				}
				b.Write(key)
				b.WriteByte(':')
				b.Write(val)
			}
			b.WriteByte('}')
			line = b.Bytes()
		} else {
			var b bytes.Buffer
			if err := json.Compact(&b, raw); err != nil {
				return err
			}
			line = b.Bytes()
		}
		out.Write(line) // an error stays with the writer until Flush
		return out.WriteByte('\n')
	}
	if err := emit(first); err != nil {
		return bad(err)
	}
	for d.More() {
		var raw json.RawMessage
		if err := d.Decode(&raw); err != nil {
			if fault.As(err) != nil {
				return err
			}
			// What came before is kept: the last line is torn.
			out.WriteString("{\"torn")
			return out.Flush()
		}
		if raw = bytes.TrimSpace(raw); len(raw) == 0 {
			continue
		}
		if err := emit(raw); err != nil {
			return err
		}
	}
	return out.Flush()
}

func jsonNumber(v int64) string {
	b, _ := json.Marshal(v)
	return string(b)
}

// lineBounded bounds what one element may read.
type lineBounded struct {
	r    io.Reader
	seen int
	most int
}

func (b *lineBounded) Read(p []byte) (int, error) {
	if b.seen > 4*b.most+(1<<16) {
		return 0, fault.New("log-line", "one element of the JSON array is longer than %d bytes", b.most)
	}
	n, err := b.r.Read(p)
	b.seen += n
	return n, err
}

// jsonLinesOf reads a document as JSON Lines.
func jsonLinesOf(r io.Reader, limits Limits) (io.Reader, func()) {
	pr, pw := io.Pipe()
	done := make(chan struct{})
	go func() {
		defer close(done)
		pw.CloseWithError(jsonArray(r, pw, limits))
	}()
	return pr, func() { pr.Close(); <-done }
}
