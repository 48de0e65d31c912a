package study

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"trivet/fault"
	"trivet/quantity"
)

// Marshal writes a study as a fresh document in the order in which a study
// is read: the claim first, the results last. Amounts keep the text they
// were written in where the study has it. To change a document that a person
// wrote, use [Document], which keeps their comments.
//
// What a document cannot hold (the ids of marks, weighings and readings) is
// named anew when it is read.
func Marshal(s *Study) ([]byte, error) {
	var b strings.Builder
	for _, part := range documentOf(s) {
		if part.Value == nil {
			continue
		}
		if b.Len() > 0 && !isScalarValue(part.Value) {
			b.WriteString("\n")
		}
		if err := block(&b, Fields{part}, 0); err != nil {
			return nil, fault.New("marshal", "%s", err)
		}
	}
	return []byte(b.String()), nil
}

func isScalarValue(v any) bool {
	_, isList := asList(v)
	return !isList && !isGroup(v)
}

// put adds a key when its value says something.
func (fs *Fields) put(key string, v any) {
	switch v := v.(type) {
	case nil:
		return
	case string:
		if v == "" {
			return
		}
	case int:
		if v == 0 {
			return
		}
	case float64:
		if v == 0 {
			return
		}
	case bool:
		if !v {
			return
		}
	case Fields:
		if len(v) == 0 {
			return
		}
	default:
		if items, ok := asList(v); ok && len(items) == 0 {
			return
		}
	}
	*fs = append(*fs, Field{key, v})
}

func each[T any](list []T, write func(T) Fields) []any {
	out := make([]any, len(list))
	for i, x := range list {
		out[i] = write(x)
	}
	return out
}

// Fields is a design as a study document has it; what is empty is left out.
func (d Design) Fields() Fields {
	var out Fields
	out.put("kind", d.Kind)
	out.put("seed", d.Seed)
	out.put("run_order", each(d.RunOrder, func(r RunSlot) Fields {
		fs := Fields{{"order", r.Order}}
		fs.put("block", r.Block)
		fs.put("piece", r.Piece)
		fs.put("treatment", r.Treatment)
		fs.put("burner", r.Burner)
		fs.put("code", r.Code)
		return fs
	}))
	return out
}

func documentOf(s *Study) Fields {
	var d Fields
	d.put("study", s.Title)
	if s.ID != NewID(s.Title) {
		d.put("id", s.ID)
	}
	d.put("format", FormatVersion)
	d.put("invented", s.Invented)
	d.put("licence", s.Licence)
	d.put("authors", s.Authors)
	if s.HasUTCOffset {
		d.put("utc_offset", offsetText(s.UTCOffset))
	}
	var claim Fields
	claim.put("says", s.Claim.Says)
	claim.put("scope", s.Claim.Scope)
	claim.put("fair", s.Claim.Fair)
	claim.put("against", s.Claim.Against)
	d.put("claim", claim)
	d.put("questions", each(s.Questions, questionFields))
	d.put("treatments", each(s.Treatments, treatmentFields))
	d.put("readings", each(s.Readings, func(r ReadingDef) Fields {
		fs := Fields{{"id", r.ID}}
		fs.put("what", r.What)
		if r.Kind != Number {
			fs.put("kind", string(r.Kind))
		}
		fs.put("unit", r.Unit)
		fs.put("scale", r.Scale)
		fs.put("judged", r.Judged)
		fs.put("resolution", r.Resolution)
		if r.Least != nil && r.Most != nil {
			fs.put("limits", []float64{*r.Least, *r.Most})
		}
		return fs
	}))
	var blocks Fields
	blocks.put("what", s.Blocks.What)
	blocks.put("count", s.Blocks.Count)
	blocks.put("pieces", s.Blocks.Pieces)
	blocks.put("spares", s.Blocks.Spares)
	d.put("blocks", blocks)
	var controlled Fields
	for _, c := range s.Controlled {
		controlled.put(c.Name, controlText(c))
	}
	d.put("controlled", controlled)
	d.put("void", each(s.VoidRules, func(v VoidRule) Fields { return Fields{{"id", v.ID}, {"when", v.When}} }))
	risk := Fields{{"alpha", s.Risk.Alpha}, {"power", s.Risk.Power}, {"mode", s.Risk.Mode}}
	looks := make([]any, len(s.Risk.Looks))
	for i, n := range s.Risk.Looks {
		looks[i] = n
	}
	risk.put("looks", looks)
	risk.put("spending", s.Risk.Spending)
	d.put("risk", risk)
	d.put("design", s.Design.Fields())
	var foods Fields
	foods.put("animal", s.Foods.Animal)
	foods.put("form", s.Foods.Form)
	foods.put("allergens", s.Foods.Allergens)
	foods.put("fat", s.Foods.Fat)
	foods.put("eaten", s.Foods.Eaten)
	d.put("foods", foods)
	d.put("instruments", each(s.Instruments, instrumentFields))
	d.put("lots", each(s.Lots, func(l Lot) Fields {
		fs := Fields{{"id", l.ID}}
		fs.put("what", l.What)
		fs.put("bought", l.Bought)
		fs.put("note", l.Note)
		return fs
	}))
	d.put("pieces", each(s.Pieces, pieceFields))
	d.put("cooks", each(s.Cooks, func(c Cook) Fields { return cookFields(s, c) }))
	d.put("tastings", each(s.Tastings, func(t Tasting) Fields {
		fs := Fields{{"id", t.ID}}
		fs.put("question", t.Question)
		fs.put("method", t.Method)
		fs.put("n", t.N)
		if t.N > 0 {
			fs = append(fs, Field{"correct", t.Correct})
		}
		fs.put("cooks", t.Cooks)
		fs.put("closed", t.Closed)
		fs.put("note", t.Note)
		return fs
	}))
	return d
}

func questionFields(q Question) Fields {
	fs := Fields{{"id", q.ID}}
	fs.put("ask", q.Ask)
	fs.put("response", q.Response)
	var compare Fields
	compare.put("treatment", q.Compare.Treatment)
	compare.put("against", q.Compare.Against)
	fs.put("compare", compare)
	if t := q.Tasting; t != nil {
		tasting := Fields{{"method", t.Method}}
		if t.Discriminators > 0 {
			tasting.put("discriminators", shareText(t.Discriminators))
		}
		tasting.put("dprime", t.DPrime)
		tasting.put("alpha", t.Alpha)
		tasting.put("beta", t.Beta)
		tasting.put("for", t.For)
		fs.put("tasting", tasting)
	} else {
		fs.put("claim", string(q.Claim))
		fs.put("margin", marginText(q.Margin))
	}
	fs.put("judged", q.Judged)
	fs.put("blind", q.Blind)
	fs.put("covariates", q.Covariates)
	return fs
}

func treatmentFields(t Treatment) Fields {
	fs := Fields{{"id", t.ID}}
	fs.put("name", t.Name)
	fs.put("control", t.Control)
	fs.put("cook", t.Cook)
	var set Fields
	for _, k := range slices.Sorted(maps.Keys(t.Set)) {
		set.put(k, t.Set[k])
	}
	fs.put("set", set)
	return fs
}

func instrumentFields(x Instrument) Fields {
	temperatures := func(v []float64) []string {
		var out []string
		for _, c := range v {
			out = append(out, decimal(c)+" °C")
		}
		return out
	}
	fs := Fields{{"id", x.ID}}
	fs.put("what", x.What)
	fs.put("class", x.Class)
	fs.put("checked", x.Checked)
	fs.put("ice", temperatures(x.IceC))
	fs.put("boil", temperatures(x.BoilC))
	if x.AltitudeM != 0 {
		fs.put("altitude", decimal(x.AltitudeM)+" m")
	}
	if x.MassKg != 0 {
		fs.put("mass", decimal(x.MassKg*1e3)+" g")
	}
	if x.ReadKg != 0 {
		fs.put("read", decimal(x.ReadKg*1e3)+" g")
	}
	fs.put("pan", x.Pan)
	if x.LagS != 0 {
		fs.put("lag", decimal(x.LagS)+" s")
	}
	if t := x.Stem; t != nil {
		stem := Fields{{"length", decimal(t.LengthM*1e3) + " mm"}, {"diameter", decimal(t.DiameterM*1e3) + " mm"},
			{"conductivity", t.ConductivityWMK}, {"film", t.FilmWM2K}}
		if t.HandleC != nil {
			stem.put("handle", decimal(*t.HandleC)+" °C")
		}
		fs.put("stem", stem)
	}
	fs.put("note", x.Note)
	return fs
}

func pieceFields(x Piece) Fields {
	fs := Fields{{"label", x.Label}}
	fs.put("lot", x.Lot)
	fs.put("block", x.Block)
	fs.put("position", x.Position)
	var thick []string
	for _, m := range x.ThicknessM {
		thick = append(thick, decimal(m*1e3)+" mm")
	}
	if len(thick) == 1 {
		fs.put("thickness", thick[0])
	} else {
		fs.put("thickness", thick)
	}
	if x.MassKg > 0 {
		fs.put("mass", decimal(x.MassKg*1e3)+" g")
	}
	if x.StartC != nil {
		fs.put("start", decimal(*x.StartC)+" °C")
	}
	fs.put("twin", x.Twin)
	fs.put("spare", x.Spare)
	return fs
}

func cookFields(s *Study, c Cook) Fields {
	fs := Fields{{"label", c.Label}}
	if c.ID != namedID(s.ID, c.Label, "cook") {
		fs.put("id", c.ID)
	}
	fs.put("block", c.Block)
	fs.put("piece", c.Piece)
	fs.put("treatment", c.Treatment)
	if c.Role != Planned {
		fs.put("role", string(c.Role))
	}
	if c.Role == Void {
		void := Fields{{"rule", c.VoidRule}}
		void.put("why", c.VoidWhy)
		if !c.VoidedAt.IsZero() {
			void.put("at", clockText(s, c.VoidedAt))
		}
		fs.put("void", void)
	}
	fs.put("order", c.Order)
	fs.put("day", c.Day)
	fs.put("logs", each(c.Logs, func(l LogRef) Fields {
		log := Fields{{"file", l.File}}
		log.put("map", l.Map)
		log.put("sha256", l.SHA256)
		return log
	}))
	fs.put("marks", markFields(s, c))
	fs.put("weighings", weighingFields(c))
	var readings Fields
	for _, r := range c.Readings {
		readings = append(readings, Field{r.Response, readingValue(s, r)}) // no and 0 are readings too
	}
	fs.put("readings", readings)
	fs.put("deviations", each(c.Deviations, func(d Deviation) Fields {
		var dev Fields
		if d.AtUS != 0 {
			dev.put("at", spanText(d.AtUS))
		}
		dev.put("what", d.What)
		dev.put("why", d.Why)
		return dev
	}))
	return fs
}

func markFields(s *Study, c Cook) Fields {
	var fs Fields
	if c.ZeroSet {
		if c.ZeroUS >= int64(mostTimeS)*1e6 {
			fs.put("heat_on", clockText(s, time.UnixMicro(c.ZeroUS)))
		} else {
			fs.put("heat_on", spanText(c.ZeroUS))
		}
	}
	for _, k := range markKeys {
		var times []any
		for _, m := range c.Marks {
			switch {
			case m.Kind != k.kind:
			case m.Note != "":
				times = append(times, Fields{{"at", spanText(m.AtUS)}, {"note", m.Note}})
			default:
				times = append(times, spanText(m.AtUS))
			}
		}
		if len(times) == 1 {
			fs.put(k.key, times[0])
		} else {
			fs.put(k.key, times)
		}
	}
	return fs
}

func weighingFields(c Cook) Fields {
	var fs Fields
	common := 0.0
	if len(c.Weighings) > 0 {
		common = c.Weighings[0].ResG
	}
	for _, w := range c.Weighings {
		if w.ResG != common {
			common = 0
		}
	}
	for _, k := range stageKeys {
		var list []any
		for _, w := range c.Weighings {
			if w.Stage != k.stage {
				continue
			}
			mass := decimal(w.MassG) + " g"
			x := Fields{{"mass", mass}}
			if w.HasAt {
				x.put("at", spanText(w.AtUS))
			}
			if w.ResG != common {
				x.put("resolution", decimal(w.ResG)+" g")
			}
			x.put("note", w.Note)
			if len(x) == 1 {
				list = append(list, mass)
			} else {
				list = append(list, x)
			}
		}
		if len(list) == 1 {
			fs.put(k.key, list[0])
		} else {
			fs.put(k.key, list)
		}
	}
	if common > 0 {
		fs.put("resolution", decimal(common)+" g")
	}
	return fs
}

// readingValue writes a typed-in response in its shortest form.
func readingValue(s *Study, r Reading) any {
	texts := make([]any, len(r.Values))
	for i, v := range r.Values {
		switch r.Kind {
		case YesNo:
			texts[i] = v == 1
		case Count:
			texts[i] = int(v)
		case Grade:
			texts[i] = ""
			if k := int(v); k >= 1 && k <= len(r.Grades) {
				texts[i] = r.Grades[k-1]
			}
		default:
			t := strings.TrimSpace(exact(v) + " " + r.Unit)
			if r.StdU > 0 {
				t += strings.TrimRight(" ± "+exact(r.StdU)+" "+r.Unit, " ")
			}
			texts[i] = t
		}
	}
	var value any = texts
	if len(texts) == 1 {
		value = texts[0]
	}
	declared := slices.ContainsFunc(s.Readings, func(d ReadingDef) bool { return d.ID == r.Response })
	bare := declared || r.Kind == Number || r.Kind == YesNo
	if bare && r.By == "" && !r.Blind {
		return value
	}
	key := "value"
	switch {
	case bare:
	case r.Kind == Count:
		key = "count"
	case r.Kind == Grade:
		key = "grade"
	}
	fs := Fields{{key, value}}
	if r.Kind == Grade && !declared {
		fs.put("scale", r.Grades)
	}
	fs.put("by", r.By)
	fs.put("blind", r.Blind)
	return fs
}

// decimal writes a number converted from SI without the noise of the
// conversion.
func decimal(v float64) string { return strconv.FormatFloat(round12(v), 'f', -1, 64) }

func exact(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func shareText(v float64) string { return decimal(v*100) + " %" }

func marginText(m quantity.Margin) string {
	if m.Text != "" || m.MarginKind == "" {
		return m.Text
	}
	switch m.MarginKind {
	case quantity.MarginPoints:
		return decimal(m.Value) + " points"
	case quantity.MarginRatio:
		return shareText(m.Value)
	}
	return amountText(m.Kind, m.Value, m.Unit)
}

func amountText(kind quantity.Kind, v float64, unit string) string {
	u, scale := unitOf(string(kind))
	if kind == quantity.KindOther {
		u = unit
	}
	return strings.TrimSpace(decimal(v*scale) + " " + u)
}

func controlText(c Control) string {
	if c.Text != "" {
		return c.Text
	}
	u, scale := unitOf(string(c.Kind))
	return decimal(c.Value*scale) + " " + u + " ± " + decimal(c.Tolerance*scale) + " " + u
}

// spanText writes µs as minutes and seconds where it can: "12:30", "-5:00",
// "750.25 s".
func spanText(us int64) string {
	sign := ""
	if us < 0 {
		sign, us = "-", -us
	}
	if us%1e6 != 0 {
		return sign + strconv.FormatFloat(float64(us)/1e6, 'f', -1, 64) + " s"
	}
	s := us / 1e6
	if s >= 3600 {
		return fmt.Sprintf("%s%d:%02d:%02d", sign, s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%s%d:%02d", sign, s/60, s%60)
}

// clockText writes a time at the document's offset from UTC.
func clockText(s *Study, t time.Time) string {
	return t.In(time.FixedZone("", s.UTCOffset*60)).Format("2006-01-02 15:04:05.999999 -07:00")
}

func offsetText(minutes int) string {
	sign := "+"
	if minutes < 0 {
		sign = "-"
	}
	m := int(math.Abs(float64(minutes)))
	return fmt.Sprintf("%s%02d:%02d", sign, m/60, m%60)
}
