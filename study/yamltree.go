package study

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	yamlparser "github.com/goccy/go-yaml/parser"

	"trivet/fault"
)

// Limits on what is read as YAML. They are far above any real study and keep
// a hostile file from exhausting memory or stack.
const (
	mostBytes = 16 << 20
	mostDepth = 100
)

var byteOrderMark = []byte("\uFEFF")

// parseTree reads b as one YAML document and returns its top node, nil when
// the document is empty. The error is a *fault.Error with line and column.
func parseTree(file string, b []byte) (top ast.Node, err error) {
	bad := func(format string, args ...any) *fault.Error {
		return fault.New("yaml-syntax", format, args...).In(file)
	}
	if len(b) > mostBytes {
		return nil, bad("the file is larger than %d MiB", mostBytes>>20)
	}
	if line := tooDeep(b); line > 0 {
		return nil, bad("nested more than %d levels deep", mostDepth).At(line, 1)
	}
	if !utf8.Valid(b) {
		return nil, bad("not UTF-8 text").WithFix("save the file as UTF-8 in your editor")
	}
	// The library counts "\r\n" behind a comment as two line ends.
	b = bytes.ReplaceAll(bytes.TrimPrefix(b, byteOrderMark), []byte("\r\n"), []byte("\n"))
	if at := bytes.IndexByte(b, '\r'); at >= 0 {
		return nil, bad("a carriage return stands without a line feed").At(1+bytes.Count(b[:at], []byte("\n")), 1).
			WithFix("save the file with Unix or Windows line ends")
	}
	// The library is not proof against every malformed input; what it cannot
	// take is reported as unreadable.
	defer func() {
		if r := recover(); r != nil {
			top, err = nil, bad("not readable as YAML")
		}
	}()
	f, perr := yamlparser.ParseBytes(b, yamlparser.ParseComments, yamlparser.AllowDuplicateMapKey())
	if perr != nil {
		return nil, syntaxFault(bad, perr)
	}
	for _, d := range f.Docs {
		if d.Body == nil {
			continue
		}
		if _, onlyComments := d.Body.(*ast.CommentGroupNode); onlyComments {
			continue
		}
		if top != nil {
			line, column := position(d.Body)
			return nil, bad("a second YAML document begins here").At(line, column).
				WithFix("keep one study in one file")
		}
		top = d.Body
	}
	return top, nil
}

// syntaxFault turns the library's error, "[2:1] message\n source…", into ours.
func syntaxFault(bad func(string, ...any) *fault.Error, err error) *fault.Error {
	text := err.Error()
	first, _, _ := strings.Cut(text, "\n")
	var line, column int
	if n, _ := fmt.Sscanf(first, "[%d:%d]", &line, &column); n == 2 {
		if _, rest, ok := strings.Cut(first, "] "); ok {
			e := bad("not readable as YAML: %s", rest).At(line, column)
			if strings.Contains(rest, "'\t'") {
				return e.WithFix("indent with spaces, not tabs")
			}
			return e
		}
	}
	return bad("not readable as YAML: %s", first)
}

// tooDeep returns the first line on which flow brackets or compact list
// dashes nest deeper than mostDepth, or 0.
func tooDeep(b []byte) int {
	line, flow, indent := 1, 0, 0
	lineStart := true
	for i, c := range b {
		switch c {
		case '\n':
			line, indent, lineStart = line+1, 0, true
			continue
		case '[', '{':
			flow++
		case ']', '}':
			flow = max(0, flow-1)
		case '-', '?':
			if lineStart && i+1 < len(b) && (b[i+1] == ' ' || b[i+1] == '\t') {
				indent++
			}
		}
		if c != ' ' && c != '-' && c != '?' && c != '\t' {
			lineStart = false
		}
		if flow > mostDepth || indent > mostDepth {
			return line
		}
	}
	return 0
}

// position returns the line and column a node starts at, counting from 1.
func position(n ast.Node) (line, column int) {
	if m, ok := n.(*ast.MappingNode); ok && !m.IsFlowStyle && len(m.Values) > 0 {
		n = m.Values[0].Key // a block mapping's own token is its first colon
	}
	t := n.GetToken()
	if t == nil || t.Position == nil {
		return 0, 0
	}
	return t.Position.Line, max(1, t.Position.Column)
}

// scalarText returns a scalar as it was written, without quotes.
func scalarText(n ast.Node) (string, bool) {
	switch v := n.(type) {
	case *ast.StringNode:
		return v.Value, true
	case *ast.LiteralNode:
		return strings.TrimRight(v.Value.Value, "\n"), true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return n.GetToken().Value, true
	}
	return "", false
}

func isNull(n ast.Node) bool {
	if n == nil {
		return true
	}
	_, null := n.(*ast.NullNode)
	return null
}

// entries returns the key–value pairs of a mapping node in document order.
func entries(n ast.Node) ([]*ast.MappingValueNode, bool) {
	switch m := n.(type) {
	case *ast.MappingNode:
		return m.Values, true
	case *ast.MappingValueNode:
		return []*ast.MappingValueNode{m}, true
	}
	return nil, false
}

// lookup returns the value under key of a mapping node, or nil.
func lookup(n ast.Node, key string) ast.Node {
	pairs, _ := entries(n)
	for _, p := range pairs {
		if k, ok := scalarText(p.Key); ok && k == key {
			return p.Value
		}
	}
	return nil
}

// describe names a node's shape for messages.
func describe(n ast.Node) string {
	switch n.(type) {
	case *ast.MappingNode, *ast.MappingValueNode:
		return "a group of keys"
	case *ast.SequenceNode:
		return "a list"
	case *ast.NullNode:
		return "nothing"
	}
	return "a single value"
}

// take reads one node found at path.
type take func(n ast.Node, path string)

// fields are the keys an object may hold.
type fields map[string]take

// reader walks a YAML tree and collects every problem it meets.
type reader struct {
	file string
	errs fault.List
}

// report adds a problem at a node. The value is quoted when the node is a
// scalar.
func (r *reader) report(n ast.Node, path string, code fault.Code, fix, format string, args ...any) {
	e := fault.New(code, format, args...).In(r.file)
	if n != nil {
		e = e.At(position(n))
	}
	value := ""
	if n != nil {
		value, _ = scalarText(n)
	}
	e = e.On(path, value)
	e.Fix = fix
	r.errs = append(r.errs, e)
}

// object reads a mapping, handing each known key to its take. An empty value
// counts as a key not written.
func (r *reader) object(n ast.Node, path string, known fields) bool {
	pairs, ok := entries(n)
	if !ok {
		r.report(n, path, "wrong-shape", "write keys below it: "+keyList(known),
			"expected a group of keys, found %s", describe(n))
		return false
	}
	seen := map[string]int{}
	for _, p := range pairs {
		key, isText := scalarText(p.Key)
		if !isText {
			r.report(p.Key, path, "unsupported-yaml",
				"write the keys and values out", "merge keys and compound keys are not read here")
			continue
		}
		if line, twice := seen[key]; twice {
			r.report(p.Key, join(path, key), "duplicate-key",
				fmt.Sprintf("keep one of the two; the first is on line %d", line), "key written twice")
			continue
		}
		line, _ := position(p.Key)
		seen[key] = line
		read, isKnown := known[key]
		if !isKnown {
			r.report(p.Key, path, "unknown-key", suggest(key, known), "unknown key %q", key)
			continue
		}
		if v, fine := r.plain(p.Value, join(path, key)); fine && !isNull(v) {
			read(v, join(path, key))
		}
	}
	return true
}

// plain refuses anchors, aliases and tags: a study means what its text says.
func (r *reader) plain(n ast.Node, path string) (ast.Node, bool) {
	switch n.(type) {
	case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode:
		r.report(n, path, "unsupported-yaml", "write the value out",
			"anchors, aliases and tags are not read here")
		return nil, false
	}
	return n, true
}

// list reads a sequence. Elements are named by their id or label when they
// have one, by their place from 1 otherwise.
func (r *reader) list(n ast.Node, path string, each take) {
	s, ok := n.(*ast.SequenceNode)
	if !ok {
		r.report(n, path, "wrong-shape", `begin each entry with "- "`,
			"expected a list, found %s", describe(n))
		return
	}
	for i, v := range s.Values {
		at := elementPath(path, v, i)
		if v, fine := r.plain(v, at); fine {
			if isNull(v) {
				r.report(v, at, "wrong-shape", "fill it in or remove it", "empty list entry")
				continue
			}
			each(v, at)
		}
	}
}

// oneOrList hands a single value, or each value of a list, to each.
func (r *reader) oneOrList(n ast.Node, path string, each take) {
	if _, many := n.(*ast.SequenceNode); many {
		r.list(n, path, each)
		return
	}
	each(n, path)
}

func elementPath(path string, n ast.Node, i int) string {
	for _, key := range []string{"id", "label"} {
		if id, ok := scalarText(orNull(lookup(n, key))); ok && id != "" {
			return fmt.Sprintf("%s[%s]", path, id)
		}
	}
	return fmt.Sprintf("%s[%d]", path, i+1)
}

func orNull(n ast.Node) ast.Node {
	if n == nil {
		return &ast.NullNode{}
	}
	return n
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func keyList(known fields) string {
	keys := make([]string, 0, len(known))
	for k := range known {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return strings.Join(keys, ", ")
}

// suggest names the nearest known key, or all of them.
func suggest(key string, known fields) string {
	keys := make([]string, 0, len(known))
	for k := range known {
		keys = append(keys, k)
	}
	return suggestFrom(key, keys)
}

// suggestFrom names the nearest of names, or lists them all.
func suggestFrom(name string, names []string) string {
	names = slices.Clone(names)
	slices.Sort(names)
	if near := nearest(name, names); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	if len(names) == 0 {
		return ""
	}
	return "known here: " + strings.Join(names, ", ")
}
