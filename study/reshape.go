package study

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"trivet/fault"
)

// Remove takes out the key or list entry at a path, with the comment that
// stands on the lines above it. The last key of a group and the last entry of
// a list are not taken out: take out what holds them. An edit whose result
// would not read back as exactly this change is refused and changes nothing.
func (d *Document) Remove(path string) error {
	return d.reshape(path, func(m *member, before map[string]string) (splice, map[string]string, error) {
		if len(m.siblings) == 1 {
			return splice{}, nil, fault.New("edit-last", "this is the last one of its group").In(d.name).On(path, "").WithFix("take out the group that holds it")
		}
		after := map[string]string{}
		for p, v := range before {
			if name, rest, ok := m.below(p); ok {
				switch i, isEntry := entryNumber(name); {
				case name == m.names[m.at]:
					continue
				case isEntry && i > m.at:
					p = m.place + fmt.Sprintf("[%d]", i-1) + rest
				}
			}
			after[p] = v
		}
		return d.cut(m), after, nil
	})
}

// MoveUp puts the list entry at a path before the one that it follows,
// together with the comments that stand on the lines above each.
func (d *Document) MoveUp(path string) error {
	return d.reshape(path, func(m *member, before map[string]string) (splice, map[string]string, error) {
		if _, isEntry := entryNumber(m.names[m.at]); !isEntry || m.at == 0 {
			return splice{}, nil, fault.New("edit-path", "there is no entry before it to change places with").In(d.name).On(path, "")
		}
		after := map[string]string{}
		for p, v := range before {
			if name, rest, ok := m.below(p); ok {
				switch name {
				case m.names[m.at]:
					p = m.place + m.names[m.at-1] + rest
				case m.names[m.at-1]:
					p = m.place + m.names[m.at] + rest
				}
			}
			after[p] = v
		}
		a, b := d.extent(m, m.at-1), d.extent(m, m.at)
		text := string(d.src[b.from:b.to]) + string(d.src[a.to:b.from]) + string(d.src[a.from:a.to])
		return splice{a.from, b.to, text}, after, nil
	})
}

// member is a key or list entry among its siblings.
type member struct {
	place    string   // of what holds them
	names    []string // ".key" or "[0]", in the order of the text
	siblings []ast.Node
	flow     bool
	at       int
}

// below splits a flattened place into the sibling it belongs to and the rest.
func (m *member) below(place string) (name, rest string, ok bool) {
	under, ok := strings.CutPrefix(place, m.place)
	if !ok {
		return "", "", false
	}
	for _, n := range m.names {
		if m.place == "" {
			n = strings.TrimPrefix(n, ".")
		}
		if rest, ok := strings.CutPrefix(under, n); ok && (rest == "" || rest[0] == '.' || rest[0] == '[') {
			return n, rest, true
		}
	}
	return "", "", false
}

func entryNumber(name string) (int, bool) {
	digits, ok := strings.CutPrefix(strings.TrimSuffix(name, "]"), "[")
	n, err := strconv.Atoi(digits)
	return n, ok && err == nil
}

// reshape makes a change of structure and keeps it only when the document
// then reads as it should.
func (d *Document) reshape(path string, how func(*member, map[string]string) (splice, map[string]string, error)) error {
	top, err := parseTree(d.name, d.src)
	if err != nil {
		return err
	}
	m, err := d.member(top, path)
	if err != nil {
		return err
	}
	before := map[string]string{}
	flatten(top, "", before)
	sp, want, err := how(m, before)
	if err != nil {
		return err
	}
	refused := func(why error) error {
		return fault.New("edit-refused", "trivet cannot make this change without disturbing the rest of the document").
			In(d.name).On(path, "").WithFix("make it by hand in an editor").Wrap(why)
	}
	if sp.from < 0 || sp.from > sp.to || sp.to > len(d.src) {
		return refused(fmt.Errorf("its place in the text cannot be found"))
	}
	next := slices.Concat(d.src[:sp.from], []byte(sp.text), d.src[sp.to:])
	if top, err = parseTree(d.name, next); err != nil {
		return refused(err)
	}
	after := map[string]string{}
	flatten(top, "", after)
	if !maps.Equal(want, after) {
		return refused(fmt.Errorf("it would not read back"))
	}
	d.src = next
	return nil
}

func (d *Document) member(top ast.Node, path string) (*member, error) {
	steps, err := parsePath(path)
	if err != nil {
		return nil, err
	}
	last := steps[len(steps)-1]
	holder := &target{node: top}
	if i := strings.LastIndexAny(path, ".["); i > 0 {
		if holder, err = d.find(top, path[:i]); err != nil {
			return nil, err
		}
	}
	missing := d.noSuch(path, last, "there is nothing at this place")
	if len(holder.missing) > 0 {
		return nil, missing
	}
	m := &member{place: holder.place, at: -1}
	if list, ok := holder.node.(*ast.SequenceNode); ok && last.entry {
		m.flow, m.at = list.IsFlowStyle, entryIndex(list, last.key)
		for i, v := range list.Values {
			m.names, m.siblings = append(m.names, fmt.Sprintf("[%d]", i)), append(m.siblings, v)
		}
	} else if pairs, ok := entries(holder.node); ok && !last.entry {
		if g, ok := holder.node.(*ast.MappingNode); ok {
			m.flow = g.IsFlowStyle
		}
		for i, p := range pairs {
			key, _ := scalarText(p.Key)
			if key == last.key {
				m.at = i
			}
			name := "." + key
			if m.place == "" {
				name = key
			}
			m.names, m.siblings = append(m.names, name), append(m.siblings, p)
		}
	}
	if m.at < 0 {
		return nil, missing
	}
	return m, nil
}

// extent is the text of one member: in flow style its own bytes, in a block
// its lines, with the comment lines above it.
func (d *Document) extent(m *member, i int) splice {
	from, to := d.bounds(m.siblings[i])
	if m.flow {
		return splice{from: from, to: to}
	}
	from = bytes.LastIndexByte(d.src[:from], '\n') + 1
	for from > 0 {
		above := bytes.LastIndexByte(d.src[:from-1], '\n') + 1
		if !bytes.HasPrefix(bytes.TrimSpace(d.src[above:from]), []byte("#")) || (above == 0 && m.place == "") {
			break // the comment at the head of a file is the file's
		}
		from = above
	}
	return splice{from: from, to: d.lineEnd(to)}
}

// cut takes one member out of its siblings.
func (d *Document) cut(m *member) splice {
	switch i := m.at; {
	case m.flow && i > 0:
		return splice{from: d.extent(m, i-1).to, to: d.extent(m, i).to}
	case m.flow:
		return splice{from: d.extent(m, 0).from, to: d.extent(m, 1).from}
	case i > 0:
		return splice{from: d.extent(m, i-1).to, to: d.extent(m, i).to}
	}
	// The first key of a list's entry stands behind its dash, and the first
	// entry of a list has nothing before it.
	if _, isEntry := entryNumber(m.names[0]); !isEntry {
		from, _ := d.bounds(m.siblings[0])
		to, _ := d.bounds(m.siblings[1])
		return splice{from: from, to: to}
	}
	return splice{from: d.extent(m, 0).from, to: d.extent(m, 1).from}
}
