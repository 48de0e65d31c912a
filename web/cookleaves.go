package web

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml"

	"trivet/fault"
	"trivet/study"
)

// leaf is one value of a cook file in its form.
type leaf struct {
	Path, ID, Label, Value string
	List                   bool
	Wrong                  *fault.Error
	Also                   string // the value in the person's own unit, where it is written in another
}

// inUnits writes beside values what they are in a person's own units; the
// file keeps its author's.
func inUnits(groups []leafGroup, u units) {
	for _, g := range groups {
		for i := range g.Leaves {
			l := &g.Leaves[i]
			var parts []string
			for _, x := range strings.Split(l.Value, ", ") {
				parts = append(parts, u.written("", x))
			}
			if own := strings.Join(parts, ", "); own != l.Value {
				l.Also = own
			}
		}
	}
}

// leafGroup is a part of the form: the piece, a leg, another top key. At is
// its path where the form offers changes of it.
type leafGroup struct {
	Name     string
	Leaves   []leaf
	At       string
	Earlier  bool // it can be put before the one that it follows
	Out      bool // it can be taken out
	Changing *formChoice
}

// leaves lists the values of a cook file, grouped as they are written, nil
// when it cannot be read.
func leaves(src []byte, wrong *fault.Error) []leafGroup {
	var top yaml.MapSlice
	if err := yaml.Unmarshal(src, &top); err != nil || len(top) == 0 {
		return nil
	}
	var out []leafGroup
	for _, item := range top {
		key := fmt.Sprint(item.Key)
		if list, ok := item.Value.([]any); ok && key == "legs" {
			for i, x := range list {
				g := leafGroup{Name: say("leg-number", i+1)}
				if m, ok := x.(map[string]any); ok && m["name"] != nil {
					g.Name += ": " + fmt.Sprint(m["name"])
				}
				g.At, g.Earlier, g.Out = fmt.Sprintf("legs[%d]", i+1), i > 0, len(list) > 1
				walkLeaves(&g, g.At, "", ordered(src, i), wrong)
				out = append(out, g)
			}
			continue
		}
		g := leafGroup{Name: strings.ReplaceAll(key, "_", " ")}
		if key == "piece" || key == "output" {
			g.At = key
		}
		walkLeaves(&g, key, "", orderedTop(src, key), wrong)
		if len(g.Leaves) == 1 && g.Leaves[0].Label == "" {
			g.Leaves[0].Label = g.Name
		}
		out = append(out, g)
	}
	has := hasPaths(out)
	for i := range out {
		switch g := &out[i]; g.At {
		case "":
		case "piece":
			c := pieceChoices(has)
			g.Changing = &c
		case "output":
			c := outputChoices(has)
			g.Changing = &c
		default:
			c := legChoices(g.At, has)
			g.Changing = &c
		}
	}
	return out
}

// orderedTop reads a top entry with its keys in the order of the file.
func orderedTop(src []byte, key string) any {
	var top yaml.MapSlice
	if yaml.UnmarshalWithOptions(src, &top, yaml.UseOrderedMap()) != nil {
		return nil
	}
	for _, item := range top {
		if fmt.Sprint(item.Key) == key {
			return item.Value
		}
	}
	return nil
}

func ordered(src []byte, leg int) any {
	list, _ := orderedTop(src, "legs").([]any)
	if leg < len(list) {
		return list[leg]
	}
	return nil
}

func walkLeaves(g *leafGroup, at, label string, v any, wrong *fault.Error) {
	switch v := v.(type) {
	case yaml.MapSlice:
		for _, item := range v {
			key := fmt.Sprint(item.Key)
			name := strings.ReplaceAll(key, "_", " ")
			if label != "" {
				name = label + ", " + name
			}
			walkLeaves(g, at+"."+key, name, item.Value, wrong)
		}
	case []any:
		var parts []string
		for i, x := range v {
			switch x.(type) {
			case yaml.MapSlice, []any:
				walkLeaves(g, fmt.Sprintf("%s[%d]", at, i+1), fmt.Sprintf("%s %d", label, i+1), x, wrong)
			default:
				parts = append(parts, fmt.Sprint(x))
			}
		}
		if len(parts) == len(v) {
			g.Leaves = append(g.Leaves, newLeaf(at, label, strings.Join(parts, ", "), true, wrong))
		}
	case nil:
		g.Leaves = append(g.Leaves, newLeaf(at, label, "", false, wrong))
	default:
		g.Leaves = append(g.Leaves, newLeaf(at, label, fmt.Sprint(v), false, wrong))
	}
}

func newLeaf(at, label, value string, list bool, wrong *fault.Error) leaf {
	l := leaf{Path: at, ID: "leaf-" + anchorOf(strings.NewReplacer(".", "-", "[", "-", "]", "").Replace(at)), Label: label, Value: value, List: list}
	if wrong != nil && wrong.Field == at {
		l.Wrong = wrong
	}
	return l
}

// scalar is a value as YAML would read it.
func scalar(text string) any {
	text = strings.TrimSpace(text)
	if n, err := strconv.Atoi(text); err == nil {
		return n
	}
	if v, err := strconv.ParseFloat(text, 64); err == nil && finite(v) {
		return v
	}
	switch text {
	case "":
		return nil
	case "true":
		return true
	case "false":
		return false
	}
	return text
}

// filledIn is the text of a cook file with the values of its form, or the
// text that was typed.
func filledIn(r *http.Request) ([]byte, error) {
	text := strings.ReplaceAll(r.PostFormValue("text"), "\r\n", "\n")
	if r.PostFormValue("view") != "form" {
		return []byte(text), nil
	}
	doc, err := study.ReadDocument("cook.yaml", []byte(text))
	if err != nil {
		return []byte(text), err
	}
	for _, g := range leaves([]byte(text), nil) {
		for _, l := range g.Leaves {
			typed, ok := r.PostForm["leaf:"+l.Path]
			if !ok || same(typed[0], l.Value) {
				continue
			}
			var v any = scalar(typed[0])
			if l.List {
				parts := []any{}
				for p := range strings.SplitSeq(typed[0], ",") {
					if p = strings.TrimSpace(p); p != "" {
						parts = append(parts, scalar(p))
					}
				}
				v = parts
			}
			if err := doc.Set(l.Path, v); err != nil {
				return doc.Bytes(), err
			}
		}
	}
	return doc.Bytes(), nil
}
