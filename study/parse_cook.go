package study

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/goccy/go-yaml/ast"
	"github.com/google/uuid"

	"trivet/quantity"
)

func (p *parser) cook(n ast.Node, at string) {
	line, _ := position(n)
	c := Cook{Role: Planned, Line: line}
	// Times anywhere in the cook lean on its day and its heat-on mark,
	// wherever they stand.
	if v := lookup(n, "day"); !isNull(v) {
		p.day(&c.Day)(v, at+".day")
	}
	if v := lookup(n, "marks"); !isNull(v) {
		p.marks(v, at+".marks", &c)
	}
	if !p.object(n, at, fields{
		"id": p.uuid(&c.ID), "label": p.slug(&c.Label), "block": p.text(&c.Block), "piece": p.text(&c.Piece),
		"treatment": p.text(&c.Treatment), "role": choice(p.reader, &c.Role, Pilot, Planned, Spare, Void),
		"order": p.whole(&c.Order, 1), "day": readAlready,
		"void":  func(n ast.Node, at string) { p.void(n, at, &c) },
		"logs":  func(n ast.Node, at string) { p.oneOrList(n, at, func(n ast.Node, at string) { p.log(n, at, &c) }) },
		"marks": readAlready,
		"weighings": func(n ast.Node, at string) {
			p.weighings(n, at, &c)
		},
		"readings": p.readings,
		"deviations": func(n ast.Node, at string) {
			p.oneOrList(n, at, func(n ast.Node, at string) { p.deviation(n, at, &c) })
		},
	}) {
		return
	}
	p.needLabel(n, at, c.Label, "cook")
	if c.Treatment == "" {
		p.report(n, at, "missing-treatment", `add "treatment: " and its id`, "this cook has no treatment")
	}
	p.refer(orNode(lookup(n, "treatment"), n), at+".treatment", c.Treatment, "treatments", p.treatmentIDs)
	p.referPiece(lookup(n, "piece"), at+".piece", c.Piece)
	i := len(p.study.Cooks)
	p.study.Cooks = append(p.study.Cooks, c)
	p.later = append(p.later, func() { p.finishCook(n, at, &p.study.Cooks[i]) })
}

// finishCook checks what needs the whole document and gives ids to what was
// written without one.
func (p *parser) finishCook(n ast.Node, at string, c *Cook) {
	if c.Role == Void {
		switch {
		case c.VoidRule == "":
			p.report(orNode(lookup(n, "role"), n), at+".role", "void-without-rule",
				`add "void: {rule: …, why: …}" naming a rule under "void" at the top`, "a void cook needs the rule that removed it")
		default:
			p.refer(lookup(n, "void"), at+".void.rule", c.VoidRule, "void", func() []string {
				return idsOf(p.study.VoidRules, func(v VoidRule) string { return v.ID })
			})
		}
	} else if c.VoidRule != "" {
		p.report(lookup(n, "void"), at+".void", "void-role", `write "role: void" too, or remove this`, "this cook names a void rule but its role is %s", c.Role)
	}
	if c.Piece != "" {
		for _, x := range p.study.Pieces {
			if x.Label != c.Piece {
				continue
			}
			if c.Block == "" {
				c.Block = x.Block
			} else if x.Block != "" && x.Block != c.Block {
				p.report(lookup(n, "block"), at+".block", "block-differs", fmt.Sprintf("write block %s, or leave it out", x.Block),
					"piece %s is from block %s", x.Label, x.Block)
			}
		}
	}
	name := func(id *string, parts ...string) {
		if *id == "" {
			*id = namedID(append([]string{p.study.ID, c.Label}, parts...)...)
		}
	}
	name(&c.ID, "cook")
	for i := range c.Marks {
		name(&c.Marks[i].ID, "mark", string(c.Marks[i].Kind), fmt.Sprint(i))
	}
	for i := range c.Weighings {
		name(&c.Weighings[i].ID, "weighing", string(c.Weighings[i].Stage), fmt.Sprint(i))
	}
	for i := range c.Readings {
		name(&c.Readings[i].ID, "reading", c.Readings[i].Response)
	}
}

func (p *parser) uuid(into *string) take {
	return func(n ast.Node, at string) {
		s, ok := p.scalar(n, at)
		if !ok {
			return
		}
		id, err := uuid.Parse(strings.TrimSpace(s))
		if err != nil {
			p.report(n, at, "not-a-uuid", "leave it out: trivet gives each cook an id", "not a UUID")
			return
		}
		*into = id.String()
	}
}

func (p *parser) day(into *string) take {
	return func(n ast.Node, at string) {
		s, ok := p.scalar(n, at)
		if !ok {
			return
		}
		s = strings.TrimSpace(s)
		if _, err := time.Parse(time.DateOnly, s); err != nil {
			p.report(n, at, "not-a-date", "write it as 2026-03-01", "not a date")
			*into = ""
			return
		}
		*into = s
	}
}

func (p *parser) void(n ast.Node, at string, c *Cook) {
	p.object(n, at, fields{
		"rule": p.text(&c.VoidRule), "why": p.text(&c.VoidWhy),
		"at": func(n ast.Node, at string) {
			if t, ok := p.clock(n, at, c.Day); ok {
				c.VoidedAt = t
			}
		},
	})
}

// clock reads a clock time.
func (p *parser) clock(n ast.Node, at, day string) (time.Time, bool) {
	s, ok := p.scalar(n, at)
	if !ok {
		return time.Time{}, false
	}
	offset, hasOffset := p.offset()
	t, err := parseClock(s, day, offset, hasOffset)
	if err != nil {
		p.report(n, at, "clock", `write it as "2026-03-01 17:02:10 +01:00", or give "day" in the cook and "utc_offset" once at the top`, "%s", err)
		return time.Time{}, false
	}
	return t, true
}

// offset returns the document's offset from UTC, which may stand below the
// cooks.
func (p *parser) offset() (minutes int, ok bool) { return p.study.UTCOffset, p.study.HasUTCOffset }

func (p *parser) log(n ast.Node, at string, c *Cook) {
	l := LogRef{}
	if _, isText := scalarText(n); isText {
		p.relativePath(&l.File)(n, at)
	} else {
		p.object(n, at, fields{"file": p.relativePath(&l.File), "map": p.text(&l.Map), "sha256": p.text(&l.SHA256)})
	}
	if l.File != "" {
		c.Logs = append(c.Logs, l)
	}
}

// markKeys are the keys under marks and the events they time.
var markKeys = []struct {
	key  string
	kind MarkKind
}{
	{"turn", Turn}, {"fat_in", FatIn}, {"spooning_start", SpooningStart}, {"spooning_stop", SpooningStop},
	{"off_heat", OffHeat}, {"cut", Cut}, {"served", Served}, {"sync", Sync}, {"note", NoteMark},
}

// marks reads times from heat on. heat_on itself says when that was on the
// traces' clock: a span since the start of the log, or a clock time; with a
// clock time the other marks may be clock times too.
func (p *parser) marks(n ast.Node, at string, c *Cook) {
	if hn := lookup(n, "heat_on"); hn != nil && !isNull(hn) {
		s, _ := scalarText(hn)
		if isClock(s) {
			if t, ok := p.clock(hn, at+".heat_on", c.Day); ok {
				c.ZeroUS, c.ZeroSet = t.UnixMicro(), true
			}
		} else if us, ok := p.span(hn, at+".heat_on"); ok {
			c.ZeroUS, c.ZeroSet = us, true
		}
		c.Marks = append(c.Marks, Mark{Kind: HeatOn, Source: "typed"})
	}
	known := fields{"heat_on": func(ast.Node, string) {}}
	for _, m := range markKeys {
		known[m.key] = func(n ast.Node, at string) {
			p.oneOrList(n, at, func(n ast.Node, at string) {
				mark := Mark{Kind: m.kind, Source: "typed"}
				when := n
				if _, isScalar := scalarText(n); !isScalar {
					when = nil
					if !p.object(n, at, fields{"at": func(v ast.Node, _ string) { when = v }, "note": p.text(&mark.Note)}) {
						return
					}
					if when == nil {
						p.report(n, at, "missing-time", `add "at: " and the time from heat on`, "this mark has no time")
						return
					}
				}
				if us, ok := p.fromHeatOn(when, at, c); ok {
					mark.AtUS = us
					c.Marks = append(c.Marks, mark)
				}
			})
		}
	}
	p.object(n, at, known)
	slices.SortStableFunc(c.Marks, func(a, b Mark) int { return cmp.Compare(a.AtUS, b.AtUS) })
}

// fromHeatOn reads a time as µs from heat on.
func (p *parser) fromHeatOn(n ast.Node, at string, c *Cook) (us int64, ok bool) {
	s, ok := p.scalar(n, at)
	if !ok {
		return 0, false
	}
	if !isClock(s) {
		return p.span(n, at)
	}
	t, ok := p.clock(n, at, c.Day)
	if !ok {
		return 0, false
	}
	const epochLike = int64(mostTimeS) * 1e6
	if !c.ZeroSet || c.ZeroUS < epochLike {
		p.report(n, at, "clock-without-zero", `give heat_on as a clock time too, or write the time from heat on, such as "12:30"`,
			"a clock time is of use only when heat_on is one")
		return 0, false
	}
	us = t.UnixMicro() - c.ZeroUS
	if !hasDate(s) && us < -sixHoursUS {
		us += 4 * sixHoursUS // the cook ran past midnight
	}
	return us, true
}

// sixHoursUS before heat on is the earliest that a clock time without a date
// is taken to mean.
const sixHoursUS = int64(6*3600) * 1e6

type stageKey struct {
	key   string
	stage Stage
}

// stageKeys are the keys under weighings in the order in which they happen.
var stageKeys = []stageKey{
	{"untrimmed", Untrimmed}, {"unblotted", Unblotted}, {"raw", Raw}, {"during", DuringCook}, {"off_heat", AtPull}, {"rested", AfterRest}, {"cut", AfterCut}, {"drip", Drip},
}

func (p *parser) weighings(n ast.Node, at string, c *Cook) {
	var resolutionKg float64
	known := fields{"resolution": p.amount(quantity.KindMass, &resolutionKg)}
	for _, k := range stageKeys {
		known[k.key] = func(n ast.Node, at string) {
			each := func(n ast.Node, at string) { p.weighing(n, at, k.stage, c) }
			if k.stage == DuringCook {
				p.oneOrList(n, at, each)
			} else {
				each(n, at)
			}
		}
	}
	if !p.object(n, at, known) {
		return
	}
	for i := range c.Weighings {
		if c.Weighings[i].ResG == 0 {
			c.Weighings[i].ResG = round12(resolutionKg * 1e3)
		}
	}
	rank := func(s Stage) int { return slices.IndexFunc(stageKeys, func(k stageKey) bool { return k.stage == s }) }
	slices.SortStableFunc(c.Weighings, func(a, b Weighing) int { return rank(a.Stage) - rank(b.Stage) })
	// Stages happen in one order; drip and weighings during the cook may be
	// taken at any time.
	var last *Weighing
	for i := range c.Weighings {
		w := &c.Weighings[i]
		if !w.HasAt || w.Stage == Drip || w.Stage == DuringCook {
			continue
		}
		if last != nil && w.AtUS < last.AtUS {
			key := stageKeys[rank(w.Stage)].key
			p.report(lookup(n, key), join(at, key), "weighings-order", "check both times", "weighed %s before it was weighed %s",
				inWords(w.Stage), inWords(last.Stage))
		}
		last = w
	}
}

func inWords(s Stage) string {
	switch s {
	case Untrimmed:
		return "before trimming"
	case Unblotted:
		return "before blotting"
	case AtPull:
		return "off the heat"
	case AfterRest:
		return "after the rest"
	case AfterCut:
		return "after cutting"
	case DuringCook:
		return "during the cook"
	}
	return string(s)
}

func (p *parser) weighing(n ast.Node, at string, stage Stage, c *Cook) {
	w := Weighing{Stage: stage}
	var massKg, resKg float64
	mass := n
	if _, isScalar := scalarText(n); !isScalar {
		mass = nil
		if !p.object(n, at, fields{
			"mass": func(v ast.Node, _ string) { mass = v },
			"at": func(v ast.Node, at string) {
				w.AtUS, w.HasAt = p.fromHeatOn(v, at, c)
			},
			"resolution": p.amount(quantity.KindMass, &resKg), "note": p.text(&w.Note),
		}) {
			return
		}
		if mass == nil {
			p.report(n, at, "missing-mass", `add "mass: " and what the scale showed, such as "250.4 g"`, "this weighing has no mass")
			return
		}
		at = join(at, "mass")
	}
	before := len(p.errs)
	p.amount(quantity.KindMass, &massKg)(mass, at)
	if len(p.errs) > before {
		return
	}
	if massKg == 0 && stage != Drip {
		p.report(mass, at, "mass-zero", "write what the scale showed, or leave the weighing out", "a piece cannot weigh nothing")
		return
	}
	w.MassG, w.ResG = round12(massKg*1e3), round12(resKg*1e3)
	c.Weighings = append(c.Weighings, w)
}

func (p *parser) deviation(n ast.Node, at string, c *Cook) {
	d := Deviation{}
	if s, isText := scalarText(n); isText {
		d.What = strings.TrimSpace(s)
	} else if !p.object(n, at, fields{
		"at": func(v ast.Node, at string) { d.AtUS, _ = p.fromHeatOn(v, at, c) }, "what": p.text(&d.What), "why": p.text(&d.Why),
	}) {
		return
	}
	if d.What == "" {
		p.report(n, at, "missing-what", `add "what: " and what happened`, "this deviation says nothing")
		return
	}
	c.Deviations = append(c.Deviations, d)
}
