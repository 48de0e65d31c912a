package web

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"trivet/fault"
	"trivet/study"
)

// What the form of a cook file offers beside typing over values: legs are
// added, put earlier and taken out, faces, turns and ends are given and taken
// away. Each makes a change of the text that is not saved yet.

// formOption is a change that a group of the form offers.
type formOption struct{ Value, Name string }

// formChoice is a select with the changes of one group and the button that
// makes them.
type formChoice struct {
	Name, ID, Label string
	Options         []formOption
}

// faceStarts are what a face begins as; the person puts in their own values.
var faceStarts = []struct {
	key   string
	value any
}{
	{"pan", study.Fields{{Key: "pan", Value: "205 °C"}, {Key: "contact", Value: 350}}},
	{"air", study.Fields{{Key: "air", Value: "150 °C"}, {Key: "h", Value: 20}, {Key: "humidity", Value: "3 %"}}},
	{"fat", study.Fields{{Key: "fat", Value: "150 °C"}, {Key: "film", Value: 60}, {Key: "cover", Value: 0.9}}},
	{"fryer", study.Fields{{Key: "fryer", Value: "175 °C"}, {Key: "h", Value: 300}}},
	{"bath", study.Fields{{Key: "bath", Value: "60 °C"}, {Key: "h", Value: 300}}},
	{"steam", study.Fields{{Key: "steam", Value: "boiling"}, {Key: "h", Value: 800}}},
	{"board", study.Fields{{Key: "board", Value: "23 °C"}, {Key: "h", Value: 8}}},
	{"foil", study.Fields{{Key: "foil", Value: "23 °C"}, {Key: "h", Value: 6}, {Key: "gap", Value: 10}}},
	{"temperature", study.Fields{{Key: "temperature", Value: "60 °C"}}},
	{"insulated", "insulated"},
}

// turnStarts and endStarts are what a turn and an end of a leg begin as.
var turnStarts = []study.Field{
	{Key: "at", Value: []any{"3 min"}},
	{Key: "every", Value: "1 min"},
	{Key: "core_rise", Value: "+5 °C"},
}

var endStarts = []study.Field{
	{Key: "time", Value: "5 min"},
	{Key: "core", Value: "58 °C"},
	{Key: "coldest", Value: "58 °C"},
	{Key: "surface", Value: "70 °C"},
}

// legStarts are the legs that the form adds, from the face below and above.
var legStarts = []struct {
	name, bottom, top, ends string
	rest                    bool
}{
	{"pan", "pan", "room", "core", false},
	{"oven", "air", "air", "core", false},
	{"fryer", "fryer", "fryer", "time", false},
	{"bath", "bath", "bath", "time", false},
	{"steam", "steam", "steam", "core", false},
	{"rest", "board", "room", "time", true},
}

// roomAir is the air over a pan or a board.
var roomAir = study.Fields{{Key: "air", Value: "25 °C"}, {Key: "h", Value: 8}, {Key: "humidity", Value: "40 %"}}

func faceStart(kind string) any {
	for _, f := range faceStarts {
		if f.key == kind {
			return f.value
		}
	}
	return roomAir
}

func newLeg(kind string) (study.Fields, bool) {
	for _, l := range legStarts {
		if l.name != kind {
			continue
		}
		leg := study.Fields{{Key: "name", Value: l.name}}
		if l.rest {
			leg = append(leg, study.Field{Key: "rest", Value: true})
		}
		return append(leg, study.Field{Key: "bottom", Value: faceStart(l.bottom)}, study.Field{Key: "top", Value: faceStart(l.top)},
			study.Field{Key: "ends_when", Value: study.Fields{endStarts[slices.IndexFunc(endStarts, func(e study.Field) bool { return e.Key == l.ends })]}}), true
	}
	return nil, false
}

// legChoices are the changes offered at a leg, given the paths it has.
func legChoices(leg string, has func(path string) bool) formChoice {
	c := formChoice{Name: "change:" + leg, ID: "change-" + anchorOf(strings.NewReplacer("[", "-", "]", "").Replace(leg)), Label: say("leg-change")}
	add := func(value, text string) { c.Options = append(c.Options, formOption{value, text}) }
	for _, place := range []string{"bottom", "top"} {
		for _, f := range faceStarts {
			add(place+"="+f.key, say("leg-face", say("face-"+place), say("face-"+f.key)))
		}
	}
	for _, t := range turnStarts {
		if !has(leg + ".turn." + t.Key) {
			add("turn="+t.Key, say("leg-turn-"+t.Key))
		}
	}
	if has(leg + ".turn") {
		add("out=turn", say("leg-no-turn"))
	}
	ends := 0
	for _, e := range endStarts {
		if has(leg + ".ends_when." + e.Key) {
			ends++
		}
	}
	for _, e := range endStarts {
		switch path := "ends_when." + e.Key; {
		case !has(leg + "." + path):
			add("ends="+e.Key, say("leg-ends-"+e.Key))
		case ends > 1:
			add("out="+path, say("leg-no-end", say("ends-"+e.Key)))
		}
	}
	if has(leg + ".rest") {
		add("out=rest", say("leg-no-rest"))
	} else {
		add("rest=true", say("leg-rest"))
	}
	return c
}

// pieceChoices are the changes offered at the piece.
func pieceChoices(has func(path string) bool) formChoice {
	c := formChoice{Name: "change:piece", ID: "change-piece", Label: say("piece-change")}
	add := func(value string) { c.Options = append(c.Options, formOption{value, say("piece-" + value)}) }
	if has("piece.diameter") {
		add("slab")
	} else {
		add("disc")
	}
	if has("piece.composition") {
		add("food")
	} else {
		add("composition")
	}
	if !has("altitude") && !has("pressure") {
		add("altitude")
	} else if has("altitude") {
		add("sea-level")
	}
	return c
}

// outputChoices are the changes offered at what is told of the cook.
func outputChoices(has func(path string) bool) formChoice {
	c := formChoice{Name: "change:output", ID: "change-output", Label: say("output-change"), Options: []formOption{{"depths", say("output-depths")}}}
	if has("output.depths") {
		c.Options = []formOption{{"out=depths", say("output-no-depths")}}
	}
	return c
}

// reshapeTreatment answers a change of the form's structure: the page again,
// with the changed text, which is not saved yet.
func (d *Desk) reshapeTreatment(w http.ResponseWriter, r *http.Request) {
	rec, t, ok := d.treatmentForm(w, r, d.outline)
	if !ok {
		return
	}
	v := cookFileView{View: "form", Base: r.PostFormValue("base"), Changed: true}
	src, err := filledIn(r)
	if err == nil {
		src, err = reshaped(src, r.PostFormValue("do"), r.PostFormValue)
	}
	v.Text = string(src)
	status := http.StatusOK
	if err != nil {
		v.Error, v.More = d.s.publicFault(err), allFaults(err)
		status = statusOf(v.Error)
	}
	d.showCookFile(w, r, status, rec, t, v)
}

// reshaped makes one change of a cook file's text. do is a verb and the group
// it is done to; field gives the form's other values.
func reshaped(src []byte, do string, field func(string) string) ([]byte, error) {
	doc, err := study.ReadDocument("cook file", src)
	if err != nil {
		return src, err
	}
	verb, at, _ := strings.Cut(do, ":")
	unknown := fault.New("form-change", "%s", say("form-change")).On("do", do).WithFix("%s", say("form-change-fix"))
	switch verb {
	case "add":
		leg, ok := newLeg(field("leg"))
		if !ok {
			return src, unknown
		}
		err = addLeg(doc, src, leg)
	case "earlier":
		err = doc.MoveUp(at)
	case "out":
		err = doc.Remove(at)
	case "change":
		err = changed(doc, at, field("change:"+at))
	default:
		err = unknown
	}
	if err != nil {
		return src, err
	}
	return doc.Bytes(), nil
}

// addLeg puts a leg at the end, or before the rests that end the cook when it
// is no rest itself: the pull is where the last rests begin.
func addLeg(doc *study.Document, src []byte, leg study.Fields) error {
	if err := doc.Append("legs", leg); err != nil {
		return err
	}
	if slices.ContainsFunc(leg, func(f study.Field) bool { return f.Key == "rest" }) {
		return nil
	}
	list, _ := orderedTop(src, "legs").([]any)
	has := hasPaths(leaves(src, nil))
	for i := len(list); i > 0 && has(fmt.Sprintf("legs[%d].rest", i)); i-- {
		if err := doc.MoveUp(fmt.Sprintf("legs[%d]", i+1)); err != nil {
			return err
		}
	}
	return nil
}

// hasPaths tells which paths a cook file has.
func hasPaths(groups []leafGroup) func(string) bool {
	have := map[string]bool{}
	for _, g := range groups {
		for _, l := range g.Leaves {
			for path := l.Path; path != ""; {
				have[path] = true
				i := strings.LastIndexAny(path, ".[")
				if i < 0 {
					break
				}
				path = path[:i]
			}
		}
	}
	return func(path string) bool { return have[path] }
}

// changed makes the change that an option names.
func changed(doc *study.Document, at, option string) error {
	verb, what, _ := strings.Cut(option, "=")
	start := func(list []study.Field) (any, bool) {
		for _, f := range list {
			if f.Key == what {
				return f.Value, true
			}
		}
		return nil, false
	}
	switch verb {
	case "bottom", "top":
		if slices.ContainsFunc(faceStarts, func(f struct {
			key   string
			value any
		}) bool {
			return f.key == what
		}) {
			return doc.Set(at+"."+verb, faceStart(what))
		}
	case "turn":
		if v, ok := start(turnStarts); ok {
			return doc.Set(at+".turn", study.Fields{{Key: what, Value: v}})
		}
	case "ends":
		if v, ok := start(endStarts); ok {
			return doc.Set(at+".ends_when."+what, v)
		}
	case "rest":
		return doc.Set(at+".rest", true)
	case "out":
		return doc.Remove(at + "." + what)
	case "disc":
		if err := doc.Set("piece.shape", "disc"); err != nil {
			return err
		}
		return doc.Set("piece.diameter", "70 mm")
	case "slab":
		if err := doc.Set("piece.shape", "slab"); err != nil {
			return err
		}
		return doc.Remove("piece.diameter")
	case "composition":
		if err := doc.Set("piece.composition", study.Fields{{Key: "water", Value: "72 %"}, {Key: "protein", Value: "22 %"}, {Key: "fat", Value: "5 %"}, {Key: "ash", Value: "1 %"}}); err != nil {
			return err
		}
		return doc.Remove("piece.food")
	case "food":
		if err := doc.Set("piece.food", "pork top loin chop, lean"); err != nil {
			return err
		}
		return doc.Remove("piece.composition")
	case "depths":
		return doc.Set("output.depths", []any{"5 mm", "10 mm"})
	case "altitude":
		return doc.Set("altitude", "300 m")
	case "sea-level":
		return doc.Remove("altitude")
	}
	return fault.New("form-change", "%s", say("form-change")).On(at, strconv.Quote(option)).WithFix("%s", say("form-change-fix"))
}
