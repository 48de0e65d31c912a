package web

import (
	"crypto/sha256"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"sync"

	"trivet/bench"
	"trivet/doneness"
	"trivet/figure"
	"trivet/heat"
	"trivet/quantity"
	"trivet/study"
)

// prediction is what the heat model says of one cook file.
type prediction struct {
	cook     *heat.Cook
	res      *heat.Result
	sections []figure.Section
	says     []string
}

// predictions keeps the last cook files that were simulated.
var predictions struct {
	sync.Mutex
	by map[[32]byte]*prediction
}

// predict simulates a cook file.
func predict(name string, src []byte, fahrenheit bool) (*prediction, error) {
	key := sha256.Sum256(append([]byte(strconv.FormatBool(fahrenheit)), src...))
	predictions.Lock()
	p := predictions.by[key]
	predictions.Unlock()
	if p != nil {
		return p, nil
	}
	cook, err := heat.ParseCook(name, src)
	if err != nil {
		return nil, err
	}
	model := doneness.For(heat.FamilyOf(cook.Spec.Piece))
	spec := cook.Spec
	field := heat.NewDoneField(model, &spec)
	res, err := heat.Simulate(&spec, heat.Options{Observer: field})
	if err != nil {
		return nil, err
	}
	p = &prediction{cook: cook, res: res}
	add := func(word string, m *heat.DoneMoment) {
		if m == nil {
			return
		}
		x := figure.SectionOf(res.Grid, figure.SnapshotAt(res, m.TimeS), *m, model)
		x.At = word + ", " + quantity.FormatDuration(quantity.Seconds(math.Round(m.TimeS)))
		x.Says = say("core-says", temperature(valueAt(res.TimeS, res.CoreC, m.TimeS), fahrenheit))
		p.sections = append(p.sections, x)
	}
	add(say("at-pull"), field.Pull)
	add(say("at-end"), field.End)
	sum := res.Summary
	end := res.Legs[len(res.Legs)-1].EndS
	if sum.PullTimeS != nil && sum.CorePeakC != nil && sum.CarryoverK != nil {
		p.says = append(p.says, say("predict-pull", duration(*sum.PullTimeS), temperature(*sum.CoreAtPullC, fahrenheit)), say("predict-peak", temperature(*sum.CorePeakC, fahrenheit), difference(*sum.CarryoverK, fahrenheit)))
	} else {
		p.says = append(p.says, say("predict-end", duration(end), temperature(res.CoreC[len(res.CoreC)-1], fahrenheit)))
	}
	p.says = append(p.says, say("predict-loss", fmt.Sprintf("%.1f", sum.LossPct), fmt.Sprintf("%.0f", sum.EvenSharePct), units{Fahrenheit: fahrenheit}.width(5, "K")))
	predictions.Lock()
	defer predictions.Unlock()
	if predictions.by == nil || len(predictions.by) > 64 {
		predictions.by = map[[32]byte]*prediction{}
	}
	predictions.by[key] = p
	return p, nil
}

func temperature(c float64, fahrenheit bool) string {
	if fahrenheit {
		return fmt.Sprintf("%.1f °F", c*1.8+32)
	}
	return fmt.Sprintf("%.1f °C", c)
}

func difference(k float64, fahrenheit bool) string {
	if fahrenheit {
		return fmt.Sprintf("%.1f °F", 1.8*k)
	}
	return fmt.Sprintf("%.1f °C", k)
}

func duration(s float64) string { return quantity.FormatDuration(quantity.Seconds(math.Round(s))) }

func valueAt(ts, v []float64, t float64) float64 {
	i, _ := slices.BinarySearch(ts, t)
	switch {
	case i == 0:
		return v[0]
	case i >= len(ts):
		return v[len(v)-1]
	}
	f := (t - ts[i-1]) / (ts[i] - ts[i-1])
	return v[i-1] + f*(v[i]-v[i-1])
}

// trace draws the predicted temperatures of the middle and of both faces.
func (p *prediction) trace(title string, fahrenheit bool) figure.Traces {
	f := figure.Traces{Head: figure.Head{Title: say("predict-trace", title), Note: say("predict-note")}, Treatments: []string{say("core"), say("side-a"), say("side-b")},
		Measure: figure.Measure{Name: "temperature", Kind: figure.Temperature, Degrees: degreesOf(fahrenheit)}}
	for i, v := range [][]float64{p.res.CoreC, p.res.BottomC, p.res.TopC} {
		f.Lines = append(f.Lines, figure.TraceLine{Cook: f.Treatments[i], Channel: say("predicted"), Treatment: i, AtS: p.res.TimeS, Values: v})
	}
	for _, e := range p.res.Events {
		if e.Kind == heat.Turned {
			f.Marks = append(f.Marks, figure.TraceMark{Label: "turn", AtS: e.TimeS})
		}
	}
	if t := p.res.Summary.PullTimeS; t != nil {
		f.Marks = append(f.Marks, figure.TraceMark{Label: "pull", AtS: *t})
	}
	return f
}

func degreesOf(fahrenheit bool) figure.Degrees {
	if fahrenheit {
		return figure.Fahrenheit
	}
	return figure.Celsius
}

func (p *prediction) face(title string, u units) figure.CutFace {
	return figure.CutFace{Title: say("cutface-title"), Fahrenheit: u.Fahrenheit, Inch: u.Inch, Pieces: []figure.CutPiece{{Name: title, Sections: p.sections}}}
}

// treatment tells a treatment in sentences.
func (d *Desk) treatment(rec *bench.Record, t study.Treatment, u units) treatmentView {
	v := treatmentView{ID: t.ID, Name: t.Name, Control: t.Control, Cook: t.Cook}
	if v.Name == "" {
		v.Name = t.ID
	}
	for _, k := range slices.Sorted(maps.Keys(t.Set)) {
		v.Set = append(v.Set, choice{k, t.Set[k]})
	}
	src, ok := rec.CookFiles[t.Cook]
	if t.Cook == "" || !ok {
		return v
	}
	p, err := predict(t.Cook, src, u.Fahrenheit)
	if err != nil {
		v.Error = d.s.publicFault(err)
		return v
	}
	v.Says = p.says
	return v
}

// cutFaces sets the predicted cut faces of all treatments side by side.
func (d *Desk) cutFaces(rec *bench.Record, u units) *pictureView {
	f, ok := cutFaceOf(rec, u)
	if !ok {
		return nil
	}
	p, err := d.picture(rec.Study.ID, "cut-face", f, rec.Study.Invented)
	if err != nil {
		return nil
	}
	return p
}

func cutFaceOf(rec *bench.Record, u units) (figure.CutFace, bool) {
	f := figure.CutFace{Title: say("cutface-title"), Fahrenheit: u.Fahrenheit, Inch: u.Inch}
	for _, t := range rec.Study.Treatments {
		src, ok := rec.CookFiles[t.Cook]
		if !ok {
			continue
		}
		p, err := predict(t.Cook, src, u.Fahrenheit)
		if err != nil {
			continue
		}
		name := t.Name
		if name == "" {
			name = t.ID
		}
		f.Pieces = append(f.Pieces, figure.CutPiece{Name: name, Sections: p.sections})
	}
	return f, len(f.Pieces) > 0
}
