package study

import (
	"cmp"
	"fmt"
	"path"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"trivet/fault"
	"trivet/quantity"
)

// Parse reads a study document. name is the file's name for messages; b its
// bytes. It collects every problem: the error is a fault.List whose members
// carry line, column, the path of the field, the value and what would be
// right. The study returned beside an error holds what could be read.
//
// Parse says what cannot be used; [Check] says what is missing or doubtful
// in a document that can.
func Parse(name string, b []byte) (*Study, error) {
	r := &reader{file: name}
	s := &Study{Format: FormatVersion, Risk: Risk{Alpha: 0.05, Power: 0.8, Mode: "fixed"}}
	top, err := parseTree(name, b)
	if err != nil {
		return s, fault.List{fault.As(err)}
	}
	if top == nil {
		return s, fault.List{fault.New("empty-study", "the study document is empty").In(name).
			WithFix(`begin with "study: " and a title, or run "trivet study new"`)}
	}
	p := &parser{reader: r, study: s, taken: map[string]bool{}}
	p.document(top)
	slices.SortStableFunc(r.errs, func(a, b *fault.Error) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return s, r.errs.Err()
}

// parser reads the parts of a study from its tree.
type parser struct {
	*reader
	study *Study
	// later holds the checks that need the whole document: names that point
	// from one part to another.
	later []func()
	// last holds the checks that need the readings of the cooks too.
	last []func()
	// taken holds the names given so far, as "treatment sear-first".
	taken map[string]bool
}

func (p *parser) document(top ast.Node) {
	s := p.study
	// Clock times anywhere lean on the offset, wherever it stands.
	if v := lookup(top, "utc_offset"); !isNull(v) {
		p.utcOffset(v, "utc_offset")
	}
	ok := p.object(top, "", fields{
		"study":       p.text(&s.Title),
		"id":          p.slug(&s.ID),
		"format":      p.format,
		"claim":       p.claim,
		"questions":   func(n ast.Node, at string) { p.list(n, at, p.question) },
		"treatments":  func(n ast.Node, at string) { p.list(n, at, p.treatment) },
		"blocks":      p.blocks,
		"controlled":  p.controlled,
		"void":        func(n ast.Node, at string) { p.list(n, at, p.voidRule) },
		"readings":    func(n ast.Node, at string) { p.list(n, at, p.readingDef) },
		"risk":        p.risk,
		"design":      p.design,
		"foods":       p.foods,
		"instruments": func(n ast.Node, at string) { p.list(n, at, p.instrument) },
		"lots":        func(n ast.Node, at string) { p.list(n, at, p.lot) },
		"pieces":      func(n ast.Node, at string) { p.list(n, at, p.piece) },
		"cooks":       func(n ast.Node, at string) { p.list(n, at, p.cook) },
		"tastings":    func(n ast.Node, at string) { p.list(n, at, p.tasting) },
		"licence":     p.text(&s.Licence),
		"authors":     p.texts(&s.Authors),
		"invented":    p.yesNo(&s.Invented),
		"utc_offset":  readAlready,
	})
	if !ok {
		return
	}
	if s.Title == "" && isNull(lookup(top, "study")) {
		p.report(top, "study", "missing-title", `write "study: " and a title on the first line`, "the study has no title")
	}
	if s.ID == "" {
		s.ID = NewID(s.Title)
		if s.ID == "" && s.Title != "" {
			p.report(lookup(top, "study"), "id", "missing-id", `add "id: " and a short name in plain letters`,
				"no id can be made from this title")
		}
	}
	for i := 0; i < len(p.later); i++ { // a check may add another
		p.later[i]()
	}
	for _, check := range p.last {
		check()
	}
}

// readAlready stands for a key that was read ahead of its place.
func readAlready(ast.Node, string) {}

func (p *parser) format(n ast.Node, at string) {
	p.whole(&p.study.Format, 1)(n, at)
	if p.study.Format > FormatVersion {
		p.report(n, at, "format-newer", "use a newer trivet",
			"this document has a newer format than this trivet reads (%d)", FormatVersion)
	}
}

func (p *parser) utcOffset(n ast.Node, at string) {
	s, ok := p.scalar(n, at)
	if !ok {
		return
	}
	p.study.UTCOffset, p.study.HasUTCOffset = parseOffset(s)
	if !p.study.HasUTCOffset {
		p.report(n, at, "utc-offset", `write it in quotes, such as "+02:00" or "-05:00"`, "not an offset from UTC")
	}
}

func (p *parser) claim(n ast.Node, at string) {
	c := &p.study.Claim
	p.object(n, at, fields{
		"says": p.text(&c.Says), "scope": p.text(&c.Scope),
		"fair": p.text(&c.Fair), "against": p.text(&c.Against),
	})
}

func (p *parser) treatment(n ast.Node, at string) {
	t := Treatment{}
	if !p.object(n, at, fields{
		"id": p.slug(&t.ID), "name": p.text(&t.Name), "control": p.yesNo(&t.Control),
		"cook": p.relativePath(&t.Cook),
		"set": func(n ast.Node, at string) {
			t.Set = map[string]string{}
			p.eachKey(n, at, func(key string, _, v ast.Node, at string) {
				if s, ok := p.scalar(v, at); ok {
					t.Set[key] = strings.TrimSpace(s)
				}
			})
		},
	}) {
		return
	}
	p.needID(n, at, t.ID, "treatment")
	p.study.Treatments = append(p.study.Treatments, t)
}

// eachKey reads a mapping whose keys are free, in document order.
func (p *parser) eachKey(n ast.Node, at string, each func(key string, k, v ast.Node, at string)) {
	pairs, ok := entries(n)
	if !ok {
		p.report(n, at, "wrong-shape", `write "name: value" below it`, "expected a group of keys, found %s", describe(n))
		return
	}
	seen := map[string]bool{}
	for _, kv := range pairs {
		key, isText := scalarText(kv.Key)
		switch {
		case !isText:
			p.report(kv.Key, at, "unsupported-yaml", "write the keys and values out", "merge keys and compound keys are not read here")
		case seen[key]:
			p.report(kv.Key, join(at, key), "duplicate-key", "keep one of the two", "key written twice")
		default:
			seen[key] = true
			if v, fine := p.plain(kv.Value, join(at, key)); fine && !isNull(v) {
				each(key, kv.Key, v, join(at, key))
			}
		}
	}
}

// needID reports a missing or repeated id of an entry.
func (p *parser) needID(n ast.Node, at, id, what string) {
	p.needName(n, at, "id", id, what, "a short name")
}

// needLabel reports a missing or repeated label of a piece or cook.
func (p *parser) needLabel(n ast.Node, at, label, what string) {
	p.needName(n, at, "label", label, what, "what stands on its tag")
}

func (p *parser) needName(n ast.Node, at, key, name, what, such string) {
	switch {
	case name == "":
		p.report(n, at, fault.Code("missing-"+key), `add "`+key+`: " and `+such, "this %s has no %s", what, key)
	case p.taken[what+" "+name]:
		p.report(lookup(n, key), at+"."+key, fault.Code("duplicate-"+key), "give each its own", "two entries have this %s", key)
	}
	p.taken[what+" "+name] = true
}

// relativePath reads a path below the document's folder.
func (p *parser) relativePath(into *string) take {
	return func(n ast.Node, at string) {
		s, ok := p.scalar(n, at)
		if !ok {
			return
		}
		s = strings.TrimSpace(s)
		if path.IsAbs(s) || strings.ContainsAny(s, `\:`) || path.Clean(s) == ".." ||
			strings.HasPrefix(path.Clean(s), "../") || path.Clean(s) == "." {
			p.report(n, at, "path", "write it relative to the study document, below its folder, with forward slashes, such as cooks/sear-first.yaml",
				"not a path below the study's folder")
			return
		}
		*into = path.Clean(s)
	}
}

func (p *parser) hasTreatment(id string) bool {
	return slices.ContainsFunc(p.study.Treatments, func(t Treatment) bool { return t.ID == id })
}

// refer checks, once all is read, that a name points to one of the names
// there are. what is the plural of what is named.
func (p *parser) refer(n ast.Node, at, name, what string, names func() []string) {
	if name == "" {
		return
	}
	p.later = append(p.later, func() {
		known := names()
		if slices.Contains(known, name) {
			return
		}
		fix := suggestFrom(name, known)
		if len(known) == 0 {
			fix = fmt.Sprintf("add it under %q", what)
		}
		p.report(n, at, "unknown-name", fix, "no such entry under %s", what)
	})
}

func idsOf[T any](list []T, id func(T) string) []string {
	out := make([]string, 0, len(list))
	for _, x := range list {
		if s := id(x); s != "" {
			out = append(out, s)
		}
	}
	return out
}

func (p *parser) treatmentIDs() []string {
	return idsOf(p.study.Treatments, func(t Treatment) string { return t.ID })
}

func (p *parser) blocks(n ast.Node, at string) {
	b := &p.study.Blocks
	p.object(n, at, fields{
		"what": p.text(&b.What), "count": p.whole(&b.Count, 1),
		"pieces": p.whole(&b.Pieces, 1), "spares": p.whole(&b.Spares, 0),
	})
}

// controlKinds are the controlled quantities whose kind is known by name;
// any other name takes its kind from its unit.
var controlKinds = map[string]quantity.Kind{
	"thickness": quantity.KindLength, "width": quantity.KindLength, "length": quantity.KindLength,
	"start": quantity.KindTemperature, "pan": quantity.KindTemperature, "oven": quantity.KindTemperature,
	"bath": quantity.KindTemperature, "fat": quantity.KindTemperature, "room": quantity.KindTemperature,
	"pull": quantity.KindTemperature, "mass": quantity.KindMass, "rest": quantity.KindDuration,
}

func (p *parser) controlled(n ast.Node, at string) {
	p.eachKey(n, at, func(key string, k, v ast.Node, at string) {
		s, ok := p.scalar(v, at)
		if !ok {
			return
		}
		var a quantity.Amount
		var err error
		if kind, known := controlKinds[key]; known {
			a, err = quantity.ParseAmount(kind, s)
		} else {
			a, err = quantity.Parse(s)
		}
		switch {
		case err != nil:
			p.amountFault(v, at, err)
		case a.Kind == quantity.KindNumber:
			p.report(v, at, "no-unit", `write it with its unit and tolerance, such as "30 mm ± 1 mm"`, "a controlled quantity needs a unit")
		case !a.HasPm || !(a.Pm > 0):
			p.report(v, at, "no-tolerance", `write the tolerance behind it, such as "30 mm ± 1 mm"`,
				"a controlled quantity needs its tolerance")
		default:
			p.study.Controlled = append(p.study.Controlled,
				Control{Name: key, Kind: a.Kind, Value: a.Value, Tolerance: a.Pm, Text: a.Text})
		}
	})
}

func (p *parser) voidRule(n ast.Node, at string) {
	v := VoidRule{}
	if !p.object(n, at, fields{"id": p.slug(&v.ID), "when": p.text(&v.When)}) {
		return
	}
	p.needID(n, at, v.ID, "void rule")
	if v.When == "" {
		p.report(n, at, "missing-when", `add "when: " and the sentence that decides it`, "this void rule does not say when a cook is void")
	}
	p.study.VoidRules = append(p.study.VoidRules, v)
}

func (p *parser) risk(n ast.Node, at string) {
	k := &p.study.Risk
	p.object(n, at, fields{
		"alpha": p.share(&k.Alpha, 0, 0.5), "power": p.share(&k.Power, 0.5, 1),
		"mode": choice(p.reader, &k.Mode, "fixed", "sequential", "group-sequential"),
		"looks": func(n ast.Node, at string) {
			p.oneOrList(n, at, func(n ast.Node, at string) {
				var look int
				p.whole(&look, 2)(n, at)
				switch last := len(k.Looks) - 1; {
				case look == 0:
				case last >= 0 && look <= k.Looks[last]:
					p.report(n, at, "looks-order", "write them in order, such as [6, 12, 20]", "looks are numbers of blocks that rise")
				default:
					k.Looks = append(k.Looks, look)
				}
			})
		},
		"spending": choice(p.reader, &k.Spending, "obrien-fleming", "pocock"),
	})
	switch {
	case k.Mode == "group-sequential" && len(k.Looks) == 0:
		p.report(orNode(lookup(n, "looks"), n), at+".looks", "no-looks", "write the numbers of blocks at which you look, such as \"looks: [6, 12, 20]\"",
			"a group-sequential plan names its looks")
	case k.Mode == "group-sequential" && k.Spending == "":
		k.Spending = "obrien-fleming"
	case k.Mode != "group-sequential" && (len(k.Looks) > 0 || k.Spending != ""):
		p.report(orNode(lookup(n, "looks"), n), at+".looks", "looks-unused", "write \"mode: group-sequential\", or remove looks and spending",
			"only a group-sequential plan has looks")
	}
	if k.Mode == "group-sequential" {
		p.last = append(p.last, func() {
			if c := p.study.Blocks.Count; c > 0 && len(k.Looks) > 0 && k.Looks[len(k.Looks)-1] != c {
				p.report(orNode(lookup(n, "looks"), n), at+".looks", "looks-end", fmt.Sprintf("let the last look be at %d blocks", c),
					"the last look is at %d blocks and %d are planned", k.Looks[len(k.Looks)-1], c)
			}
		})
	}
}

func (p *parser) design(n ast.Node, at string) {
	d := &p.study.Design
	p.object(n, at, fields{
		"kind": p.text(&d.Kind), "seed": p.text(&d.Seed),
		"run_order": func(n ast.Node, at string) {
			p.list(n, at, func(n ast.Node, at string) {
				slot := RunSlot{Order: len(d.RunOrder) + 1}
				if !p.object(n, at, fields{
					"order": p.whole(&slot.Order, 1), "block": p.text(&slot.Block), "piece": p.text(&slot.Piece),
					"treatment": p.text(&slot.Treatment), "burner": p.text(&slot.Burner), "code": p.text(&slot.Code),
				}) {
					return
				}
				p.refer(lookup(n, "treatment"), at+".treatment", slot.Treatment, "treatments", p.treatmentIDs)
				if slices.ContainsFunc(d.RunOrder, func(o RunSlot) bool { return o.Order == slot.Order }) {
					p.report(orNode(lookup(n, "order"), n), at+".order", "duplicate-order", "number the cooks 1, 2, 3 …", "two cooks have this place in the run order")
				}
				d.RunOrder = append(d.RunOrder, slot)
			})
		},
	})
}

func orNode(n, other ast.Node) ast.Node {
	if n == nil {
		return other
	}
	return n
}

// referPiece checks a piece label; a study that lists no pieces (they come
// with the plan) is not held to it. The run order may name pieces that are not
// listed yet: [Check] tells of them.
func (p *parser) referPiece(n ast.Node, at, label string) {
	p.later = append(p.later, func() {
		if label == "" || len(p.study.Pieces) == 0 {
			return
		}
		known := idsOf(p.study.Pieces, func(x Piece) string { return x.Label })
		if !slices.Contains(known, label) {
			p.report(n, at, "unknown-name", suggestFrom(label, known), "no such entry under pieces")
		}
	})
}

func (p *parser) foods(n ast.Node, at string) {
	f := &p.study.Foods
	p.object(n, at, fields{
		"animal": choice(p.reader, &f.Animal, "beef", "pork", "lamb", "veal", "game", "chicken", "turkey", "duck",
			"fish", "shellfish", "egg", "none"),
		"form":      choice(p.reader, &f.Form, "intact", "ground", "tenderised", "injected", "stuffed"),
		"allergens": p.texts(&f.Allergens), "fat": p.text(&f.Fat), "eaten": p.yesNo(&f.Eaten),
	})
}

func (p *parser) lot(n ast.Node, at string) {
	l := Lot{}
	if !p.object(n, at, fields{"id": p.slug(&l.ID), "what": p.text(&l.What), "bought": p.text(&l.Bought), "note": p.text(&l.Note)}) {
		return
	}
	p.needID(n, at, l.ID, "lot")
	p.study.Lots = append(p.study.Lots, l)
}

func (p *parser) piece(n ast.Node, at string) {
	x := Piece{}
	if !p.object(n, at, fields{
		"label": p.slug(&x.Label), "lot": p.text(&x.Lot), "block": p.text(&x.Block), "position": p.text(&x.Position),
		"thickness": func(n ast.Node, at string) {
			p.oneOrList(n, at, func(n ast.Node, at string) {
				var m float64
				before := len(p.errs)
				p.amount(quantity.KindLength, &m)(n, at)
				if len(p.errs) == before {
					x.ThicknessM = append(x.ThicknessM, m)
				}
			})
		},
		"mass": p.amount(quantity.KindMass, &x.MassKg),
		"start": func(n ast.Node, at string) {
			if a, ok := p.anAmount(n, at, quantity.KindTemperature); ok {
				x.StartC = &a.Value
			}
		},
		"twin": p.text(&x.Twin), "spare": p.yesNo(&x.Spare),
	}) {
		return
	}
	p.needLabel(n, at, x.Label, "piece")
	if len(x.Lot) > 0 {
		p.later = append(p.later, func() {
			known := idsOf(p.study.Lots, func(l Lot) string { return l.ID })
			if len(known) > 0 && !slices.Contains(known, x.Lot) {
				p.report(lookup(n, "lot"), at+".lot", "unknown-name", suggestFrom(x.Lot, known), "no such entry under lots")
			}
		})
	}
	p.referPiece(lookup(n, "twin"), at+".twin", x.Twin)
	p.study.Pieces = append(p.study.Pieces, x)
}

func (p *parser) tasting(n ast.Node, at string) {
	t := Tasting{}
	if !p.object(n, at, fields{
		"id": p.slug(&t.ID), "question": p.text(&t.Question), "method": p.method(&t.Method),
		"n": p.whole(&t.N, 1), "correct": p.whole(&t.Correct, 0), "cooks": p.texts(&t.Cooks),
		"closed": p.yesNo(&t.Closed), "note": p.text(&t.Note),
	}) {
		return
	}
	p.needID(n, at, t.ID, "tasting")
	p.refer(lookup(n, "question"), at+".question", t.Question, "questions", func() []string {
		return idsOf(p.study.Questions, func(q Question) string { return q.ID })
	})
	if t.Correct > t.N {
		p.report(lookup(n, "correct"), at+".correct", "counts", "check both counts", "more correct answers than the %d assessments", t.N)
	}
	if len(t.Cooks) > 0 {
		p.later = append(p.later, func() {
			known := idsOf(p.study.Cooks, func(c Cook) string { return c.Label })
			for _, label := range t.Cooks {
				if len(known) > 0 && !slices.Contains(known, label) {
					p.report(lookup(n, "cooks"), at+".cooks", "unknown-name", suggestFrom(label, known), "no cook %q under cooks", label)
				}
			}
		})
	}
	p.study.Tastings = append(p.study.Tastings, t)
}
