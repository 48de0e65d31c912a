package study

import (
	"github.com/goccy/go-yaml/ast"

	"trivet/fault"
)

// parsedCook reads a cook file into its canonical form.
func parsedCook(path string, src []byte) (tree, error) {
	top, err := parseTree(path, src)
	if err != nil {
		return nil, err
	}
	out, ok := canonicalNode(top).(tree)
	if !ok {
		return nil, fault.New("cook-file", "a cook file holds keys and values").In(path)
	}
	return out, nil
}

func canonicalNode(n ast.Node) any {
	if pairs, ok := entries(n); ok {
		out := tree{}
		for _, p := range pairs {
			key, _ := scalarText(p.Key)
			out[key] = canonicalNode(p.Value)
		}
		return out
	}
	switch v := n.(type) {
	case *ast.SequenceNode:
		out := make([]any, len(v.Values))
		for i, x := range v.Values {
			out[i] = canonicalNode(x)
		}
		return out
	case nil, *ast.NullNode:
		return nil
	}
	s, _ := scalarText(n)
	return canonicalSetting(s)
}
