package publish

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"trivet/design"
	"trivet/heat"
	"trivet/quantity"
	"trivet/safety"
	"trivet/study"
)

// Sheets are a study's papers for the kitchen: a day sheet with the gate that
// must be passed before each cook, a page for every cook, a list for whoever
// weighs (codes only), and what to buy and cut. [Sheets.WriteHTML] prints on
// A4 and Letter; [Sheets.WritePDF] lays out either.
type Sheets struct {
	Title    string
	Claim    string
	Invented bool
	Seed     string
	Drawn    string // design and rules of the draw, in words
	What     string // what a block is
	Cautions []safety.Caution
	Gate     []string
	Cooks    []SheetCook
	Shopping []Line
	Void     []study.VoidRule
	Sealed   string // the seal's first digits, or ""
}

// SheetCook is one cook's page.
type SheetCook struct {
	Order     int
	Block     string
	Piece     string
	Treatment string
	Burner    string
	Probe     string
	Code      string
	Set       []Line // what to set, with its tolerance
	Steps     []Step
	Readings  []Line // read by code
}

// Line is a name with its value; an empty value is a blank to fill in.
type Line struct{ Name, Value string }

// Step is something that is done and noted in the course of a cook.
type Step struct {
	When string
	Do   string
	Note []string // blanks to fill in: "g", "°C", "clock"
}

// NewSheets makes the papers of a dealt plan. cookFiles are the parsed cook
// files by treatment; one that is missing leaves its steps general.
func NewSheets(s *study.Study, p *design.Plan, cookFiles map[string]*heat.Cook, cautions []safety.Caution, fahrenheit bool) *Sheets {
	out := &Sheets{Title: s.Title, Claim: s.Claim.Says, Invented: s.Invented, Seed: p.Seed, What: s.Blocks.What, Cautions: cautions, Void: s.VoidRules,
		Drawn: drawn(p)}
	w := sheetWords{fahrenheit}
	out.Gate = w.gate(s)
	names := map[string]study.Treatment{}
	for _, t := range s.Treatments {
		names[t.ID] = t
	}
	needs := neededBy(s)
	for _, slot := range p.Slots {
		t := names[slot.Treatment]
		name := t.Name
		if name == "" {
			name = slot.Treatment
		}
		c := SheetCook{Order: slot.Order, Block: slot.Block, Piece: slot.Piece, Treatment: name, Burner: slot.Burner, Probe: slot.Probe, Code: slot.Code}
		for _, k := range slices.Sorted(maps.Keys(t.Set)) {
			c.Set = append(c.Set, Line{strings.ReplaceAll(k, "_", " "), t.Set[k]})
		}
		for _, k := range slices.Sorted(maps.Keys(slot.Settings)) {
			c.Set = append(c.Set, Line{k, slot.Settings[k]})
		}
		c.Steps = w.steps(s, cookFiles[slot.Treatment], needs)
		c.Readings = readingLines(s)
		out.Cooks = append(out.Cooks, c)
	}
	out.Shopping = shopping(s, p)
	return out
}

func drawn(p *design.Plan) string {
	kind := capital(strings.ReplaceAll(string(p.Kind), "-", " "))
	switch {
	case p.Version > 0:
		return fmt.Sprintf("%s, drawn from the seed %q by rules version %d", kind, p.Seed, p.Version)
	case p.Seed != "":
		return fmt.Sprintf("%s, in the run order of the study document (seed %q)", kind, p.Seed)
	}
	return kind + ", in the run order of the study document"
}

// celsius is a temperature in a face's description.
var celsius = regexp.MustCompile(`(-?[0-9]+(?:\.[0-9]+)?) °C`)

// face describes what a piece lies on or in, in the person's degrees.
func (w sheetWords) face(f heat.Face) string {
	return celsius.ReplaceAllStringFunc(f.Describe(), func(s string) string {
		c, err := strconv.ParseFloat(strings.TrimSuffix(s, " °C"), 64)
		if err != nil {
			return s
		}
		return w.temp(c)
	})
}

type sheetWords struct{ fahrenheit bool }

func (w sheetWords) temp(c float64) string {
	if w.fahrenheit {
		return fmt.Sprintf("%.0f °F", c*1.8+32)
	}
	return fmt.Sprintf("%g °C", c)
}

// gate is what must hold before a piece meets the heat.
func (w sheetWords) gate(s *study.Study) []string {
	var out []string
	pan := false
	for _, c := range s.Controlled {
		if c.Kind == quantity.KindTemperature && c.Name != "start" {
			out = append(out, fmt.Sprintf("%s in its band: %s", strings.ReplaceAll(c.Name, "_", " "), c.Text))
			pan = true
		}
	}
	if !pan {
		out = append(out, "pan or oven in its band")
	}
	for _, c := range s.Controlled {
		if c.Name == "start" || c.Kind != quantity.KindTemperature {
			out = append(out, fmt.Sprintf("%s of the piece: %s", strings.ReplaceAll(c.Name, "_", " "), c.Text))
		}
	}
	return append(out,
		"probe at the stated depth, in the right piece (warm its tip and watch the channel)",
		"scale on zero with the empty tray, tare noted",
		"raw mass noted, surface blotted",
		"clean tools: tongs, board, tray, probe",
		"raw and cooked kept apart: boards, tongs, trays, probes")
}

// neededBy lists what the questions' responses need recorded.
func neededBy(s *study.Study) map[string]bool {
	out := map[string]bool{}
	for _, q := range s.Questions {
		if r, ok := study.LookupResponse(q.Response); ok {
			for _, n := range r.Needs {
				out[n] = true
			}
		}
	}
	return out
}

// steps is the course of one cook, with what to weigh and note and when.
func (w sheetWords) steps(s *study.Study, cook *heat.Cook, needs map[string]bool) []Step {
	temp := "°C"
	if w.fahrenheit {
		temp = "°F"
	}
	out := []Step{
		{"Before", "Thickness at three points", []string{"mm", "mm", "mm"}},
		{"Before", "Start temperature at the centre", []string{temp}},
		{"Before", "Raw mass, blotted", []string{"g", "clock"}},
		{"Before", "Depth of the probe's tip, from the side it went in", []string{"mm"}},
	}
	if cook == nil {
		out = append(out,
			Step{"0:00", "Onto the heat; start the log's mark “heat on”", []string{"clock"}},
			Step{"", "Turns: note each", []string{"clock", "clock", "clock"}},
			Step{"", "Off the heat", []string{"clock", temp}})
	} else {
		at, timed := 0.0, true
		for i, leg := range cook.Spec.Legs {
			when := "then"
			if timed {
				when = minutes(at)
			}
			do := capital(leg.Name)
			if leg.Bottom != nil {
				do += ": " + w.face(leg.Bottom)
			}
			switch {
			case i == 0:
				do += "; mark “heat on”"
			case leg.Rest:
				do += "; mark “off heat”"
			}
			out = append(out, Step{when, do, []string{"clock"}})
			if leg.Turn != nil {
				out = append(out, Step{w.turn(leg.Turn, at, timed), "Turn", []string{"clock"}})
			}
			out = append(out, Step{"until", w.ends(leg.Ends), []string{"clock", temp}})
			if leg.Ends.TimeS != nil {
				at += *leg.Ends.TimeS
			} else {
				timed = false
			}
		}
	}
	out = append(out, Step{"Off heat", "Mass off the heat, within 15 s, same tray", []string{"g", "clock"}})
	out = append(out, Step{"Rest over", "Highest core temperature and when it came", []string{temp, "clock"}})
	if needs["rested"] || needs["cut"] || len(needs) == 0 {
		out = append(out, Step{"Rest over", "Mass after the rest", []string{"g", "clock"}})
	}
	if needs["cut"] {
		out = append(out, Step{"Cut", "Mass after cutting and draining; drip on the tray", []string{"g", "g", "clock"}})
	}
	if needs["surface"] || needs["served"] {
		out = append(out, Step{"Serving", "Mark “served”; surface temperature", []string{temp, "clock"}})
	}
	return out
}

func (w sheetWords) turn(t *heat.TurnRule, at float64, timed bool) string {
	switch {
	case t.EveryS > 0:
		return "every " + minutes(t.EveryS)
	case t.CoreRiseK > 0:
		rise, unit := t.CoreRiseK, "°C"
		if w.fahrenheit {
			rise, unit = rise*1.8, "°F"
		}
		return fmt.Sprintf("per %g %s of core rise", rise, unit)
	}
	var parts []string
	for _, x := range t.AtS {
		if timed {
			parts = append(parts, minutes(at+x))
		} else {
			parts = append(parts, minutes(x)+" in")
		}
	}
	return strings.Join(parts, ", ")
}

func (w sheetWords) ends(e heat.EndRule) string {
	var parts []string
	if e.TimeS != nil {
		parts = append(parts, minutes(*e.TimeS)+" have passed")
	}
	if e.CoreC != nil {
		parts = append(parts, "the core reads "+w.temp(*e.CoreC))
	}
	if len(parts) == 0 {
		return "as the cook file says"
	}
	return strings.Join(parts, " or ")
}

func minutes(s float64) string {
	d := time.Duration(s * float64(time.Second)).Round(time.Second)
	return fmt.Sprintf("%d:%02d", int(d.Minutes()), int(d.Seconds())%60)
}

// readingLines are what is read by code, blind.
func readingLines(s *study.Study) []Line {
	var out []Line
	for _, q := range s.Questions {
		for _, d := range s.Readings {
			if d.ID != q.Response {
				continue
			}
			what := d.What
			if what == "" {
				what = strings.ReplaceAll(d.ID, "_", " ")
			}
			switch d.Kind {
			case study.YesNo:
				what += " (yes / no)"
			case study.Grade:
				what += " (" + strings.Join(d.Scale, " / ") + ")"
			case study.Count:
				what += " (count)"
			}
			out = append(out, Line{what, d.Unit})
		}
	}
	return out
}

// shopping is what to buy and cut.
func shopping(s *study.Study, p *design.Plan) []Line {
	what := s.Blocks.What
	if what == "" {
		what = "block"
	}
	spares := s.Blocks.Spares
	perBlock := p.PerBlock + spares
	out := []Line{{capital(what), fmt.Sprint(p.Blocks)},
		{"Pieces of each", fmt.Sprintf("%d to cook and %d spare", p.PerBlock, spares)},
		{"Pieces in all", fmt.Sprint(p.Blocks * perBlock)}}
	mass := 0.0
	for _, c := range s.Controlled {
		switch c.Name {
		case "mass":
			mass = c.Value
			out = append(out, Line{"Each piece", c.Text})
		case "thickness":
			out = append(out, Line{"Cut to", c.Text})
			out = append(out, Line{"Length of each, with 10 mm for the ends", fmt.Sprintf("%.0f mm", 1000*(c.Value*float64(perBlock))+10)})
		}
	}
	if mass > 0 {
		out = append(out, Line{"Mass in all, with spares", fmt.Sprintf("%.1f kg", mass*float64(p.Blocks*perBlock))})
	}
	return append(out, Line{"Labels", "one a piece, with block and letter, water-proof"},
		Line{"Fat, salt and the like", "one lot for the whole study"})
}

// HTML and PDF share these.
func (s *Sheets) hasBurner() bool {
	return slices.ContainsFunc(s.Cooks, func(c SheetCook) bool { return c.Burner != "" })
}
func (s *Sheets) hasProbe() bool {
	return slices.ContainsFunc(s.Cooks, func(c SheetCook) bool { return c.Probe != "" })
}

// byCode lists the codes in numeric order, for whoever weighs.
func (s *Sheets) byCode() []string {
	var out []string
	for _, c := range s.Cooks {
		out = append(out, c.Code)
	}
	slices.Sort(out)
	return out
}
