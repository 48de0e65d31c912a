package study

import (
	"bytes"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"

	"trivet/fault"
)

// offset returns the byte offset of a line and column (in characters).
func (d *Document) offset(line, column int) int {
	at := 0
	if bytes.HasPrefix(d.src, byteOrderMark) {
		at = len(byteOrderMark)
	}
	for ; line > 1; line-- {
		nl := bytes.IndexByte(d.src[at:], '\n')
		if nl < 0 {
			return len(d.src)
		}
		at += nl + 1
	}
	for ; column > 1 && at < len(d.src) && d.src[at] != '\n'; column-- {
		_, size := utf8.DecodeRune(d.src[at:])
		at += size
	}
	return at
}

func (d *Document) tokenOffset(t *token.Token) int {
	return d.offset(t.Position.Line, t.Position.Column)
}

// bounds returns the bytes [from, to) that a node occupies. An empty value
// occupies none, just behind its colon or dash.
func (d *Document) bounds(n ast.Node) (from, to int) {
	from = d.offset(position(n))
	switch v := n.(type) {
	case *ast.MappingNode:
		if v.IsFlowStyle {
			return from, d.tokenOffset(v.End) + 1
		}
		return from, d.pairEnd(v.Values[len(v.Values)-1])
	case *ast.MappingValueNode:
		return d.offset(position(v.Key)), d.pairEnd(v)
	case *ast.SequenceNode:
		if v.IsFlowStyle {
			return from, d.tokenOffset(v.End) + 1
		}
		last := v.Values[len(v.Values)-1]
		if isImplicitNull(last) {
			return from, d.offset(position(last)) + 1
		}
		_, to = d.bounds(last)
		return from, to
	case *ast.LiteralNode:
		return from, d.literalEnd(from)
	}
	if isImplicitNull(n) {
		return from, from
	}
	return from, d.scalarEnd(from, n)
}

func isImplicitNull(n ast.Node) bool {
	null, ok := n.(*ast.NullNode)
	return ok && (null.Token == nil || null.Token.Type == token.ImplicitNullType)
}

func (d *Document) pairEnd(p *ast.MappingValueNode) int {
	if isImplicitNull(p.Value) {
		return d.tokenOffset(p.Start) + 1 // behind the colon
	}
	_, to := d.bounds(p.Value)
	return to
}

// scalarEnd finds where a scalar that begins at from ends.
func (d *Document) scalarEnd(from int, n ast.Node) int {
	src := d.src
	switch {
	case from < len(src) && src[from] == '"':
		for i := from + 1; i < len(src); i++ {
			switch src[i] {
			case '\\':
				i++
			case '"':
				return i + 1
			}
		}
		return len(src)
	case from < len(src) && src[from] == '\'':
		for i := from + 1; i < len(src); i++ {
			if src[i] == '\'' {
				if i+1 < len(src) && src[i+1] == '\'' {
					i++
					continue
				}
				return i + 1
			}
		}
		return len(src)
	}
	// A plain scalar reads as it stands, but for line folding.
	at := from
	for _, c := range n.GetToken().Value {
		if unicode.IsSpace(c) {
			for at < len(src) && (src[at] == ' ' || src[at] == '\n' || src[at] == '\r' || src[at] == '\t') {
				at++
			}
			continue
		}
		for at < len(src) && (src[at] == ' ' || src[at] == '\n' || src[at] == '\r' || src[at] == '\t') {
			at++
		}
		at += utf8.RuneLen(c)
	}
	return min(at, len(src))
}

// literalEnd finds the end of a block scalar ("|" or ">") whose sign stands
// at from: the last line indented at least as far as its first.
func (d *Document) literalEnd(from int) int {
	end := d.lineEnd(from)
	indent := -1
	for at := end; at < len(d.src); {
		lineStart := at + len(d.newline())
		if lineStart >= len(d.src) {
			break
		}
		lineEnd := d.lineEnd(lineStart)
		line := d.src[lineStart:lineEnd]
		body := bytes.TrimLeft(line, " ")
		if len(bytes.TrimSpace(line)) > 0 {
			in := len(line) - len(body)
			if indent < 0 {
				indent = in
			}
			if in < indent || indent == 0 {
				break
			}
			end = lineEnd
		}
		at = lineEnd
	}
	return end
}

// lineEnd returns the offset just before the line break behind at.
func (d *Document) lineEnd(at int) int {
	nl := bytes.IndexByte(d.src[at:], '\n')
	if nl < 0 {
		return len(d.src)
	}
	end := at + nl
	if end > at && d.src[end-1] == '\r' {
		end--
	}
	return end
}

// newline is the line break the document uses.
func (d *Document) newline() string {
	if bytes.Contains(d.src, []byte("\r\n")) {
		return "\r\n"
	}
	return "\n"
}

// setSplice writes value over the target, or adds what is missing.
func (d *Document) setSplice(t *target, value any) (splice, error) {
	if len(t.missing) > 0 {
		return d.addKey(t, value)
	}
	s, err := inline(value)
	if err != nil {
		return splice{}, fault.New("edit-value", "%s", err)
	}
	if t.pair != nil && isImplicitNull(t.node) {
		at := d.tokenOffset(t.pair.Start) + 1
		return splice{at, at, " " + s}, nil
	}
	from, to := d.bounds(t.node)
	if m, ok := t.node.(*ast.MappingNode); ok && !m.IsFlowStyle && t.pair != nil {
		// A block below its key is replaced from behind the colon on.
		from = d.tokenOffset(t.pair.Start) + 1
		s = " " + s
	}
	if q, ok := t.node.(*ast.SequenceNode); ok && !q.IsFlowStyle && t.pair != nil {
		from = d.tokenOffset(t.pair.Start) + 1
		s = " " + s
	}
	return splice{from, to, s}, nil
}

// addKey writes the missing keys of a path below its deepest existing node.
func (d *Document) addKey(t *target, value any) (splice, error) {
	for i := len(t.missing) - 1; i > 0; i-- {
		value = Fields{{t.missing[i].key, value}}
	}
	pair := Fields{{t.missing[0].key, value}}
	flow, err := inline(pair)
	if err != nil {
		return splice{}, fault.New("edit-value", "%s", err)
	}
	if isNull(t.node) {
		if t.pair == nil { // an empty document or list entry
			var b strings.Builder
			if err := block(&b, pair, 0); err != nil {
				return splice{}, fault.New("edit-value", "%s", err)
			}
			text := b.String()
			if len(d.src) > 0 && d.src[len(d.src)-1] != '\n' {
				text = "\n" + text
			}
			return splice{len(d.src), len(d.src), text}, nil
		}
		at := d.tokenOffset(t.pair.Start) + 1
		to := at
		if !isImplicitNull(t.node) {
			_, to = d.bounds(t.node)
		}
		return splice{at, to, " " + flow}, nil
	}
	if m, ok := t.node.(*ast.MappingNode); ok && m.IsFlowStyle {
		inner := strings.TrimSuffix(strings.TrimPrefix(flow, "{"), "}")
		if len(m.Values) == 0 {
			at := d.tokenOffset(m.Start) + 1
			return splice{at, at, inner}, nil
		}
		at := d.pairEnd(m.Values[len(m.Values)-1])
		return splice{at, at, ", " + inner}, nil
	}
	pairs, _ := entries(t.node)
	_, column := position(pairs[0].Key)
	at := d.lineEnd(d.pairEnd(pairs[len(pairs)-1]))
	var b strings.Builder
	if err := block(&b, pair, column-1); err != nil {
		return splice{}, fault.New("edit-value", "%s", err)
	}
	return splice{at, at, d.asLines(b.String())}, nil
}

// asLines turns block text into lines that follow a line's end.
func (d *Document) asLines(text string) string {
	return d.newline() + strings.ReplaceAll(strings.TrimSuffix(text, "\n"), "\n", d.newline())
}

// appendSplice adds an entry at the end of the target list.
func (d *Document) appendSplice(t *target, value any) (splice, error) {
	list, ok := t.node.(*ast.SequenceNode)
	switch {
	case len(t.missing) > 0:
		return d.addKey(t, []any{value})
	case isNull(t.node):
		return d.setSplice(t, []any{value})
	case !ok:
		return splice{}, fault.New("edit-path", "this is not a list").In(d.name)
	}
	s, err := inline(value)
	if err != nil {
		return splice{}, fault.New("edit-value", "%s", err)
	}
	if list.IsFlowStyle {
		if len(list.Values) == 0 {
			at := d.tokenOffset(list.Start) + 1
			return splice{at, at, s}, nil
		}
		_, at := d.bounds(list.Values[len(list.Values)-1])
		return splice{at, at, ", " + s}, nil
	}
	_, at := d.bounds(list)
	var b strings.Builder
	if err := blockItem(&b, value, list.Start.Position.Column-1); err != nil {
		return splice{}, fault.New("edit-value", "%s", err)
	}
	at = d.lineEnd(at)
	return splice{at, at, d.asLines(b.String())}, nil
}
