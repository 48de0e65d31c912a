package heat

import "strconv"

// canon renders parsed numbers for the canonical form.
type canon struct{ uncertain []Uncertain }

// float rounds to twelve significant digits, so that the same amount written
// in another unit gives the same number.
func (*canon) float(v float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	if err != nil {
		return v
	}
	if r == 0 {
		return 0 // no negative zero
	}
	return r
}

func (c *canon) num(n num) any {
	if n.index == 0 {
		return c.float(n.v)
	}
	u := c.uncertain[n.index-1]
	if u.Normal {
		return map[string]any{"mean": c.float(u.A), "sd": c.float(u.B)}
	}
	return map[string]any{"low": c.float(u.A), "high": c.float(u.B)}
}

// put sets a number that was written.
func (c *canon) put(m map[string]any, key string, n num) {
	if n.set {
		m[key] = c.num(n)
	}
}

// CookFormat is the version of the canonical form of a cook.
const CookFormat = 1

// Canonical returns the cook as plain maps, lists, strings, booleans and
// numbers in SI, every key named with its unit. Comments, the order of keys
// and the spelling of units leave it as it is; what the file does not say
// stays out, so that a new default does not change an old seal. It holds the
// version of the heat model's form under "format".
func (c *Cook) Canonical() map[string]any {
	d, cn := c.doc, &canon{c.Uncertain}
	out := map[string]any{"format": float64(CookFormat), "piece": d.piece.canonical(cn), "moisture": d.moisture.canonical(cn)}
	cn.put(out, "altitude_m", d.altitude)
	cn.put(out, "pressure_pa", d.pressure)
	legs := make([]any, len(d.legs))
	for i, l := range d.legs {
		legs[i] = l.canonical(cn)
	}
	out["legs"] = legs
	if o := d.output.canonical(cn); len(o) > 0 {
		out["output"] = o
	}
	return out
}

func (p pieceDoc) canonical(c *canon) map[string]any {
	out := map[string]any{"shape": string(p.shape)}
	c.put(out, "thickness_m", p.thickness)
	c.put(out, "diameter_m", p.diameter)
	c.put(out, "start_c", p.start)
	if len(p.profile) > 0 {
		list := make([]any, len(p.profile))
		for i, q := range p.profile {
			list[i] = []any{c.float(q.DepthM), c.float(q.TempC)}
		}
		out["start_m_c"] = list
	}
	if p.food != "" {
		out["food"] = p.food
	}
	if p.mixing != "" {
		out["mixing"] = string(p.mixing)
	}
	group := func(key string, keys []string, values []num) {
		m := map[string]any{}
		for i, k := range keys {
			c.put(m, k, values[i])
		}
		if len(m) > 0 {
			out[key] = m
		}
	}
	group("composition", compositionKeys, p.composition[:])
	group("material", materialKeys, p.material[:])
	return out
}

func (m moistureDoc) canonical(c *canon) map[string]any {
	out := map[string]any{"on": m.on}
	c.put(out, "diffusivity", m.diff)
	c.put(out, "boiling_rise_k", m.rise)
	c.put(out, "shrinkage", m.shrink)
	if m.given {
		rel := map[string]any{}
		for i, k := range releaseSI {
			c.put(rel, k, m.release[i])
		}
		out["release"] = rel
	}
	return out
}

func (l legDoc) canonical(c *canon) map[string]any {
	out := map[string]any{"name": l.name, "rest": l.rest}
	faces := func(m map[string]any, bottom, top, rim *faceDoc) {
		for _, f := range []struct {
			key string
			doc *faceDoc
		}{{"bottom", bottom}, {"top", top}, {"rim", rim}} {
			if f.doc != nil {
				m[f.key] = f.doc.canonical(c)
			}
		}
	}
	faces(out, l.bottom, l.top, l.rim)
	if t := l.turn; t != nil {
		turn := map[string]any{}
		c.put(turn, "every_s", t.every)
		c.put(turn, "core_rise_k", t.rise)
		if len(t.at) > 0 {
			turn["at_s"] = c.list(t.at)
		}
		out["turn"] = turn
	}
	ends := map[string]any{}
	for i, k := range []string{"time_s", "core_c", "surface_c", "coldest_c"} {
		c.put(ends, k, l.ends[i])
	}
	out["ends_when"] = ends
	if len(l.also) > 0 {
		list := make([]any, len(l.also))
		for i, a := range l.also {
			m := map[string]any{}
			if a.turns > 0 {
				m["from_turns_before_end"] = float64(a.turns)
			}
			c.put(m, "last_s", a.last)
			c.put(m, "from_s", a.from)
			faces(m, a.bottom, a.top, a.rim)
			list[i] = m
		}
		out["also"] = list
	}
	return out
}

func (o outputDoc) canonical(c *canon) map[string]any {
	out := map[string]any{}
	c.put(out, "every_s", o.every)
	c.put(out, "even_band_k", o.band)
	if len(o.depths) > 0 {
		out["depths_m"] = c.list(o.depths)
	}
	if len(o.snapshots) > 0 {
		out["snapshots_s"] = c.list(o.snapshots)
	}
	return out
}

func (c *canon) list(v []num) []any {
	out := make([]any, len(v))
	for i, n := range v {
		out[i] = c.num(n)
	}
	return out
}
