package heat

import (
	"fmt"
	"sort"
	"strings"

	"github.com/goccy/go-yaml/ast"

	"trivet/quantity"
)

// Rules of the numbers a cook file holds. The bounds are those of physics or
// of this model; a draw of an uncertain value stays inside them.
var (
	ruleThickness = rule{kind: quantity.KindLength, lo: 0.5e-3, hi: 0.5, why: "thicker or thinner pieces are outside this model"}
	ruleDiameter  = rule{kind: quantity.KindLength, lo: 5e-3, hi: 2}
	ruleDepth     = rule{kind: quantity.KindLength, lo: 0, hi: 0.5}
	ruleStart     = rule{kind: quantity.KindTemperature, lo: -1, hi: 99, why: "frozen and boiling pieces are not modelled"}
	ruleCore      = rule{kind: quantity.KindTemperature, lo: -1, hi: 300}
	rulePan       = rule{kind: quantity.KindTemperature, lo: -30, hi: 600}
	ruleAir       = rule{kind: quantity.KindTemperature, lo: -40, hi: 700}
	ruleWalls     = rule{kind: quantity.KindTemperature, lo: -40, hi: 1000}
	ruleFluid     = rule{kind: quantity.KindTemperature, lo: -30, hi: 300}
	ruleFat       = rule{kind: quantity.KindTemperature, lo: 0, hi: 300, why: "fat burns above that"}
	ruleSteam     = rule{kind: quantity.KindTemperature, lo: 40, hi: 300}
	ruleH         = rule{kind: quantity.KindNumber, lo: 0, hi: 50000, above: true, example: "25, in W/(m²·K)"}
	ruleFlux      = rule{kind: quantity.KindNumber, lo: -1e6, hi: 1e6, example: "5000, in W/m², positive into the piece"}
	ruleBurner    = rule{kind: quantity.KindNumber, lo: 0, hi: 1e6, example: "30000, in W/m²"}
	ruleHeatCap   = rule{kind: quantity.KindNumber, lo: 100, hi: 1e6, example: "16600, in J/(m²·K): density × specific heat × thickness"}
	ruleFan       = rule{kind: quantity.KindOther, units: speedUnits, lo: 0, hi: 30, above: true, example: "2 m/s"}
	ruleVapour    = rule{kind: quantity.KindOther, units: pressureUnits, lo: 0, hi: 101325, example: "1.5 kPa"}
	ruleHumidity  = rule{share: true, lo: 0, hi: 1, example: "40 %"}
	ruleShare     = rule{share: true, bare: true, lo: 0, hi: 1, example: "0.9 or 90 %"}
	ruleCover     = rule{share: true, bare: true, lo: 0, hi: 1, above: true, example: "0.9 or 90 %"}
	ruleTime      = rule{kind: quantity.KindDuration, lo: 0, hi: 48 * 3600, above: true}
	ruleSince     = rule{kind: quantity.KindDuration, lo: 0, hi: 48 * 3600}
	ruleBand      = rule{kind: quantity.KindDifference, lo: 0, hi: 100, above: true}
	ruleRise      = rule{kind: quantity.KindDifference, lo: 0.1, hi: 100}
)

var (
	speedUnits    = map[string]float64{"m/s": 1, "km/h": 1 / 3.6, "ft/min": 0.3048 / 60}
	pressureUnits = map[string]float64{"Pa": 1, "hPa": 100, "mbar": 100, "kPa": 1000}
)

// faceField is a number a face takes beside its leading value.
type faceField struct {
	key  string
	si   string // suffix of its canonical key, "" for bare SI and shares
	rule rule
}

// faceKind is one way to write a face: {key: leading value, field: …}.
type faceKind struct {
	key    string
	lead   rule
	leadSI string
	trace  bool   // the leading value may be {trace: [[time, value], …]}
	word   string // a word allowed instead of the leading value
	fields []faceField
	build  func(f *faceDoc, draw []float64) Face
}

var airFields = []faceField{
	{"h", "", ruleH}, {"fan", "m_s", ruleFan}, {"humidity", "share", ruleHumidity}, {"vapour", "pa", ruleVapour},
	{"emissivity", "", ruleShare}, {"walls", "c", ruleWalls}, {"view", "", ruleCover}, {"wetness", "", ruleShare},
}

func buildAir(f *faceDoc, draw []float64) Face {
	return Air{
		TempC: f.lead.in(draw), Trace: f.trace, H: f.ptr("h", draw), FanMS: f.get("fan", draw),
		Humidity: f.ptr("humidity", draw), VapourPa: f.ptr("vapour", draw), Emissivity: f.ptr("emissivity", draw),
		WallC: f.ptr("walls", draw), ViewFactor: f.get("view", draw), Wetness: f.ptr("wetness", draw),
	}
}

func buildFluid(f *faceDoc, draw []float64) Face {
	return Fluid{TempC: f.lead.in(draw), Trace: f.trace, H: f.get("h", draw)}
}

var panFields = []faceField{
	{"contact", "", ruleH},
	{"touch", "", ruleH},
	{"rise", "s", ruleTime},
}

// faceKinds lists every way to write a face, in the order errors offer them.
// "plate" takes keys of its own and is read apart.
var faceKinds = []*faceKind{
	{key: "pan", lead: rulePan, leadSI: "c", trace: true, fields: panFields,
		build: func(f *faceDoc, draw []float64) Face {
			return Pan{TempC: f.lead.in(draw), Trace: f.trace, Contact: f.get("contact", draw),
				TouchContact: f.get("touch", draw), RiseS: f.get("rise", draw)}
		}},
	{key: "plate", fields: panFields,
		build: func(f *faceDoc, draw []float64) Face {
			return Pan{Plate: f.plateIn(draw), Contact: f.get("contact", draw),
				TouchContact: f.get("touch", draw), RiseS: f.get("rise", draw)}
		}},
	{key: "air", lead: ruleAir, leadSI: "c", trace: true, fields: airFields, build: buildAir},
	{key: "oven", lead: ruleAir, leadSI: "c", trace: true, fields: airFields, build: buildAir},
	{key: "rack", lead: ruleAir, leadSI: "c", trace: true, fields: airFields, build: buildAir},
	{key: "fluid", lead: ruleFluid, leadSI: "c", trace: true, fields: []faceField{{"h", "", ruleH}}, build: buildFluid},
	{key: "bath", lead: ruleFluid, leadSI: "c", trace: true, fields: []faceField{{"h", "", ruleH}}, build: buildFluid},
	{key: "fryer", lead: ruleFluid, leadSI: "c", trace: true, fields: []faceField{{"h", "", ruleH}}, build: buildFluid},
	{key: "steam", lead: ruleSteam, leadSI: "c", word: "boiling", fields: []faceField{{"h", "", ruleH}},
		build: func(f *faceDoc, draw []float64) Face { return Steam{TempC: f.lead.ptr(draw), H: f.get("h", draw)} }},
	{key: "fat", lead: ruleFat, leadSI: "c",
		fields: []faceField{{"film", "", ruleH}, {"cover", "", ruleCover}, {"duty", "", ruleCover}, {"evaporation", "", ruleShare}, {"after", "", ruleShare}},
		build: func(f *faceDoc, draw []float64) Face {
			var under Face
			if f.under != nil {
				under = f.under.face(draw)
			}
			return FatFilm{FatC: f.lead.in(draw), Film: f.get("film", draw), Cover: f.get("cover", draw), Duty: f.get("duty", draw),
				Evaporation: f.get("evaporation", draw), OiledEvaporation: f.ptr("after", draw), Under: under}
		}},
	{key: "board", lead: ruleAir, leadSI: "c", fields: []faceField{{"h", "", ruleH}},
		build: func(f *faceDoc, draw []float64) Face { return Board{TempC: f.lead.in(draw), H: f.get("h", draw)} }},
	{key: "foil", lead: ruleAir, leadSI: "c", fields: []faceField{{"h", "", ruleH}, {"gap", "", ruleH}},
		build: func(f *faceDoc, draw []float64) Face {
			return Foil{AirC: f.lead.in(draw), H: f.get("h", draw), GapH: f.get("gap", draw)}
		}},
	{key: "temperature", lead: ruleWalls, leadSI: "c", trace: true,
		build: func(f *faceDoc, draw []float64) Face {
			return FixedTemperature{TempC: f.lead.in(draw), Trace: f.trace}
		}},
	{key: "flux", lead: ruleFlux, leadSI: "w_m2",
		build: func(f *faceDoc, draw []float64) Face { return FixedFlux{WM2: f.lead.in(draw)} }},
	{key: "insulated", build: func(*faceDoc, []float64) Face { return Insulated{} }},
}

func kindOfFace(key string) *faceKind {
	for _, k := range faceKinds {
		if k.key == key {
			return k
		}
	}
	return nil
}

func faceKeys() []string {
	out := make([]string, len(faceKinds))
	for i, k := range faceKinds {
		out[i] = k.key
	}
	return out
}

// faceDoc is a face as it was written.
type faceDoc struct {
	kind   *faceKind
	at     ast.Node
	lead   num
	trace  *Series
	fields map[string]num
	plate  *plateDoc
	under  *faceDoc
}

func (f *faceDoc) get(key string, draw []float64) float64 { return f.fields[key].in(draw) }

func (f *faceDoc) ptr(key string, draw []float64) *float64 { return f.fields[key].ptr(draw) }

// face builds the typed face for a draw.
func (f *faceDoc) face(draw []float64) Face {
	if f == nil {
		return nil
	}
	return f.kind.build(f, draw)
}

// plateDoc is a lumped plate as it was written.
type plateDoc struct{ heatCapacity, start, burner, set, band, loss, air num }

var plateKeys = []string{"heat_capacity", "start", "burner", "set", "band", "loss", "air"}

func (f *faceDoc) plateIn(draw []float64) *Plate {
	p := f.plate
	if p == nil {
		return nil
	}
	air := 25.0
	if p.air.set {
		air = p.air.in(draw)
	}
	return &Plate{HeatCapacity: p.heatCapacity.in(draw), StartC: p.start.in(draw), BurnerWM2: p.burner.in(draw),
		SetC: p.set.ptr(draw), BandK: p.band.in(draw), LossH: p.loss.in(draw), AirC: air}
}

// face reads a face: the word "insulated" or a mapping with one leading key.
func (r *cookReader) face(n ast.Node, field string) *faceDoc {
	offer := "write one of " + orList(faceKeys()) + ", such as {pan: 200 °C, contact: 400} or {air: 25 °C, h: 8}"
	n = r.plain(n)
	if r.nested++; r.nested > 2 {
		// An alias may lead a face back to itself.
		r.fail(n, "face-form", field, "", "faces are nested too deeply", "only a fat film names a face below it, and that one is no fat film")
		r.nested--
		return nil
	}
	defer func() { r.nested-- }()
	if text, ok := scalar(n); ok {
		if text == "insulated" {
			return &faceDoc{kind: kindOfFace("insulated"), at: n}
		}
		fix := offer
		if near := nearest(text, []string{"insulated"}); len(near) > 0 {
			fix = "did you mean insulated? " + offer
		}
		r.fail(n, "face-form", field, text, fmt.Sprintf("%s does not name a face", named(field)), fix)
		return nil
	}
	list := r.entries(n, field, offer)
	if list == nil {
		return nil
	}
	var kind *faceKind
	var leads []string
	for _, e := range list {
		if k := kindOfFace(e.key); k != nil {
			// "air" also names the room around a plate, inside plate itself.
			kind, leads = k, append(leads, e.key)
		}
	}
	switch {
	case len(leads) > 1:
		r.fail(n, "face-form", field, strings.Join(leads, ", "), "a face is one thing only, and this names "+orList(leads),
			"keep one; a fat film names what it runs over under \"under\"")
		return nil
	case kind == nil:
		keys := make([]string, len(list))
		for i, e := range list {
			keys[i] = e.key
		}
		fix := offer
		for _, k := range keys {
			if near := nearest(k, faceKeys()); len(near) > 0 {
				fix = "did you mean " + orList(near) + "? " + offer
				break
			}
		}
		r.fail(n, "face-form", field, strings.Join(keys, ", "), "these keys do not say what touches the face", fix)
		return nil
	}
	known := []string{kind.key}
	for _, f := range kind.fields {
		known = append(known, f.key)
	}
	if kind.key == "fat" {
		known = append(known, "under")
	}
	got := r.object(n, field, known...)
	doc := &faceDoc{kind: kind, at: n, fields: map[string]num{}}
	if v, ok := got[kind.key]; ok {
		r.faceLead(doc, v, join(field, kind.key))
	}
	for _, f := range kind.fields {
		if v, ok := got[f.key]; ok {
			doc.fields[f.key] = r.number(v, join(field, f.key), f.rule)
		}
	}
	if v, ok := got["under"]; ok {
		if doc.under = r.face(v, join(field, "under")); doc.under != nil && doc.under.kind == kind {
			r.fail(v, "face-form", join(field, "under"), "fat", "fat cannot run over fat", "name the face below it, such as {air: 25 °C}")
		}
	}
	r.faceTogether(doc, n, field)
	return doc
}

// faceLead reads the value of the key that names the face.
func (r *cookReader) faceLead(doc *faceDoc, v ast.Node, field string) {
	kind := doc.kind
	v = r.plain(v)
	switch _, isMap := v.(*ast.MappingNode); {
	case kind.key == "insulated":
		if !r.flag(v, field) {
			r.fail(v, "face-form", field, "", "a face that is not insulated must say what touches it", "name it instead of insulated: off")
		}
	case kind.key == "plate":
		doc.plate = r.plate(v, field)
	case isMap && kind.trace:
		got := r.object(v, field, "trace")
		if t, ok := got["trace"]; ok {
			doc.trace = r.series(t, join(field, "trace"), kind.lead)
		}
	default:
		if text, ok := scalar(v); ok && kind.word != "" && text == kind.word {
			return
		}
		doc.lead = r.number(v, field, kind.lead)
	}
}

// faceTogether checks values of a face against each other.
func (r *cookReader) faceTogether(doc *faceDoc, n ast.Node, field string) {
	both := func(a, b, fix string) {
		if doc.fields[a].set && doc.fields[b].set {
			r.fail(n, "face-form", field, a+", "+b, fmt.Sprintf("%s and %s say the same thing twice", a, b), fix)
		}
	}
	both("humidity", "vapour", "keep one: humidity of the air in %, or its vapour pressure")
	both("h", "fan", "keep one: h as a coefficient, or fan as an air speed")
	if doc.fields["touch"].set != doc.fields["rise"].set {
		r.fail(n, "face-form", field, "", "touch and rise belong together", "touch is the contact coefficient at touch-down, rise the time constant with which it becomes contact")
	}
	if doc.fields["view"].set && !doc.fields["walls"].set {
		r.fail(n, "face-form", field, "view", "view is the share of the view that is walls, and no walls are given", "add walls: 250 °C or leave view out")
	}
}

func (r *cookReader) plate(n ast.Node, field string) *plateDoc {
	got := r.object(n, field, plateKeys...)
	if got == nil {
		return nil
	}
	var p plateDoc
	for _, k := range []struct {
		key  string
		to   *num
		rule rule
	}{
		{"heat_capacity", &p.heatCapacity, ruleHeatCap}, {"start", &p.start, rulePan}, {"burner", &p.burner, ruleBurner},
		{"set", &p.set, rulePan}, {"band", &p.band, ruleBand}, {"loss", &p.loss, ruleH}, {"air", &p.air, ruleAir},
	} {
		if v, ok := got[k.key]; ok {
			*k.to = r.number(v, join(field, k.key), k.rule)
		} else if k.key == "heat_capacity" || k.key == "start" {
			r.fail(n, "missing-key", join(field, k.key), "", fmt.Sprintf("a plate needs its %s", k.key),
				"write it like {plate: {heat_capacity: 16600, start: 200 °C, burner: 30000, set: 200 °C}}")
		}
	}
	return &p
}

// series reads [[time, value], …] with rising times.
func (r *cookReader) series(n ast.Node, field string, q rule) *Series {
	items := r.list(n, field, false)
	if items == nil {
		return nil
	}
	s := &Series{}
	for i, item := range items {
		at := fmt.Sprintf("%s[%d]", field, i)
		pair := r.list(item, at, false)
		if len(pair) != 2 {
			r.fail(item, "cook-form", at, "", "a point of a trace is a time and a value", "write it as [30 s, 196 °C]")
			return nil
		}
		t, v := r.exact(pair[0], at, ruleSince), r.exact(pair[1], at, q)
		if !t.set || !v.set {
			return nil
		}
		if i > 0 && !(t.v > s.TimesS[i-1]) {
			text, _ := scalar(r.plain(pair[0]))
			r.fail(pair[0], "trace-order", at, text, "the times of a trace must rise", "sort its points by time, one a moment")
			return nil
		}
		s.TimesS, s.Values = append(s.TimesS, t.v), append(s.Values, v.v)
	}
	if len(s.TimesS) == 0 {
		r.fail(n, "cook-form", field, "", "the trace has no points", "write it as [[0 s, 210 °C], [30 s, 196 °C]]")
		return nil
	}
	return s
}

// exact reads a number that may not be uncertain.
func (r *cookReader) exact(n ast.Node, field string, q rule) num {
	before := len(r.uncertain)
	v := r.number(n, field, q)
	if len(r.uncertain) > before {
		r.fail(n, "uncertain-here", field, r.uncertain[before].Text, fmt.Sprintf("%s must be one exact value", named(field)), "leave out the ± or the range")
		r.uncertain = r.uncertain[:before]
		return num{}
	}
	return v
}

// canonical renders the face with SI keys.
func (f *faceDoc) canonical(c *canon) map[string]any {
	out := map[string]any{"face": f.kind.key}
	if f.lead.set {
		out[suffixed(f.kind.key, f.kind.leadSI)] = c.num(f.lead)
	}
	if f.trace != nil {
		points := make([]any, len(f.trace.TimesS))
		for i := range points {
			points[i] = []any{c.float(f.trace.TimesS[i]), c.float(f.trace.Values[i])}
		}
		out["trace_s_c"] = points
	}
	for _, field := range f.kind.fields {
		if v := f.fields[field.key]; v.set {
			out[suffixed(field.key, field.si)] = c.num(v)
		}
	}
	if p := f.plate; p != nil {
		plate := map[string]any{}
		for _, v := range []struct {
			key string
			n   num
		}{
			{"heat_capacity", p.heatCapacity}, {"start_c", p.start}, {"burner", p.burner}, {"set_c", p.set},
			{"band_k", p.band}, {"loss", p.loss}, {"air_c", p.air},
		} {
			if v.n.set {
				plate[v.key] = c.num(v.n)
			}
		}
		out["plate"] = plate
	}
	if f.under != nil {
		out["under"] = f.under.canonical(c)
	}
	return out
}

func suffixed(key, si string) string {
	if si == "" {
		return key
	}
	return key + "_" + si
}

// sortedKeys is for messages and tests.
func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}
