package study

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"trivet/fault"
)

// Document is a study document as it was written. Edits change the bytes
// they must and leave every other byte (comments, order, spacing, quotes) as
// it was.
type Document struct {
	name string
	src  []byte
}

// ReadDocument keeps a study document for editing. It must be readable as
// YAML; whether it is a sound study is for [Document.Study] to say.
func ReadDocument(name string, b []byte) (*Document, error) {
	if _, err := parseTree(name, b); err != nil {
		return nil, err
	}
	return &Document{name: name, src: bytes.Clone(b)}, nil
}

// Bytes returns the document as it stands.
func (d *Document) Bytes() []byte { return bytes.Clone(d.src) }

// Study parses the document as it stands.
func (d *Document) Study() (*Study, error) { return Parse(d.name, d.src) }

// Set writes a value at a path, adding the key, and the groups above it,
// where they are missing. A path is written as in trivet's messages:
//
//	questions[loss].margin
//	cooks[L01-first].marks.off_heat
//	pieces[2].mass
//
// where brackets hold the id or label of a list entry, or its place from 1.
// The value is of a type that [Fields] lists. An edit whose result would not
// read back as exactly this change is refused and changes nothing.
func (d *Document) Set(path string, value any) error {
	return d.edit(path, value, func(t *target) (splice, error) { return d.setSplice(t, value) }, false)
}

// Append adds an entry at the end of the list at a path, which is made where
// it is missing.
func (d *Document) Append(path string, value any) error {
	return d.edit(path, value, func(t *target) (splice, error) { return d.appendSplice(t, value) }, true)
}

// Line returns the line on which a path stands, or the deepest part of it
// that is written; 0 when none is.
func (d *Document) Line(path string) int {
	top, err := parseTree(d.name, d.src)
	if err != nil || top == nil {
		return 0
	}
	return d.line(top, path)
}

func (d *Document) line(top ast.Node, path string) int {
	t, err := d.find(top, path)
	if err != nil || t.place == "" {
		return 0
	}
	n := t.node
	if t.pair != nil {
		n = t.pair.Key
	}
	line, _ := position(n)
	return line
}

// Locate gives each finding the line its path stands on.
func (d *Document) Locate(findings []Finding) []Finding {
	top, err := parseTree(d.name, d.src)
	if err != nil || top == nil {
		return findings
	}
	out := slices.Clone(findings)
	for i := range out {
		if line := d.line(top, out[i].Where); line > 0 {
			out[i].Line = line
		}
	}
	return out
}

// splice replaces src[from:to] by text.
type splice struct {
	from, to int
	text     string
}

// step is one part of a path: a key, or an entry of a list.
type step struct {
	key   string
	entry bool
}

// target is where a path leads: the deepest node that exists, the pairs and
// nodes on the way, and the steps that do not exist yet.
type target struct {
	node    ast.Node              // the deepest existing node
	pair    *ast.MappingValueNode // the pair whose value node is, nil for list entries and the top
	place   string                // node's place with list entries by index
	missing []step
}

func parsePath(path string) ([]step, error) {
	bad := func() ([]step, error) {
		return nil, fault.New("edit-path", "not a path in a study document").On("path", path).
			WithFix("write it like questions[loss].margin")
	}
	var steps []step
	for rest := path; rest != ""; {
		if rest[0] == '[' {
			name, after, ok := strings.Cut(rest[1:], "]")
			if !ok || name == "" || len(steps) == 0 {
				return bad()
			}
			steps = append(steps, step{name, true})
			if rest = strings.TrimPrefix(after, "."); rest == "" && after != "" {
				return bad()
			}
			continue
		}
		end := strings.IndexAny(rest, ".[")
		if end == 0 {
			return bad()
		}
		if end < 0 {
			end = len(rest)
		}
		steps = append(steps, step{rest[:end], false})
		after := rest[end:]
		if rest = strings.TrimPrefix(after, "."); rest == "" && after != "" {
			return bad()
		}
	}
	if len(steps) == 0 {
		return bad()
	}
	return steps, nil
}

func (d *Document) find(top ast.Node, path string) (*target, error) {
	steps, err := parsePath(path)
	if err != nil {
		return nil, err
	}
	t := &target{node: top}
	for i, s := range steps {
		if isNull(t.node) {
			t.missing = steps[i:]
			break
		}
		if s.entry {
			list, ok := t.node.(*ast.SequenceNode)
			if !ok {
				return nil, d.noSuch(path, s, "this is not a list")
			}
			k := entryIndex(list, s.key)
			if k < 0 {
				return nil, d.noSuch(path, s, "no such entry in the list")
			}
			t.node, t.pair, t.place = list.Values[k], nil, fmt.Sprintf("%s[%d]", t.place, k)
			continue
		}
		pairs, ok := entries(t.node)
		if !ok {
			return nil, d.noSuch(path, s, "this is not a group of keys")
		}
		k := slices.IndexFunc(pairs, func(p *ast.MappingValueNode) bool {
			key, isText := scalarText(p.Key)
			return isText && key == s.key
		})
		if k < 0 {
			t.missing = steps[i:]
			break
		}
		t.node, t.pair, t.place = pairs[k].Value, pairs[k], join(t.place, s.key)
	}
	for _, s := range t.missing {
		if s.entry {
			return nil, d.noSuch(path, s, "no such entry in the list")
		}
	}
	return t, nil
}

func (d *Document) noSuch(path string, s step, why string) error {
	return fault.New("edit-path", "%s", why).In(d.name).On(path, s.key)
}

// entryIndex finds a list entry by its id or label, or by its place from 1.
func entryIndex(list *ast.SequenceNode, name string) int {
	for _, key := range []string{"id", "label"} {
		for i, v := range list.Values {
			if s, ok := scalarText(orNull(lookup(v, key))); ok && s == name {
				return i
			}
		}
	}
	if i, err := strconv.Atoi(name); err == nil && i >= 1 && i <= len(list.Values) {
		return i - 1
	}
	return -1
}

// edit makes one change and keeps it only when the document then reads as
// before but for that change.
func (d *Document) edit(path string, value any, make func(*target) (splice, error), appending bool) error {
	top, err := parseTree(d.name, d.src)
	if err != nil {
		return err
	}
	before := map[string]string{}
	flatten(top, "", before)
	if top == nil {
		top = &ast.NullNode{}
	}
	t, err := d.find(top, path)
	if err != nil {
		return err
	}
	place := t.place
	for _, s := range t.missing {
		place = join(place, s.key)
	}
	if appending {
		n := 0
		if list, ok := t.node.(*ast.SequenceNode); ok && len(t.missing) == 0 {
			n = len(list.Values)
		}
		place = fmt.Sprintf("%s[%d]", place, n)
	}
	sp, err := make(t)
	if err != nil {
		return err
	}
	next, err := d.try(sp, before, place, value)
	if err != nil {
		return fault.New("edit-refused", "trivet cannot make this change without disturbing the rest of the document").
			In(d.name).On(path, "").WithFix("make it by hand in an editor").Wrap(err)
	}
	d.src = next
	return nil
}

// try makes an edit aside and checks that it changes nothing else.
func (d *Document) try(sp splice, before map[string]string, place string, value any) ([]byte, error) {
	if sp.from < 0 || sp.from > sp.to || sp.to > len(d.src) {
		return nil, fmt.Errorf("its place in the text cannot be found")
	}
	next := slices.Concat(d.src[:sp.from], []byte(sp.text), d.src[sp.to:])
	top, err := parseTree(d.name, next)
	if err != nil {
		return nil, err
	}
	after := map[string]string{}
	flatten(top, "", after)
	return next, sameButFor(before, after, place, value)
}

// flatten lists every scalar of a tree by its place, and empty groups and
// lists as such.
func flatten(n ast.Node, place string, into map[string]string) {
	if pairs, ok := entries(n); ok {
		into[place] = "{}"
		for _, p := range pairs {
			key, _ := scalarText(p.Key)
			flatten(p.Value, join(place, key), into)
		}
		return
	}
	switch v := n.(type) {
	case nil:
	case *ast.SequenceNode:
		into[place] = "[]"
		for i, x := range v.Values {
			flatten(x, fmt.Sprintf("%s[%d]", place, i), into)
		}
	case *ast.NullNode:
		into[place] = "null"
	case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode:
		into[place] = "unread " + n.String()
	default:
		s, _ := scalarText(n)
		into[place] = "=" + s
	}
}

// sameButFor checks that two flattened trees agree except at and below place,
// where the second holds value. Groups above place may be new.
func sameButFor(before, after map[string]string, place string, value any) error {
	within := func(p string) bool {
		return p == place || strings.HasPrefix(p, place+".") || strings.HasPrefix(p, place+"[")
	}
	above := func(p string) bool {
		return p == "" || strings.HasPrefix(place, p+".") || strings.HasPrefix(place, p+"[")
	}
	wanted := map[string]string{}
	if err := flattenValue(value, place, wanted); err != nil {
		return err
	}
	for p, v := range before {
		if !within(p) && after[p] != v && !(above(p) && v == "null") {
			return fmt.Errorf("%s would change", p)
		}
	}
	for p, v := range after {
		switch {
		case within(p):
			if wanted[p] != v {
				return fmt.Errorf("%s would not read back", p)
			}
		case before[p] != v && !above(p):
			return fmt.Errorf("%s would change", p)
		}
	}
	for p := range wanted {
		if _, ok := after[p]; !ok {
			return fmt.Errorf("%s would be lost", p)
		}
	}
	return nil
}

func flattenValue(v any, place string, into map[string]string) error {
	switch v := v.(type) {
	case nil:
		into[place] = "null"
		return nil
	case Fields:
		into[place] = "{}"
		for _, f := range v {
			if err := flattenValue(f.Value, join(place, f.Key), into); err != nil {
				return err
			}
		}
		return nil
	case string:
		into[place] = "=" + v
		return nil
	}
	if items, ok := asList(v); ok {
		into[place] = "[]"
		for i, x := range items {
			if err := flattenValue(x, fmt.Sprintf("%s[%d]", place, i), into); err != nil {
				return err
			}
		}
		return nil
	}
	s, err := inline(v)
	into[place] = "=" + s
	return err
}
