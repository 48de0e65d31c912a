package study

import (
	"fmt"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"trivet/fault"
	"trivet/quantity"
)

// Covariates lists what a difference can be adjusted for: what is measured on
// a piece before it meets its treatment.
func Covariates() []string { return []string{"thickness", "mass", "start"} }

func (p *parser) question(n ast.Node, at string) {
	line, _ := position(n)
	q := Question{Claim: Higher, Line: line}
	var hasClaim bool
	if !p.object(n, at, fields{
		"id": p.slug(&q.ID), "ask": p.text(&q.Ask), "response": p.text(&q.Response),
		"compare": func(n ast.Node, at string) {
			p.object(n, at, fields{"treatment": p.text(&q.Compare.Treatment), "against": p.text(&q.Compare.Against)})
		},
		"claim": func(n ast.Node, at string) {
			hasClaim = true
			choice(p.reader, &q.Claim, Higher, Lower, Either)(n, at)
		},
		"margin": func(n ast.Node, at string) { p.margin(n, at, &q.Margin) },
		"tasting": func(n ast.Node, at string) {
			q.Tasting = &TastingQuestion{Alpha: 0.05, Beta: 0.10, For: "difference"}
			p.tastingQuestion(n, at, q.Tasting)
		},
		"judged": p.yesNo(&q.Judged), "blind": p.yesNo(&q.Blind),
		"covariates": func(n ast.Node, at string) {
			p.oneOrList(n, at, func(n ast.Node, at string) {
				var name string
				choice(p.reader, &name, Covariates()...)(n, at)
				switch {
				case name == "":
				case slices.Contains(q.Covariates, name):
					p.report(n, at, "duplicate-name", "keep one of them", "this covariate is named twice")
				default:
					q.Covariates = append(q.Covariates, name)
				}
			})
		},
	}) {
		return
	}
	p.needID(n, at, q.ID, "question")
	switch {
	case q.Response != "" && q.Tasting != nil:
		p.report(lookup(n, "tasting"), at+".tasting", "two-questions", "split it: one question for the response, one for the tasting",
			"a question asks about a response or a tasting, not both")
	case q.Response == "" && q.Tasting == nil:
		p.report(n, at, "no-response", `add "response: " and its name, or "tasting: " and its method`,
			"this question says neither which response nor which tasting answers it")
	case q.Tasting != nil:
		for _, key := range []string{"margin", "claim", "covariates"} {
			if v := lookup(n, key); v != nil && !isNull(v) {
				p.report(v, at+"."+key, "not-for-tasting", "remove it; a tasting's size is set by discriminators (or dprime), alpha and beta",
					"a tasting question takes no %s", key)
			}
		}
	}
	if q.Response != "" {
		p.response(lookup(n, "response"), at+".response", &q)
	}
	if q.Claim == "" || !hasClaim {
		q.Claim = Higher
	}
	i := len(p.study.Questions)
	p.study.Questions = append(p.study.Questions, q)
	p.later = append(p.later, func() { p.contrast(n, at, &p.study.Questions[i]) })
}

// contrast fills in a comparison that leaves no choice, and checks the names
// of one that is written.
func (p *parser) contrast(n ast.Node, at string, q *Question) {
	var control string
	var others []string
	for _, t := range p.study.Treatments {
		if t.Control && control == "" {
			control = t.ID
		} else {
			others = append(others, t.ID)
		}
	}
	if q.Compare.Against == "" {
		q.Compare.Against = control
	}
	if q.Compare.Treatment == "" && control != "" && len(others) == 1 {
		q.Compare.Treatment = others[0]
	}
	known := p.treatmentIDs()
	written := orNull(lookup(n, "compare"))
	for _, side := range []struct{ key, id string }{{"treatment", q.Compare.Treatment}, {"against", q.Compare.Against}} {
		if side.id == "" || p.hasTreatment(side.id) {
			continue
		}
		fix := "add it under treatments"
		if len(known) > 0 {
			fix = "there are: " + strings.Join(known, ", ")
			if near := nearest(side.id, known); near != "" {
				fix = fmt.Sprintf("did you mean %q? (there are: %s)", near, strings.Join(known, ", "))
			}
		}
		p.report(orNode(lookup(written, side.key), n), at+".compare."+side.key, "unknown-treatment", fix, "no such treatment")
	}
	if q.Compare.Treatment != "" && q.Compare.Treatment == q.Compare.Against {
		p.report(orNode(lookup(written, "against"), n), at+".compare", "same-treatment", "name two different treatments",
			"this question compares %q with itself", q.Compare.Treatment)
	}
}

// response checks a built-in response's target and the margin's kind.
func (p *parser) response(n ast.Node, at string, q *Question) {
	name, target := SplitResponse(q.Response)
	r, isBuiltIn := LookupResponse(q.Response)
	switch {
	case !isBuiltIn && strings.ContainsAny(q.Response, "()"):
		p.report(n, at, "unknown-response", suggestFrom(name, ResponseNames()), "no built-in response takes this form")
		return
	case !isBuiltIn:
		return // a typed-in reading: Check looks it up
	case r.Target && target == "":
		p.report(n, at, "no-target", `write the core temperature to reach, such as "time_to_core(60 °C)"`, "this response needs a target")
		return
	case !r.Target && strings.ContainsAny(q.Response, "()"):
		p.report(n, at, "no-target", fmt.Sprintf("write %q alone", r.ID), "this response takes no target")
		return
	case r.Target:
		if _, err := quantity.ParseTemperature(target); err != nil {
			p.amountFault(n, at, err)
			return
		}
		q.Response = fmt.Sprintf("%s(%s)", r.ID, target)
	default:
		q.Response = r.ID
	}
}

// margin reads the smallest difference that matters. Whether it fits the
// response is checked once the readings are known.
func (p *parser) margin(n ast.Node, at string, into *quantity.Margin) {
	s, ok := p.scalar(n, at)
	if !ok {
		return
	}
	m, err := quantity.ParseMargin(s)
	if err != nil {
		p.amountFault(n, at, err)
		return
	}
	*into = m
	i := len(p.study.Questions) // the question being read
	p.last = append(p.last, func() {
		if i < len(p.study.Questions) {
			p.marginFits(n, at, &p.study.Questions[i])
		}
	})
}

// marginFits checks a margin against the scale of its response.
func (p *parser) marginFits(n ast.Node, at string, q *Question) {
	if r, isBuiltIn := LookupResponse(q.Response); isBuiltIn {
		q.Margin = inUnitOf(r, q.Margin)
	}
	m := q.Margin
	bad := func(code fault.Code, fix, format string, args ...any) {
		p.report(n, at, "margin-"+code, fix, format, args...)
	}
	if r, isBuiltIn := LookupResponse(q.Response); isBuiltIn {
		fix := fmt.Sprintf("write it as %s", r.Margins())
		if m.MarginKind == quantity.MarginAmount && m.Kind == quantity.KindNumber {
			bad("no-unit", fix, "a margin needs a unit")
			return
		}
		switch r.Kind {
		case quantity.KindPercent:
			if m.MarginKind == quantity.MarginRatio {
				bad("points", "write it in percentage points, such as \"2 points\"",
					"%s is itself in %%, so a margin in %% could mean two things", r.ID)
			} else if m.MarginKind != quantity.MarginPoints {
				bad("unit", fix, "a margin of %s is in points", r.ID)
			}
		case quantity.KindTemperature, quantity.KindDifference:
			if m.MarginKind == quantity.MarginRatio {
				bad("percent-of-temperature", fix, "a percentage of a temperature says nothing")
			} else if m.Kind != quantity.KindDifference {
				bad("unit", fix, "a margin of %s is a difference of temperatures", r.ID)
			}
		case quantity.KindDuration:
			if m.MarginKind == quantity.MarginPoints || m.MarginKind == quantity.MarginAmount && m.Kind != quantity.KindDuration {
				bad("unit", fix, "a margin of %s is a time or a ratio", r.ID)
			}
		case quantity.KindNumber:
			if m.MarginKind != quantity.MarginAmount || m.Kind != quantity.KindOther || m.Unit != r.Unit {
				bad("unit", fix, "a margin of %s is in %s", r.ID, r.Unit)
			}
		default:
			if m.MarginKind == quantity.MarginPoints || m.MarginKind == quantity.MarginAmount && m.Unit != r.Unit {
				bad("unit", fix, "a margin of %s is in %s or a ratio", r.ID, r.Unit)
			}
		}
		return
	}
	d, known := p.study.reading(q.Response)
	if !known {
		if m.MarginKind == quantity.MarginAmount && m.Kind == quantity.KindNumber {
			bad("no-unit", `write it with the unit of the reading, such as "5 N", or "10 %"; a count or grade is declared under "readings"`, "a margin needs a unit")
		}
		return
	}
	switch d.Kind {
	case YesNo:
		if m.MarginKind != quantity.MarginPoints {
			bad("points", `write it in percentage points, such as "20 points"`, "a margin of a yes-no reading is in points of the share of yes")
		}
	case Count:
		if m.MarginKind == quantity.MarginPoints || m.MarginKind == quantity.MarginAmount && m.Kind != quantity.KindNumber {
			bad("unit", `write a plain number such as "2", or "10 %"`, "a margin of a count is a number or a ratio")
		}
	case Grade:
		if m.MarginKind != quantity.MarginAmount || m.Kind != quantity.KindNumber {
			bad("unit", `write a plain number of grades, such as "1"`, "a margin of a grade is a number of grades")
		}
	default:
		switch {
		case d.Unit == "%" && m.MarginKind == quantity.MarginRatio:
			bad("points", `write it in percentage points, such as "2 points"`, "%s is itself in %%, so a margin in %% could mean two things", d.ID)
		case m.MarginKind == quantity.MarginRatio && temperatureUnit(d.Unit):
			bad("percent-of-temperature", `write it as "+2 °C"`, "a percentage of a temperature says nothing")
		case m.MarginKind == quantity.MarginAmount && m.Kind == quantity.KindNumber:
			bad("no-unit", fmt.Sprintf(`write it in %s, such as "5 %s"`, d.Unit, d.Unit), "a margin needs a unit")
		case m.MarginKind == quantity.MarginPoints && d.Unit != "%", m.MarginKind == quantity.MarginAmount && !sameScale(m, d.Unit):
			bad("unit", fmt.Sprintf(`write it in %s, such as "5 %s"`, d.Unit, d.Unit), "this margin is not in the unit of %s", d.ID)
		default:
			q.Margin = inReadingUnit(d.Unit, m)
		}
	}
}

// inReadingUnit converts an amount margin to the unit in which a reading is
// typed in: 0.5 cm for a reading in mm is 5 mm.
func inReadingUnit(unit string, m quantity.Margin) quantity.Margin {
	if m.MarginKind != quantity.MarginAmount || m.Kind == quantity.KindOther {
		return m
	}
	one, err := quantity.ParseAmount(m.Kind, "1 "+unit)
	if m.Kind == quantity.KindDifference {
		one, err = quantity.ParseAmount(m.Kind, "+1 "+unit)
	}
	if err == nil && one.Value > 0 {
		m.Value, m.Kind, m.Unit = round12(m.Value/one.Value), quantity.KindOther, unit
	}
	return m
}

// compoundUnits are units that package quantity does not convert, in the unit
// of the response that uses them (1 K/s = 60 K/min; 1 °F is a step of
// 1/1.8 K; 1 oz = 28.349523125 g).
var compoundUnits = map[string]map[string]float64{
	"K/min": {"K/min": 1, "°C/min": 1, "C/min": 1, "°F/min": 1 / 1.8, "F/min": 1 / 1.8, "K/s": 60, "°C/s": 60},
	"g/min": {"g/min": 1, "g/s": 60, "oz/min": 28.349523125},
	"W":     {"W": 1, "kW": 1000},
}

// inUnitOf converts an amount margin written in another unit of a rate or a
// power to the response's own.
func inUnitOf(r Response, m quantity.Margin) quantity.Margin {
	if size, known := compoundUnits[r.Unit][m.Unit]; known && m.MarginKind == quantity.MarginAmount && m.Kind == quantity.KindOther {
		m.Value, m.Unit = m.Value*size, r.Unit
	}
	return m
}

// sameScale says whether an amount margin is in a unit of the same kind as a
// reading's.
func sameScale(m quantity.Margin, unit string) bool {
	if m.Unit == unit {
		return true
	}
	a, err := quantity.Parse("1 " + unit)
	if err != nil || a.Kind == quantity.KindOther {
		return false
	}
	return a.Kind == m.Kind || a.Kind == quantity.KindTemperature && m.Kind == quantity.KindDifference
}

func temperatureUnit(unit string) bool {
	a, err := quantity.Parse("1 " + unit)
	return err == nil && (a.Kind == quantity.KindTemperature || a.Kind == quantity.KindDifference)
}

func (p *parser) tastingQuestion(n ast.Node, at string, t *TastingQuestion) {
	if !p.object(n, at, fields{
		"method":         p.method(&t.Method),
		"discriminators": p.share(&t.Discriminators, 0, 1),
		"dprime":         p.number(&t.DPrime),
		"alpha":          p.share(&t.Alpha, 0, 0.5),
		"beta":           p.share(&t.Beta, 0, 1),
		"for":            choice(p.reader, &t.For, "difference", "similarity"),
	}) {
		return
	}
	if m := lookup(n, "method"); isNull(m) {
		p.report(n, at, "missing-method", `add "method: triangle"`, "this tasting does not name its method")
	}
	if t.DPrime < 0 {
		p.report(lookup(n, "dprime"), at+".dprime", "out-of-range", "write a distance above 0, such as 1.0", "d′ cannot be negative")
	}
	if t.DPrime > 0 && t.Discriminators > 0 {
		p.report(lookup(n, "dprime"), at+".dprime", "two-sizes", "keep one of the two", "the size is given both as discriminators and as d′")
	}
}

// method reads the name of a sensory test.
func (p *parser) method(into *string) take {
	return func(n ast.Node, at string) {
		s, ok := p.scalar(n, at)
		if !ok {
			return
		}
		name, known := methodName(s)
		if !known {
			p.report(n, at, "unknown-method", suggestFrom(strings.TrimSpace(s), tastingMethods()), "no tasting method of that name")
			return
		}
		*into = name
	}
}

// reading finds the declaration of a typed-in response, or what its first
// reading in a cook says of it.
func (s *Study) reading(id string) (ReadingDef, bool) {
	for _, d := range s.Readings {
		if d.ID == id {
			return d, true
		}
	}
	for _, c := range s.Cooks {
		for _, r := range c.Readings {
			if r.Response == id {
				return ReadingDef{ID: id, Kind: r.Kind, Unit: r.Unit, Scale: r.Grades}, true
			}
		}
	}
	return ReadingDef{}, false
}
