package heat

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"trivet/fault"
	"trivet/quantity"
)

// Limits of a cook file, so that a broken or hostile one ends in a message.
const (
	longestCook  = 1 << 20 // bytes
	mostLegs     = 100
	mostListed   = 2000 // entries of any list
	deepestCook  = 12   // levels of nesting
	mostComplain = 20   // errors reported in one pass
)

// cookReader walks the syntax tree of a cook file and gathers what is wrong.
type cookReader struct {
	file      string
	errs      fault.List
	uncertain []Uncertain
	anchors   map[string]ast.Node
	// seen holds the index of each uncertain value by its node: an alias means
	// the very same value, so it is drawn once.
	seen map[ast.Node]int
	// nested counts the faces being read inside each other.
	nested int
	// places tells where each field stands, for what is found out later.
	places map[string]place
}

// place is a position in the file, counted from 1.
type place struct{ line, column int }

func placeOf(n ast.Node) (place, bool) {
	if n == nil {
		return place{}, false
	}
	t := n.GetToken()
	if t == nil || t.Position == nil {
		return place{}, false
	}
	return place{t.Position.Line, t.Position.Column}, true
}

// num is a number of a cook file: exact, or the index (from 1) of an
// uncertain one.
type num struct {
	v     float64
	index int
	set   bool
}

// in returns the number for a draw of the uncertain values; nil takes the
// central values.
func (n num) in(draw []float64) float64 {
	if n.index > 0 && draw != nil {
		return draw[n.index-1]
	}
	return n.v
}

// ptr is in as a pointer, nil when the number was not written.
func (n num) ptr(draw []float64) *float64 {
	if !n.set {
		return nil
	}
	v := n.in(draw)
	return &v
}

// rule says what a number measures and where it must lie.
type rule struct {
	kind    quantity.Kind // of the quantity; KindOther with units, KindNumber for bare SI
	share   bool          // value is a share 0–1; "40 %" gives 0.40
	bare    bool          // a share may be written without %
	units   map[string]float64
	lo, hi  float64
	above   bool // lo itself is not allowed
	example string
	why     string // reason of the bound, for the message
}

func (r *cookReader) root(src []byte) ast.Node {
	if len(src) > longestCook {
		r.errs = append(r.errs, fault.New("cook-size", "a cook file of %d bytes is too large; at most %d are read", len(src), longestCook).In(r.file))
		return nil
	}
	f, err := parser.ParseBytes(src, 0)
	if err != nil {
		r.errs = append(r.errs, yamlFault(err).In(r.file))
		return nil
	}
	var body ast.Node
	for _, d := range f.Docs {
		if d.Body == nil {
			continue
		}
		if body != nil {
			r.fail(d.Body, "cook-form", "", "", "there is more than one document in the file", "keep one cook a file")
			return nil
		}
		body = d.Body
	}
	if body == nil {
		r.errs = append(r.errs, fault.New("cook-empty", "the cook file is empty").In(r.file).At(1, 1).
			WithFix("write at least piece and legs, as in the examples"))
	}
	return body
}

// yamlFault turns a syntax error of the YAML parser into one of ours.
func yamlFault(err error) *fault.Error {
	e := fault.New("yaml", "this is not valid YAML")
	var y interface {
		GetToken() *token.Token
		GetMessage() string
	}
	if errors.As(err, &y) {
		e.Message += ": " + y.GetMessage()
		if t := y.GetToken(); t != nil && t.Position != nil {
			e = e.At(t.Position.Line, t.Position.Column)
			e.Value = t.Value
		}
	} else {
		first, _, _ := strings.Cut(err.Error(), "\n")
		e.Message += ": " + first
	}
	return e.WithFix("check indentation, brackets and quotes here")
}

// fail records an error at a node or, where n is nil, where the field stands.
func (r *cookReader) fail(n ast.Node, code fault.Code, field, value, message, fix string) {
	e := fault.New(code, "%s", message).In(r.file).On(field, value)
	if fix != "" {
		e = e.WithFix("%s", fix)
	}
	at, ok := r.places[field]
	if n != nil {
		at, ok = placeOf(n)
	}
	if ok {
		e = e.At(at.line, at.column)
	}
	if len(r.errs) < mostComplain {
		r.errs = append(r.errs, e)
	}
}

// passOn adds an error of package quantity at a node.
func (r *cookReader) passOn(n ast.Node, field, value string, err error) {
	e := fault.As(err)
	if e == nil {
		r.fail(n, "value", field, value, err.Error(), "")
		return
	}
	r.fail(n, e.Code, field, value, e.Message, e.Fix)
}

// plain follows anchors and aliases to the node meant.
func (r *cookReader) plain(n ast.Node) ast.Node {
	for range deepestCook {
		switch m := n.(type) {
		case *ast.AnchorNode:
			n = m.Value
		case *ast.AliasNode:
			to := r.anchors[m.Value.GetToken().Value]
			if to == nil {
				r.fail(n, "yaml", "", m.Value.GetToken().Value, "this alias has no anchor", "write the anchor (&name) before its use")
				return nil
			}
			n = to
		default:
			return n
		}
	}
	return nil
}

// collect notes the anchors of a tree and refuses what lies too deep.
func (r *cookReader) collect(n ast.Node, depth int) bool {
	if depth > deepestCook {
		r.fail(n, "cook-form", "", "", "this is nested too deeply", "a cook file needs no more than six levels")
		return false
	}
	switch m := n.(type) {
	case *ast.AnchorNode:
		if !r.collect(m.Value, depth+1) {
			return false
		}
		r.anchors[m.Name.GetToken().Value] = m.Value
	case *ast.MappingNode:
		for _, v := range m.Values {
			if !r.collect(v.Value, depth+1) {
				return false
			}
		}
	case *ast.MappingValueNode:
		return r.collect(m.Value, depth+1)
	case *ast.SequenceNode:
		for _, v := range m.Values {
			if !r.collect(v, depth+1) {
				return false
			}
		}
	}
	return true
}

// entry is a key of a mapping with its value.
type entry struct {
	key   string
	at    ast.Node // the key, for positions
	value ast.Node
}

// entries returns the entries of a mapping in order; nil and an error
// recorded when n is none.
func (r *cookReader) entries(n ast.Node, field, wants string) []entry {
	n = r.plain(n)
	var values []*ast.MappingValueNode
	switch m := n.(type) {
	case *ast.MappingNode:
		values = m.Values
	case *ast.MappingValueNode:
		values = []*ast.MappingValueNode{m}
	case nil:
		return nil
	default:
		value, _ := scalar(n)
		r.fail(n, "cook-form", field, value, fmt.Sprintf("%s must be a list of keys with values", named(field)), wants)
		return nil
	}
	out := make([]entry, 0, len(values))
	for _, v := range values {
		if v.Key.IsMergeKey() {
			r.fail(v.Key, "yaml", field, "<<", "merge keys are not read here", "write the keys out, or use an alias for the whole value")
			continue
		}
		out = append(out, entry{v.Key.GetToken().Value, v.Key, v.Value})
	}
	return out
}

// object returns the values of a mapping by key; an unknown key is an error
// that offers the nearest known one.
func (r *cookReader) object(n ast.Node, field string, known ...string) map[string]ast.Node {
	list := r.entries(n, field, "known keys here: "+strings.Join(known, ", "))
	if list == nil {
		return nil
	}
	out := make(map[string]ast.Node, len(list))
	if at, ok := placeOf(first(list)); ok {
		r.places[field] = at
	}
	for _, e := range list {
		if at, ok := placeOf(e.at); ok {
			r.places[join(field, e.key)] = at
		}
		if !slices.Contains(known, e.key) {
			r.unknownKey(e, field, known)
			continue
		}
		if _, null := r.plain(e.value).(*ast.NullNode); null {
			r.fail(e.at, "cook-value", join(field, e.key), "", "this key has no value", "give it one or leave the key out")
			continue
		}
		out[e.key] = e.value
	}
	return out
}

func first(list []entry) ast.Node {
	if len(list) == 0 {
		return nil
	}
	return list[0].at
}

func (r *cookReader) unknownKey(e entry, field string, known []string) {
	fix := "known keys here: " + strings.Join(known, ", ")
	if near := nearest(e.key, known); len(near) > 0 {
		fix = "did you mean " + orList(near) + "? " + fix
	}
	r.fail(e.at, "unknown-key", field, e.key, fmt.Sprintf("unknown key %q", e.key), fix)
}

// list returns the items of a sequence; a single value counts as a list of
// one when lone is true.
func (r *cookReader) list(n ast.Node, field string, lone bool) []ast.Node {
	n = r.plain(n)
	s, ok := n.(*ast.SequenceNode)
	if !ok {
		if lone && n != nil {
			return []ast.Node{n}
		}
		value, _ := scalar(n)
		r.fail(n, "cook-form", field, value, fmt.Sprintf("%s must be a list", named(field)), "write it as [a, b, …] or one item a line, each after a dash")
		return nil
	}
	if len(s.Values) > mostListed {
		r.fail(n, "cook-form", field, "", fmt.Sprintf("a list of %d entries is too long; at most %d are read", len(s.Values), mostListed), "")
		return nil
	}
	for i, v := range s.Values {
		if at, ok := placeOf(v); ok {
			r.places[fmt.Sprintf("%s[%d]", field, i)] = at
		}
	}
	return s.Values
}

// scalar returns a scalar as it was written; ok is false for anything else.
func scalar(n ast.Node) (string, bool) {
	switch m := n.(type) {
	case *ast.StringNode, *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode, *ast.NullNode:
		return n.GetToken().Value, true
	case *ast.LiteralNode:
		return strings.TrimSpace(m.Value.Value), true
	}
	return "", false
}

func (r *cookReader) text(n ast.Node, field string) (string, bool) {
	n = r.plain(n)
	s, ok := scalar(n)
	if !ok {
		r.fail(n, "cook-form", field, "", fmt.Sprintf("%s must be a single value", named(field)), "")
		return "", false
	}
	return s, true
}

// flag reads on, off and their spellings.
func (r *cookReader) flag(n ast.Node, field string) bool {
	s, ok := r.text(n, field)
	if !ok {
		return false
	}
	switch strings.ToLower(s) {
	case "on", "true", "yes":
		return true
	case "off", "false", "no":
		return false
	}
	r.fail(n, "on-or-off", field, s, fmt.Sprintf("%s is on or off", named(field)), "write on or off")
	return false
}

// number reads a number: "400", "400 ± 80" (normal) or "[300, 500]"
// (uniform).
func (r *cookReader) number(n ast.Node, field string, q rule) num {
	n = r.plain(n)
	if s, ok := n.(*ast.SequenceNode); ok {
		return r.uniform(s, field, q)
	}
	text, ok := r.text(n, field)
	if !ok {
		return num{}
	}
	v, pm, ok := r.amount(n, field, text, q)
	if !ok || !r.inside(n, field, text, v, q) {
		return num{}
	}
	if pm == 0 {
		return num{v: v, set: true}
	}
	return r.addUncertain(n, Uncertain{Field: field, Text: text, Normal: true, A: v, B: pm, Lo: q.lo, Hi: q.hi})
}

func (r *cookReader) uniform(s *ast.SequenceNode, field string, q rule) num {
	if len(s.Values) != 2 {
		r.fail(s, "range-form", field, "", fmt.Sprintf("a range has two ends, and this list has %d", len(s.Values)), "write it as [300, 500]")
		return num{}
	}
	var ends [2]float64
	var texts [2]string
	for i, m := range s.Values {
		m = r.plain(m)
		text, ok := r.text(m, field)
		if !ok {
			return num{}
		}
		v, pm, ok := r.amount(m, field, text, q)
		if !ok || !r.inside(m, field, text, v, q) {
			return num{}
		}
		if pm != 0 {
			r.fail(m, "range-form", field, text, "an end of a range takes no ± part", "write either [a, b] or a ± b")
			return num{}
		}
		ends[i], texts[i] = v, text
	}
	text := "[" + texts[0] + ", " + texts[1] + "]"
	if !(ends[0] < ends[1]) {
		r.fail(s, "range-form", field, text, "the ends of a range must rise", "write the smaller end first, and a single value without brackets")
		return num{}
	}
	return r.addUncertain(s, Uncertain{Field: field, Text: text, A: ends[0], B: ends[1], Lo: q.lo, Hi: q.hi})
}

func (r *cookReader) addUncertain(n ast.Node, u Uncertain) num {
	if i, ok := r.seen[n]; ok {
		return num{v: u.Central(), index: i, set: true}
	}
	p := n.GetToken().Position
	u.Line, u.Column = p.Line, p.Column
	r.uncertain = append(r.uncertain, u)
	r.seen[n] = len(r.uncertain)
	return num{v: u.Central(), index: len(r.uncertain), set: true}
}

// amount parses one scalar by its rule to SI.
func (r *cookReader) amount(n ast.Node, field, text string, q rule) (v, pm float64, ok bool) {
	if q.kind == quantity.KindNumber {
		// Not guessed from the text: in "400 ± 20 %" the percentage is of 400.
		if b, err := quantity.ParseAmount(quantity.KindNumber, text); err == nil {
			return b.Value, b.Pm, true
		}
	}
	a, err := quantity.Parse(text)
	if err != nil {
		// The kind's own parser knows better what would be right.
		if q.kind != quantity.KindOther && !q.share {
			_, err = quantity.ParseAmount(q.kind, text)
		}
		if err != nil {
			r.passOn(n, field, text, err)
			return 0, 0, false
		}
	}
	switch {
	case q.share:
		switch {
		case a.Kind == quantity.KindPercent:
			return a.Value / 100, a.Pm / 100, true
		case a.Kind == quantity.KindNumber && q.bare:
			return a.Value, a.Pm, true
		}
		fix := "write it in per cent, such as " + q.example
		if a.Kind == quantity.KindNumber {
			r.fail(n, "no-unit", field, text, "this needs its % sign", fix)
		} else {
			r.fail(n, "wrong-kind", field, text, fmt.Sprintf("this is a %s, and a percentage is wanted", a.Kind), fix)
		}
		return 0, 0, false
	case q.kind == quantity.KindOther:
		if size, known := q.units[a.Unit]; known {
			return a.Value * size, a.Pm * size, true
		}
		r.fail(n, "unknown-unit", field, text, "the unit is missing or not one that is read here", "write it as "+q.example)
		return 0, 0, false
	case q.kind == quantity.KindNumber:
		r.fail(n, "bare-number", field, text, "this is a bare number in SI units, without a unit", "write it as "+q.example)
		return 0, 0, false
	}
	b, err := quantity.ParseAmount(q.kind, text)
	if err != nil {
		r.passOn(n, field, text, err)
		return 0, 0, false
	}
	return b.Value, b.Pm, true
}

// inside checks a value against its rule.
func (r *cookReader) inside(n ast.Node, field, text string, v float64, q rule) bool {
	low := v < q.lo || q.above && v == q.lo || math.IsNaN(v)
	if !low && v <= q.hi {
		return true
	}
	word := "too large"
	if low {
		word = "too small"
	}
	fix := fmt.Sprintf("it must lie between %s and %s", q.show(q.lo), q.show(q.hi))
	if q.above {
		fix = fmt.Sprintf("it must lie above %s and at most %s", q.show(q.lo), q.show(q.hi))
	}
	if q.why != "" {
		fix += ": " + q.why
	}
	r.fail(n, "out-of-range", field, text, "this is "+word, fix)
	return false
}

// show prints a bound in the unit people write.
func (q rule) show(v float64) string {
	switch {
	case q.share && q.bare:
		return fmt.Sprintf("%g", v)
	case q.share:
		return fmt.Sprintf("%g %%", v*100)
	}
	switch q.kind {
	case quantity.KindTemperature:
		return fmt.Sprintf("%g °C (%.0f °F)", v, quantity.Celsius(v).F())
	case quantity.KindDifference:
		return fmt.Sprintf("%g K", v)
	case quantity.KindLength:
		if math.Abs(v) >= 10 {
			return fmt.Sprintf("%g m", v)
		}
		return fmt.Sprintf("%g mm", v*1e3)
	case quantity.KindDuration:
		return quantity.FormatDuration(quantity.Seconds(v))
	case quantity.KindOther:
		for _, unit := range []string{"m/s", "kPa"} {
			if size, ok := q.units[unit]; ok {
				return fmt.Sprintf("%g %s", v/size, unit)
			}
		}
	}
	return fmt.Sprintf("%g", v)
}

func join(field, key string) string {
	if field == "" {
		return key
	}
	return field + "." + key
}

func named(field string) string {
	if field == "" {
		return "the cook file"
	}
	return field
}
