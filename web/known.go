package web

import (
	"fmt"
	"strings"

	"trivet/answer"
	"trivet/measure"
	"trivet/study"
	"trivet/tasting"
)

// knownNote is the note "How is this known?" at a number: the formula, the
// data it was computed from and where the formula stands.
type knownNote struct {
	Of       string // what it is about, where several stand together
	Response string // how the response of a finding is computed
	Formula  string
	Data     string
	Source   string
}

// known is the note of a kind of number.
func known(kind string) knownNote {
	return knownNote{Formula: say("known-" + kind + "-formula"), Data: say("known-" + kind + "-data"), Source: say("known-" + kind + "-source")}
}

// readFromTheCore are the responses that are read from the core.
var readFromTheCore = map[string]bool{
	"time_to_core": true, "core_at_pull": true, "core_peak": true, "carryover": true, "time_to_peak": true, "heating_rate": true, "even_share": true,
}

// readFromTheFit are those that a fitted profile may give.
var readFromTheFit = map[string]bool{"surface_at_serving": true, "face_spread": true, "lethality": true}

// responseFormula says how a response is computed and where that stands; of a
// name that is no built-in response, how a typed reading is.
func responseFormula(name string) (formula, source string) {
	id, _ := study.SplitResponse(name)
	if _, ok := study.LookupResponse(name); !ok {
		id = "typed"
	}
	formula, source = say("known-r-"+id+"-formula"), say("known-r-"+id+"-source")
	if readFromTheCore[id] {
		formula += " " + say("known-r-core")
	}
	if readFromTheCore[id] || readFromTheFit[id] {
		source += " " + say("known-r-fit")
	}
	return formula, source + " " + say("known-r-gum")
}

// knownResponse is the note of one value of a cook.
func knownResponse(name string, x measure.Response, u units) knownNote {
	n := knownNote{Of: name}
	id := x.Name
	if x.Typed {
		id = "" // typed in under a built-in name, too
	}
	n.Formula, n.Source = responseFormula(id)
	switch from := x.ReadFrom(); {
	case x.Typed:
		n.Data = say("known-r-typed-data", count(x.Repeats, "value", "values"))
	case len(from) > 0:
		n.Data = say("known-read-from", strings.Join(from, "; "))
	}
	var parts []string
	for _, b := range x.Budget {
		if b.StdU > 0 {
			parts = append(parts, say("known-budget-item", b.Name, b.Type, u.width(b.StdU, x.Unit)))
		}
	}
	if len(parts) == 0 {
		n.Data += " " + say("known-no-budget")
	} else {
		n.Data += " " + say("known-budget", strings.Join(parts, "; "))
	}
	return n
}

// knownFinding is the note of one finding.
func knownFinding(f *answer.Finding) knownNote {
	if f.Tasting != nil {
		n := known("tasting")
		n.Of, n.Data = f.Ask, say("known-tasting-count", f.Tasting.Correct, f.Tasting.N)
		return n
	}
	n := known("finding")
	n.Of = f.Ask
	if f.Response != "" {
		var source string
		n.Response, source = responseFormula(f.Response)
		n.Source += " " + source
	}
	if ev := f.Evidence; ev != nil {
		n.Formula = sentenceOf(ev.Method) + " " + n.Formula
		n.Data = say("known-finding-count", count(ev.N, "piece", "pieces"), count(ev.Blocks, "block", "blocks"), fmt.Sprintf("%.4g", ev.Level)) + " " + say("known-finding-pieces")
	}
	return n
}

// knownResult is the note of a closed tasting's numbers.
func knownResult(s *tasting.Scored, m tasting.Method) knownNote {
	n := knownNote{Formula: say("known-result-report-formula"), Data: say("known-result-data"), Source: say("known-result-source", m.Describe().Standard)}
	switch {
	case s.Choice != nil:
		n.Formula = say("known-tasting-formula")
		n.Data = say("known-tasting-count", s.Choice.Correct, s.Choice.N) + " " + n.Data
	case s.Response != nil:
		n.Formula = say("known-result-d-formula")
	}
	return n
}
