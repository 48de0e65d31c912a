package study

import (
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// Written returns what stands at a path, as it was written: one text for a
// single value, one for each entry of a list of them, none where nothing is
// written. It is false for a path that leads nowhere and for groups of keys
// and lists of them, which are no single text. Paths are those of
// [Document.Set].
func (d *Document) Written(path string) ([]string, bool) {
	top, err := parseTree(d.name, d.src)
	if err != nil || top == nil {
		return nil, false
	}
	t, err := d.find(top, path)
	switch {
	case err != nil:
		return nil, false
	case len(t.missing) > 0 || isNull(t.node):
		return nil, true
	}
	list, isList := t.node.(*ast.SequenceNode)
	if !isList {
		s, ok := scalarText(t.node)
		return []string{strings.TrimSpace(s)}, ok
	}
	var out []string
	for _, v := range list.Values {
		s, ok := scalarText(v)
		if !ok {
			return nil, false
		}
		out = append(out, strings.TrimSpace(s))
	}
	return out, true
}
