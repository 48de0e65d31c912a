package study

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

func (p *parser) readingDef(n ast.Node, at string) {
	d := ReadingDef{Kind: Number}
	var resolution string
	var limits []string
	if !p.object(n, at, fields{
		"id": p.slug(&d.ID), "what": p.text(&d.What), "kind": choice(p.reader, &d.Kind, Number, YesNo, Count, Grade),
		"unit": p.text(&d.Unit), "scale": p.texts(&d.Scale), "judged": p.yesNo(&d.Judged),
		"resolution": p.text(&resolution), "limits": p.texts(&limits),
	}) {
		return
	}
	p.needID(n, at, d.ID, "reading")
	if _, taken := LookupResponse(d.ID); taken {
		p.report(lookup(n, "id"), at+".id", "reserved-name", "choose another name", "trivet computes a response of this name itself")
	}
	switch {
	case d.Kind == Number && d.Unit == "":
		p.report(n, at, "no-unit", `add "unit: " and its unit, such as "N" or "mm"`, "a number needs a unit")
	case d.Kind != Number && d.Unit != "":
		p.report(lookup(n, "unit"), at+".unit", "unit-unused", "remove the unit, or write \"kind: number\"", "a %s reading takes no unit", d.Kind)
	case d.Kind == Grade:
		p.scale(orNode(lookup(n, "scale"), n), at+".scale", d.Scale)
	}
	p.readingRange(n, at, &d, resolution, limits)
	p.study.Readings = append(p.study.Readings, d)
}

// readingRange reads the step and the limits of a reading, which are numbers in
// its own unit.
func (p *parser) readingRange(n ast.Node, at string, d *ReadingDef, resolution string, limits []string) {
	number := func(text string) (float64, bool) {
		m := numberForm.FindStringSubmatch(strings.ReplaceAll(text, "−", "-"))
		if m == nil || m[2] != "" && m[2] != d.Unit || m[3] != "" {
			return 0, false
		}
		return parseNumber(m[1])
	}
	if resolution != "" {
		step, ok := number(resolution)
		switch {
		case d.Kind != Number:
			p.report(lookup(n, "resolution"), at+".resolution", "resolution-unused", "remove it, or write \"kind: number\"", "a %s reading has no resolution", d.Kind)
		case !ok || !(step > 0):
			p.report(lookup(n, "resolution"), at+".resolution", "resolution", "write a number above zero in the reading's unit, such as \"resolution: 0.1\"", "not a step in which this is read")
		default:
			d.Resolution = step
		}
	}
	if len(limits) == 0 {
		return
	}
	if d.Kind != Number && d.Kind != Count {
		p.report(lookup(n, "limits"), at+".limits", "limits-unused", "remove them", "a %s reading has no limits", d.Kind)
		return
	}
	bad := func() {
		p.report(lookup(n, "limits"), at+".limits", "limits", "write the least and the most that it can be, in the reading's unit, such as \"limits: [0, 200]\"", "limits are two numbers that rise")
	}
	if len(limits) != 2 {
		bad()
		return
	}
	least, ok1 := number(limits[0])
	most, ok2 := number(limits[1])
	if !ok1 || !ok2 || !(least < most) {
		bad()
		return
	}
	d.Least, d.Most = &least, &most
}

// outside finds a value beyond the limits of a reading.
func (d ReadingDef) outside(values []float64) (v float64, found bool) {
	if d.Least == nil || d.Most == nil || d.Kind != Number && d.Kind != Count {
		return 0, false
	}
	i := slices.IndexFunc(values, func(v float64) bool { return v < *d.Least || v > *d.Most })
	if i < 0 {
		return 0, false
	}
	return values[i], true
}

// limitsText is the range of a reading with its unit.
func (d ReadingDef) limitsText() string {
	return strings.TrimSpace(exact(*d.Least) + " to " + exact(*d.Most) + " " + d.Unit)
}

// scale checks the ordered words of a grade.
func (p *parser) scale(n ast.Node, at string, scale []string) {
	if len(scale) < 2 {
		p.report(n, at, "no-scale", `write its words from lowest to highest, such as "scale: [pale, golden, brown]"`, "a grade needs its ordered scale")
		return
	}
	for i, w := range scale {
		if slices.Contains(scale[:i], w) {
			p.report(n, at, "duplicate-grade", "give each grade its own word", "the grade %q stands twice on the scale", w)
		}
	}
}

// readings reads the typed-in responses of a cook. Their declarations may
// stand anywhere in the document, so the values are read at the end.
func (p *parser) readings(n ast.Node, at string) {
	i := len(p.study.Cooks) // where this cook will stand
	p.eachKey(n, at, func(id string, k, v ast.Node, at string) {
		if !isSlug(id) {
			p.report(k, at, "id-form", "use letters, digits, hyphens and underscores, such as "+strconv.Quote(orElse(NewID(id), "shear_force")), "not usable as the name of a reading")
			return
		}
		if r, taken := LookupResponse(id); taken {
			p.report(k, at, "reserved-name", "remove it, or give what was read another name", "trivet computes %s itself", r.ID)
			return
		}
		p.later = append(p.later, func() {
			if i < len(p.study.Cooks) {
				p.reading(v, at, id, &p.study.Cooks[i])
			}
		})
	})
}

// reading reads one typed-in response.
func (p *parser) reading(n ast.Node, at, id string, c *Cook) {
	def, declared := ReadingDef{}, false
	for _, d := range p.study.Readings {
		if d.ID == id {
			def, declared = d, true
		}
	}
	r := Reading{Response: id, Kind: def.Kind, Unit: def.Unit, Grades: def.Scale}
	values := n
	if _, isMap := entries(n); isMap {
		values = nil
		set := func(kind ReadingKind) take {
			return func(v ast.Node, at string) {
				if values != nil {
					p.report(v, at, "two-values", "keep one of value, count and grade", "this reading has two values")
				}
				values = v
				if kind != "" {
					r.Kind = kind
				}
			}
		}
		if !p.object(n, at, fields{
			"value": set(""), "count": set(Count), "grade": set(Grade), "unit": p.text(&r.Unit), "scale": p.texts(&r.Grades),
			"by": p.text(&r.By), "blind": p.yesNo(&r.Blind),
		}) {
			return
		}
		if values == nil {
			p.report(n, at, "missing-value", `add "value: " and what was read`, "this reading has no value")
			return
		}
	}
	if declared && (r.Kind != def.Kind || r.Unit != def.Unit || !slices.Equal(r.Grades, def.Scale)) {
		p.report(n, at, "reading-differs", `follow the declaration under "readings"`, "this reading is not on the scale declared for it")
		return
	}
	if r.Kind == Grade && !declared {
		p.scale(orNode(lookup(n, "scale"), n), at, r.Grades)
	}
	before := len(p.errs)
	p.oneOrList(values, at, func(n ast.Node, at string) { p.value(n, at, &r) })
	if len(p.errs) == before && len(r.Values) == 0 {
		p.report(n, at, "missing-value", "write what was read", "this reading has no value")
	}
	if len(p.errs) > before || len(r.Values) == 0 {
		return
	}
	if _, out := def.outside(r.Values); declared && out {
		p.report(values, at, "outside-limits", "check the value; "+id+" is declared to be "+def.limitsText(), "a value beyond the limits of this reading")
		return
	}
	c.Readings = append(c.Readings, r)
}

// numberForm is a number with an optional unit and an optional ± part.
var numberForm = regexp.MustCompile(`^([+-]?[0-9.]+(?:[eE][+-]?[0-9]+)?)\s*([^0-9±\s][^±]*?)?\s*(?:±\s*([0-9.]+(?:[eE][+-]?[0-9]+)?)\s*([^0-9±\s].*?)?)?$`)

// value reads one value of a reading.
func (p *parser) value(n ast.Node, at string, r *Reading) {
	s, ok := p.scalar(n, at)
	if !ok {
		return
	}
	s = strings.TrimSpace(strings.ReplaceAll(s, "−", "-"))
	if r.Kind == "" {
		r.Kind = Number
		if _, isYesNo := parseYesNo(s); isYesNo {
			r.Kind = YesNo
		}
	}
	switch r.Kind {
	case YesNo:
		v, ok := parseYesNo(s)
		if !ok {
			p.report(n, at, "not-yes-or-no", "write yes or no", "expected yes or no")
			return
		}
		r.Values = append(r.Values, map[bool]float64{true: 1}[v])
	case Count:
		v, ok := parseNumber(s)
		if !ok || v < 0 || v != math.Trunc(v) || v > 1e9 {
			p.report(n, at, "not-a-count", "write a whole number of at least 0", "expected a count")
			return
		}
		r.Values = append(r.Values, v)
	case Grade:
		i := slices.Index(r.Grades, s)
		if i < 0 {
			p.report(n, at, "unknown-grade", "the scale is: "+strings.Join(r.Grades, ", "), "not a grade on the scale")
			return
		}
		r.Values = append(r.Values, float64(i+1))
	default:
		p.numberValue(n, at, s, r)
	}
}

func (p *parser) numberValue(n ast.Node, at, s string, r *Reading) {
	m := numberForm.FindStringSubmatch(s)
	if m == nil {
		p.report(n, at, "not-a-number", `write a number and its unit, such as "38 N" or "38 N ± 2 N"`, "expected a number with its unit")
		return
	}
	v, ok := parseNumber(m[1])
	unit := m[2]
	switch {
	case !ok:
		p.report(n, at, "not-a-number", `write a number and its unit, such as "38 N"`, "expected a number with its unit")
		return
	case unit == "" && r.Unit == "" && m[4] != "":
		unit = m[4] // "38 ± 2 N"
	case unit == "" && r.Unit == "":
		p.report(n, at, "no-unit", `write the unit, such as "38 N"; or {count: 3}; or declare it once under "readings"`, "a number needs a unit")
		return
	case unit == "":
		unit = r.Unit
	}
	if r.Unit == "" {
		r.Unit = unit
	}
	if unit != r.Unit || m[4] != "" && m[4] != unit {
		p.report(n, at, "unit-differs", fmt.Sprintf("write every value of this reading in %s", r.Unit), "two units in one reading")
		return
	}
	if m[3] != "" {
		u, ok := parseNumber(m[3])
		if !ok || u < 0 {
			p.report(n, at, "not-a-number", `write it as "38 N ± 2 N"`, "the ± part is not a number")
			return
		}
		r.StdU = max(r.StdU, u)
	}
	r.Values = append(r.Values, v)
}
