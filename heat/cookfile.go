package heat

import (
	"fmt"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"trivet/fault"
	"trivet/quantity"
)

// Cook is a parsed cook file.
type Cook struct {
	Name string // name of the file, for messages
	// Spec is the cook at the central values of what is uncertain.
	Spec Spec
	// Uncertain lists the uncertain values in the order of the file.
	Uncertain []Uncertain

	doc    *cookDoc
	places map[string]place
}

// Uncertain is a value that a cook file gives as "A ± B" (normal with mean A
// and standard deviation B) or "[A, B]" (uniform), in SI. Draws stay inside
// Lo…Hi.
type Uncertain struct {
	Field  string // e.g. "legs[0].bottom.contact"
	Text   string // as written
	Line   int
	Column int
	Normal bool
	A, B   float64
	Lo, Hi float64
}

// Central returns the mean of a normal, the middle of a uniform value.
func (u Uncertain) Central() float64 {
	if u.Normal {
		return u.A
	}
	return (u.A + u.B) / 2
}

// ParseCook reads a cook file in YAML. Every error tells file, line, column,
// field, the value and what would be right; up to twenty are returned in one
// pass as a fault.List.
//
// Quantities are written as a cook writes them ("38 mm", "1 1/2 in",
// "325 °F", "12 min 30 s"); coefficients and material constants are bare SI.
// Any number may be written as "400 ± 80" or "[300, 500]". The keys are
// described by [CookSchema].
func ParseCook(name string, src []byte) (*Cook, error) {
	r := &cookReader{file: name, anchors: map[string]ast.Node{}, seen: map[ast.Node]int{}, places: map[string]place{}}
	body := r.root(src)
	if body == nil || !r.collect(body, 0) {
		return nil, r.errs.Err()
	}
	doc := r.cook(body)
	if len(r.errs) > 0 {
		return nil, r.errs
	}
	r.check(doc)
	if len(r.errs) > 0 {
		return nil, r.errs
	}
	c := &Cook{Name: name, Spec: doc.spec(nil), Uncertain: r.uncertain, doc: doc, places: r.places}
	if err := c.Spec.Check(); err != nil {
		return nil, c.Locate(err)
	}
	return c, nil
}

// Locate places an error of running the cook in its file: the name and, where
// the error tells its field, the line that holds it or the nearest part of
// the file above it. Other errors are returned as they are.
func (c *Cook) Locate(err error) error {
	e := fault.As(err)
	if e == nil {
		return err
	}
	e = e.In(c.Name)
	for field := e.Field; field != "" && e.Line == 0; field = field[:max(0, strings.LastIndexAny(field, ".["))] {
		if at, ok := c.places[field]; ok {
			return e.At(at.line, at.column)
		}
	}
	return e
}

// At returns the cook for one draw of the uncertain values, in the order of
// [Cook.Uncertain]; nil gives the central values.
func (c *Cook) At(draw []float64) Spec { return c.doc.spec(draw) }

// cookDoc is a cook file as it was written, its numbers in SI.
type cookDoc struct {
	piece    pieceDoc
	moisture moistureDoc
	altitude num
	pressure num
	legs     []legDoc
	output   outputDoc
}

type pieceDoc struct {
	shape       Shape
	thickness   num
	diameter    num
	start       num
	profile     []ProfilePoint
	food        string
	composition [6]num // in the order of compositionKeys, shares
	material    [6]num // in the order of materialKeys
	mixing      Mixing
	at          ast.Node
}

var (
	pieceKeys       = []string{"shape", "thickness", "diameter", "start", "food", "composition", "material", "mixing"}
	compositionKeys = []string{"water", "protein", "fat", "carbohydrate", "fibre", "ash"}
	materialKeys    = []string{"conductivity", "density", "specific_heat", "water", "crust_conductivity", "crust_specific_heat"}
	materialRules   = []rule{
		{kind: quantity.KindNumber, lo: 0.01, hi: 500, example: "0.5, in W/(m·K)"},
		{kind: quantity.KindNumber, lo: 20, hi: 20000, example: "1050, in kg/m³"},
		{kind: quantity.KindNumber, lo: 100, hi: 10000, example: "3500, in J/(kg·K)"},
		{share: true, lo: 0, hi: 1, example: "74 %"},
		{kind: quantity.KindNumber, lo: 0.01, hi: 10, example: "0.2, in W/(m·K)"},
		{kind: quantity.KindNumber, lo: 100, hi: 10000, example: "1700, in J/(kg·K)"},
	}
	ruleComponent = rule{share: true, lo: 0, hi: 1, example: "72 %"}
)

type moistureDoc struct {
	on      bool
	release [8]num // in the order of releaseKeys
	given   bool   // release was written
	diff    num
	rise    num
	shrink  num
}

var (
	moistureKeys = []string{"on", "release", "diffusivity", "boiling_rise", "shrinkage"}
	releaseKeys  = []string{"a1", "t1", "w1", "a2", "t2", "w2", "rate_60", "ea"}
	releaseSI    = []string{"a1", "t1_c", "w1_k", "a2", "t2_c", "w2_k", "rate_60_per_s", "ea_j_mol"}
	releaseRules = []rule{
		{share: true, bare: true, lo: 0, hi: 1, example: "0.17"},
		{kind: quantity.KindTemperature, lo: 0, hi: 150},
		{kind: quantity.KindDifference, lo: 0, hi: 50, above: true},
		{share: true, bare: true, lo: 0, hi: 1, example: "0.30"},
		{kind: quantity.KindTemperature, lo: 0, hi: 150},
		{kind: quantity.KindDifference, lo: 0, hi: 50, above: true},
		{kind: quantity.KindNumber, lo: 0, hi: 10, example: "3e-4, per second at 60 °C"},
		{kind: quantity.KindNumber, lo: 0, hi: 1e6, example: "100000, in J/mol"},
	}
)

type legDoc struct {
	name             string
	rest             bool
	bottom, top, rim *faceDoc
	turn             *turnDoc
	ends             [4]num // time, core, surface, coldest
	also             []actionDoc
	at               ast.Node
}

type turnDoc struct {
	every, rise num
	at          []num
}

type actionDoc struct {
	turns            int
	last, from       num
	bottom, top, rim *faceDoc
}

var (
	cookKeys   = []string{"piece", "moisture", "altitude", "pressure", "legs", "output"}
	legKeys    = []string{"name", "rest", "bottom", "top", "rim", "turn", "ends_when", "also"}
	turnKeys   = []string{"every", "at", "core_rise"}
	endKeys    = []string{"time", "core", "surface", "coldest"}
	actionKeys = []string{"from_turns_before_end", "last", "from", "bottom", "top", "rim"}
	outputKeys = []string{"every", "depths", "snapshots", "even_band"}
)

type outputDoc struct {
	every     num
	depths    []num
	snapshots []num
	band      num
}

func (r *cookReader) cook(n ast.Node) *cookDoc {
	got := r.object(n, "", cookKeys...)
	doc := &cookDoc{moisture: moistureDoc{on: true}}
	if got == nil {
		return doc
	}
	if v, ok := got["piece"]; ok {
		r.piece(v, &doc.piece)
	} else {
		r.fail(n, "missing-key", "piece", "", "the cook has no piece", "say what is cooked: piece: {shape: slab, thickness: 30 mm, start: 5 °C, food: chicken breast}")
	}
	if v, ok := got["moisture"]; ok {
		r.moisture(v, &doc.moisture)
	}
	if v, ok := got["altitude"]; ok {
		doc.altitude = r.number(v, "altitude", rule{kind: quantity.KindLength, lo: 0, hi: 9000})
	}
	if v, ok := got["pressure"]; ok {
		doc.pressure = r.number(v, "pressure", rule{kind: quantity.KindOther, units: pressureUnits, lo: 20e3, hi: 200e3, example: "101.3 kPa"})
		if doc.altitude.set {
			r.fail(v, "cook-form", "pressure", "", "altitude and pressure say the same thing twice", "keep one")
		}
	}
	if v, ok := got["legs"]; ok {
		items := r.list(v, "legs", true)
		if len(items) > mostLegs {
			r.fail(v, "cook-form", "legs", "", fmt.Sprintf("%d legs are too many; at most %d are read", len(items), mostLegs), "")
			items = nil
		}
		for i, item := range items {
			doc.legs = append(doc.legs, r.leg(item, fmt.Sprintf("legs[%d]", i), i))
		}
		if len(items) == 0 {
			r.fail(v, "missing-key", "legs", "", "the cook has no legs", "write at least one leg with bottom, top and ends_when")
		}
	} else {
		r.fail(n, "missing-key", "legs", "", "the cook has no legs", "write at least one leg with bottom, top and ends_when")
	}
	if v, ok := got["output"]; ok {
		r.output(v, &doc.output)
	}
	return doc
}

func (r *cookReader) piece(n ast.Node, p *pieceDoc) {
	p.at, p.shape = n, Slab
	got := r.object(n, "piece", pieceKeys...)
	if got == nil {
		return
	}
	if v, ok := got["shape"]; ok {
		text, _ := r.text(v, "piece.shape")
		switch Shape(text) {
		case Slab, Disc:
			p.shape = Shape(text)
		default:
			r.fail(v, "unknown-shape", "piece.shape", text, "a piece is a slab or a disc", "write slab (wide and flat) or disc (then diameter too)")
		}
	}
	need := func(key, fix string, to *num, q rule) {
		if v, ok := got[key]; ok {
			*to = r.number(v, "piece."+key, q)
			return
		}
		r.fail(n, "missing-key", "piece."+key, "", "the piece has no "+key, fix)
	}
	need("thickness", "write it like thickness: 30 mm", &p.thickness, ruleThickness)
	if v, ok := got["start"]; ok && r.isProfile(v) {
		p.profile = r.profile(v)
	} else {
		need("start", "write it like start: 5 °C", &p.start, ruleStart)
	}
	if v, ok := got["diameter"]; ok {
		p.diameter = r.number(v, "piece.diameter", ruleDiameter)
		if p.shape == Slab {
			r.fail(v, "cook-form", "piece.diameter", "", "a slab has no diameter", "write shape: disc, or leave the diameter out")
		}
	} else if p.shape == Disc {
		r.fail(n, "missing-key", "piece.diameter", "", "a disc needs its diameter", "write it like diameter: 70 mm")
	}
	r.matter(got, n, p)
}

// matter reads what the piece is made of.
func (r *cookReader) matter(got map[string]ast.Node, n ast.Node, p *pieceDoc) {
	food, isFood := got["food"]
	comp, isComp := got["composition"]
	mat, isMat := got["material"]
	if isFood {
		text, _ := r.text(food, "piece.food")
		if f, err := FindFood(text); err != nil {
			r.passOn(food, "piece.food", text, err)
		} else {
			p.food = f.Name
		}
	}
	if isComp {
		parts := r.object(comp, "piece.composition", compositionKeys...)
		for i, k := range compositionKeys {
			if v, ok := parts[k]; ok {
				p.composition[i] = r.number(v, "piece.composition."+k, ruleComponent)
			}
		}
		if parts != nil && !p.composition[0].set {
			r.fail(comp, "missing-key", "piece.composition.water", "", "a composition needs its share of water", "write it like composition: {water: 72 %, protein: 22 %, fat: 5 %, ash: 1 %}")
		}
		if isFood {
			r.fail(comp, "cook-form", "piece.composition", "", "food and composition say the same thing twice", "keep one")
		}
	}
	if isMat {
		parts := r.object(mat, "piece.material", materialKeys...)
		for i, k := range materialKeys {
			if v, ok := parts[k]; ok {
				p.material[i] = r.number(v, "piece.material."+k, materialRules[i])
			}
		}
		if !isFood && !isComp {
			for i, k := range materialKeys[:3] {
				if parts != nil && !p.material[i].set {
					r.fail(mat, "missing-key", "piece.material."+k, "", "without a food or a composition the material needs its "+k,
						"write it like material: {conductivity: 0.5, density: 1050, specific_heat: 3500}")
				}
			}
		}
	}
	if !isFood && !isComp && !isMat {
		r.fail(n, "missing-key", "piece.food", "", "the piece does not say what it is made of",
			"give food (such as \"chicken breast\"; trivet simulate --foods lists them), composition or material")
	}
	if v, ok := got["mixing"]; ok {
		text, _ := r.text(v, "piece.mixing")
		names := []string{string(MaxwellEucken), string(Parallel), string(Perpendicular), string(EffectiveMedium)}
		switch Mixing(text) {
		case MaxwellEucken, Parallel, Perpendicular, EffectiveMedium:
			p.mixing = Mixing(text)
		default:
			r.fail(v, "unknown-mixing", "piece.mixing", text, "there is no mixing rule of that name", "write "+orList(names))
		}
	}
}

// isProfile tells a list of [depth, temperature] from a range of
// temperatures.
func (r *cookReader) isProfile(n ast.Node) bool {
	s, ok := r.plain(n).(*ast.SequenceNode)
	if !ok || len(s.Values) == 0 {
		return false
	}
	_, ok = r.plain(s.Values[0]).(*ast.SequenceNode)
	return ok
}

func (r *cookReader) profile(n ast.Node) []ProfilePoint {
	var out []ProfilePoint
	for i, item := range r.list(n, "piece.start", false) {
		at := fmt.Sprintf("piece.start[%d]", i)
		pair := r.list(item, at, false)
		if len(pair) != 2 {
			r.fail(item, "cook-form", at, "", "a point of the start profile is a depth and a temperature", "write it as [10 mm, 6 °C]")
			return nil
		}
		d, t := r.exact(pair[0], at, ruleDepth), r.exact(pair[1], at, ruleStart)
		if !d.set || !t.set {
			return nil
		}
		if i > 0 && !(d.v > out[i-1].DepthM) {
			r.fail(pair[0], "profile-order", at, "", "the depths of the start profile must rise", "sort its points by depth, one a depth")
			return nil
		}
		out = append(out, ProfilePoint{d.v, t.v})
	}
	return out
}

func (r *cookReader) moisture(n ast.Node, m *moistureDoc) {
	if _, isMap := r.plain(n).(*ast.MappingNode); !isMap {
		m.on = r.flag(n, "moisture")
		return
	}
	got := r.object(n, "moisture", moistureKeys...)
	if v, ok := got["on"]; ok {
		m.on = r.flag(v, "moisture.on")
	}
	if v, ok := got["diffusivity"]; ok {
		m.diff = r.number(v, "moisture.diffusivity", rule{kind: quantity.KindNumber, lo: 0, hi: 1e-6, example: "4e-10, in m²/s"})
	}
	if v, ok := got["boiling_rise"]; ok {
		m.rise = r.number(v, "moisture.boiling_rise", rule{kind: quantity.KindDifference, lo: 0, hi: 10})
	}
	if v, ok := got["shrinkage"]; ok {
		m.shrink = r.number(v, "moisture.shrinkage", ruleShare)
	}
	if v, ok := got["release"]; ok {
		m.given = true
		parts := r.object(v, "moisture.release", releaseKeys...)
		for i, k := range releaseKeys {
			if w, ok := parts[k]; ok {
				m.release[i] = r.number(w, "moisture.release."+k, releaseRules[i])
			} else if parts != nil {
				r.fail(v, "missing-key", "moisture.release."+k, "", "the water release needs its "+k,
					"give all of "+strings.Join(releaseKeys, ", ")+", or leave release out")
			}
		}
	}
}

func (r *cookReader) leg(n ast.Node, field string, i int) legDoc {
	l := legDoc{name: fmt.Sprintf("leg %d", i+1), at: n}
	got := r.object(n, field, legKeys...)
	if got == nil {
		return l
	}
	if v, ok := got["name"]; ok {
		text, _ := r.text(v, field+".name")
		if l.name = strings.TrimSpace(text); l.name == "" || len(l.name) > 80 {
			r.fail(v, "cook-value", field+".name", text, "a leg's name has 1 to 80 characters", "write it like name: sear")
		}
	}
	if v, ok := got["rest"]; ok {
		l.rest = r.flag(v, field+".rest")
	}
	for _, f := range []struct {
		key string
		to  **faceDoc
	}{{"bottom", &l.bottom}, {"top", &l.top}, {"rim", &l.rim}} {
		if v, ok := got[f.key]; ok {
			*f.to = r.face(v, field+"."+f.key)
		} else if f.key != "rim" {
			r.fail(n, "missing-face", field+"."+f.key, "", fmt.Sprintf("leg %q does not say what touches its %s face", l.name, f.key),
				"add "+f.key+": {pan: 200 °C}, {air: 25 °C, h: 8}, {board: 23 °C}, insulated or another face")
		}
	}
	if v, ok := got["turn"]; ok {
		l.turn = r.turn(v, field+".turn")
	}
	if v, ok := got["ends_when"]; ok {
		ends := r.object(v, field+".ends_when", endKeys...)
		for k, key := range endKeys {
			if w, ok := ends[key]; ok {
				q := ruleCore
				if key == "time" {
					q = ruleTime
				}
				l.ends[k] = r.number(w, field+".ends_when."+key, q)
			}
		}
		if ends != nil && len(ends) == 0 && len(r.errs) == 0 {
			r.fail(v, "missing-key", field+".ends_when", "", fmt.Sprintf("leg %q never ends", l.name), "write it like ends_when: {core: 55 °C} or {time: 6 min}")
		}
	} else {
		r.fail(n, "missing-key", field+".ends_when", "", fmt.Sprintf("leg %q never ends", l.name), "write it like ends_when: {core: 55 °C} or {time: 6 min}")
	}
	if v, ok := got["also"]; ok {
		for k, item := range r.list(v, field+".also", true) {
			l.also = append(l.also, r.action(item, fmt.Sprintf("%s.also[%d]", field, k)))
		}
	}
	return l
}

func (r *cookReader) turn(n ast.Node, field string) *turnDoc {
	got := r.object(n, field, turnKeys...)
	if got == nil {
		return nil
	}
	if len(got) != 1 {
		r.fail(n, "cook-form", field, strings.Join(sortedKeys(got), ", "), "a turning rule is exactly one of every, at and core_rise",
			"write it like turn: {every: 1 min}, {at: [2 min, 4 min]} or {core_rise: +10 °F}")
		return nil
	}
	t := &turnDoc{}
	if v, ok := got["every"]; ok {
		t.every = r.number(v, field+".every", rule{kind: quantity.KindDuration, lo: 1, hi: 48 * 3600})
	}
	if v, ok := got["core_rise"]; ok {
		t.rise = r.number(v, field+".core_rise", ruleRise)
	}
	if v, ok := got["at"]; ok {
		last := 0.0
		for i, item := range r.list(v, field+".at", true) {
			at := fmt.Sprintf("%s.at[%d]", field, i)
			x := r.number(item, at, ruleTime)
			if x.set && x.v <= last {
				text, _ := scalar(r.plain(item))
				r.fail(item, "turn-order", at, text, "the turning times must rise", "sort them, one a moment, counted from the leg's start")
			}
			last = x.v
			t.at = append(t.at, x)
		}
		if len(t.at) == 0 {
			r.fail(v, "cook-form", field+".at", "", "the list of turning times is empty", "write at least one, or leave turn out")
		}
	}
	return t
}

func (r *cookReader) action(n ast.Node, field string) actionDoc {
	var a actionDoc
	got := r.object(n, field, actionKeys...)
	if got == nil {
		return a
	}
	starts := 0
	for _, k := range actionKeys[:3] {
		if _, ok := got[k]; ok {
			starts++
		}
	}
	if starts != 1 {
		r.fail(n, "cook-form", field, "", "an action starts in exactly one way: from_turns_before_end, last or from",
			"write it like {last: 3 min, top: {fat: 150 °C}}")
	}
	if v, ok := got["from_turns_before_end"]; ok {
		x := r.exact(v, field+".from_turns_before_end", rule{kind: quantity.KindNumber, lo: 1, hi: 1000, example: "2"})
		if a.turns = int(x.v); x.set && float64(a.turns) != x.v {
			text, _ := scalar(r.plain(v))
			r.fail(v, "cook-value", field+".from_turns_before_end", text, "this counts turns", "write a whole number such as 2")
		}
	}
	if v, ok := got["last"]; ok {
		a.last = r.number(v, field+".last", ruleTime)
	}
	if v, ok := got["from"]; ok {
		a.from = r.number(v, field+".from", ruleSince)
	}
	for _, f := range []struct {
		key string
		to  **faceDoc
	}{{"bottom", &a.bottom}, {"top", &a.top}, {"rim", &a.rim}} {
		if v, ok := got[f.key]; ok {
			*f.to = r.face(v, field+"."+f.key)
		}
	}
	if got["bottom"] == nil && got["top"] == nil && got["rim"] == nil {
		r.fail(n, "missing-face", field, "", "the action changes no face", "name the face it changes: bottom, top or rim")
	}
	return a
}

func (r *cookReader) output(n ast.Node, o *outputDoc) {
	got := r.object(n, "output", outputKeys...)
	if v, ok := got["every"]; ok {
		o.every = r.exact(v, "output.every", rule{kind: quantity.KindDuration, lo: 0.1, hi: 3600})
	}
	if v, ok := got["depths"]; ok {
		for i, item := range r.list(v, "output.depths", true) {
			o.depths = append(o.depths, r.exact(item, fmt.Sprintf("output.depths[%d]", i), ruleDepth))
		}
	}
	if v, ok := got["snapshots"]; ok {
		for i, item := range r.list(v, "output.snapshots", true) {
			o.snapshots = append(o.snapshots, r.exact(item, fmt.Sprintf("output.snapshots[%d]", i), ruleSince))
		}
	}
	if v, ok := got["even_band"]; ok {
		o.band = r.exact(v, "output.even_band", ruleBand)
	}
}

// check compares parts of the cook with each other.
func (r *cookReader) check(d *cookDoc) {
	startC := d.piece.startC()
	if d.moisture.on && d.piece.food == "" && !d.piece.composition[0].set && !d.piece.material[3].set {
		r.fail(d.piece.at, "missing-key", "piece.material.water", "", "moisture is on, and the material does not say how much water it holds",
			"add water: 74 % to material, or write moisture: off for pure conduction")
	}
	for i, l := range d.legs {
		field := fmt.Sprintf("legs[%d]", i)
		if k := l.bottom.kind.key; (k == "pan" || k == "plate") && !l.rest {
			pan := l.bottom.lead.v
			if l.bottom.plate != nil {
				pan = l.bottom.plate.start.v
			}
			if l.bottom.trace == nil && pan < startC {
				r.fail(l.bottom.at, "pan-colder", field+".bottom."+k, quantity.Celsius(pan).String(),
					fmt.Sprintf("the pan is colder than the food, which starts at %s", quantity.Celsius(startC)),
					"check the unit (°C or °F); a piece that rests on something cool has rest: true or a board")
			}
		}
		if core := l.ends[1]; i == 0 && core.set && !l.rest && core.v <= startC {
			r.fail(nil, "core-reached", field+".ends_when.core", quantity.Celsius(core.v).String(),
				fmt.Sprintf("the core starts at %s, so the leg would end at once", quantity.Celsius(startC)), "write a core temperature above the start")
		}
		if l.rim != nil && d.piece.shape == Slab {
			r.fail(l.rim.at, "cook-form", field+".rim", "", "a slab has no rim", "leave rim out or write shape: disc with a diameter")
		}
		for k, a := range l.also {
			at := fmt.Sprintf("%s.also[%d]", field, k)
			if a.turns > 0 && l.turn == nil {
				r.fail(l.at, "cook-form", at, "", "an action that counts turns needs a turning rule", "add turn to the leg, or start the action with last or from")
			}
			if a.rim != nil && d.piece.shape == Slab {
				r.fail(a.rim.at, "cook-form", at+".rim", "", "a slab has no rim", "leave rim out or write shape: disc with a diameter")
			}
		}
	}
	for i, x := range d.output.depths {
		if x.v > d.piece.thickness.v*(1+1e-9) {
			r.fail(nil, "depth-outside", fmt.Sprintf("output.depths[%d]", i), quantity.Metres(x.v).String(),
				fmt.Sprintf("this depth lies outside the piece, which is %s thick", quantity.Metres(d.piece.thickness.v)), "count depths from the face that starts down")
		}
	}
	sum := 0.0
	for _, c := range d.piece.composition {
		sum += c.v
	}
	if d.piece.composition[0].set && (sum < 0.8 || sum > 1.2) {
		r.fail(nil, "composition-sum", "piece.composition", fmt.Sprintf("%.0f %%", sum*100), "the shares of the composition do not make a whole",
			"they should sum to about 100 %; small gaps are spread over all")
	}
}

// startC is the warmest start temperature.
func (p pieceDoc) startC() float64 {
	if len(p.profile) == 0 {
		return p.start.v
	}
	c := p.profile[0].TempC
	for _, q := range p.profile {
		c = max(c, q.TempC)
	}
	return c
}

// spec builds the typed cook for a draw of the uncertain values.
func (d *cookDoc) spec(draw []float64) Spec {
	p := d.piece
	s := Spec{
		Piece: Piece{
			Shape: p.shape, ThicknessM: p.thickness.in(draw), DiameterM: p.diameter.in(draw), StartC: p.start.in(draw),
			StartProfile: p.profile, Food: p.food, Mixing: p.mixing,
			Material: Material{
				Conductivity: p.material[0].in(draw), Density: p.material[1].in(draw), SpecificHeat: p.material[2].in(draw),
				Water: p.material[3].in(draw), CrustConductivity: p.material[4].in(draw), CrustSpecificHeat: p.material[5].in(draw),
			},
		},
		Moisture:  d.moisture.build(draw),
		AltitudeM: d.altitude.in(draw), PressurePa: d.pressure.in(draw),
		Output: Output{EveryS: d.output.every.v, EvenBandK: d.output.band.v},
	}
	if p.composition[0].set {
		c := p.composition
		s.Piece.Composition = &Composition{Water: c[0].in(draw), Protein: c[1].in(draw), Fat: c[2].in(draw),
			Carbohydrate: c[3].in(draw), Fibre: c[4].in(draw), Ash: c[5].in(draw)}
	}
	for _, x := range d.output.depths {
		s.Output.DepthsM = append(s.Output.DepthsM, min(x.v, s.Piece.ThicknessM))
	}
	for _, x := range d.output.snapshots {
		s.Output.SnapshotsS = append(s.Output.SnapshotsS, x.v)
	}
	s.Legs = make([]Leg, len(d.legs))
	for i, l := range d.legs {
		s.Legs[i] = l.build(draw)
	}
	return s
}

func (m moistureDoc) build(draw []float64) Moisture {
	out := Moisture{On: m.on, BoilingRiseK: m.rise.in(draw), Shrinkage: m.shrink.in(draw)}
	if m.diff.set {
		if out.DiffusivityM2S = m.diff.in(draw); out.DiffusivityM2S == 0 {
			out.DiffusivityM2S = -1 // written as none
		}
	}
	if m.given {
		v := func(i int) float64 { return m.release[i].in(draw) }
		out.Release = &Release{A1: v(0), T1C: v(1), W1K: v(2), A2: v(3), T2C: v(4), W2K: v(5), RatePerS60: v(6), EaJMol: v(7)}
	}
	return out
}

func (l legDoc) build(draw []float64) Leg {
	leg := Leg{Name: l.name, Rest: l.rest, Bottom: l.bottom.face(draw), Top: l.top.face(draw), Rim: l.rim.face(draw),
		Ends: EndRule{TimeS: l.ends[0].ptr(draw), CoreC: l.ends[1].ptr(draw), SurfaceC: l.ends[2].ptr(draw), ColdestC: l.ends[3].ptr(draw)}}
	if l.turn != nil {
		leg.Turn = &TurnRule{EveryS: l.turn.every.in(draw), CoreRiseK: l.turn.rise.in(draw)}
		for _, x := range l.turn.at {
			leg.Turn.AtS = append(leg.Turn.AtS, x.in(draw))
		}
	}
	for _, a := range l.also {
		leg.Also = append(leg.Also, Action{FromTurnsBeforeEnd: a.turns, LastS: a.last.in(draw), FromS: a.from.ptr(draw),
			Bottom: a.bottom.face(draw), Top: a.top.face(draw), Rim: a.rim.face(draw)})
	}
	return leg
}

// CanonicalCook parses a cook file and returns its canonical form; see
// [Cook.Canonical].
func CanonicalCook(name string, src []byte) (map[string]any, error) {
	c, err := ParseCook(name, src)
	if err != nil {
		return nil, err
	}
	return c.Canonical(), nil
}
