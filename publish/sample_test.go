package publish

import (
	"fmt"
	"math"
	"time"

	"trivet/fault"
	"trivet/figure"
	"trivet/safety"
)

// sample is a whole report on invented data.
func sample() Report {
	day := time.Date(2026, 3, 2, 9, 30, 12, 0, time.FixedZone("", 3600))
	points := figure.Measure{Name: "cooking loss", Kind: figure.Points}
	kelvin := figure.Measure{Name: "surface at serving", Kind: figure.Difference}
	line := figure.AnswerLine{
		Head: figure.Head{Title: "The answers against their margins", Note: "Thin bars: 95 % intervals; thick bars: 90 %. Shaded: too small to matter."},
		Answers: []figure.Answer{
			{Ask: "Does searing first lower the cooking loss?", Verdict: "No difference that matters.", Settled: true, Measure: points,
				Estimate: 0.31, Outer: figure.Interval{Lo: -0.42, Hi: 1.04}, Inner: figure.Interval{Lo: -0.29, Hi: 0.91}, Level: 0.95, Margin: 2, Claim: figure.Lower},
			{Ask: "Is the surface hotter at serving?", Verdict: "Makes a difference that matters.", Settled: true, Measure: kelvin,
				Estimate: 11.2, Outer: figure.Interval{Lo: 8.1, Hi: 14.3}, Inner: figure.Interval{Lo: 8.6, Hi: 13.8}, Level: 0.95, Margin: 5, Claim: figure.Higher},
		},
	}
	blocks := figure.BlockLines{
		Head:       figure.Head{Title: line.Answers[0].Ask}, // as the section it stands in is called
		Measure:    figure.Measure{Name: "cooking loss", Kind: figure.Percent},
		BlockWord:  "loin",
		Treatments: []string{"sear last", "sear first"},
		Level:      0.95, Margin: 2,
		Effects: []figure.Effect{{Treatment: "sear first", Estimate: 0.31, Interval: figure.Interval{Lo: -0.42, Hi: 1.04}}},
	}
	traces := func(cooks []string) figure.Traces {
		f := figure.Traces{Measure: figure.Measure{Kind: figure.Temperature, Degrees: figure.Both}, Treatments: []string{"sear last", "sear first"},
			Levels: []figure.Level{{Channel: "core", Value: 63, Label: "target of the core"}}}
		for i, name := range cooks {
			l := figure.TraceLine{Cook: name, Channel: "core", Treatment: i % 2}
			for t := -30.0; t < 1400; t += 4 {
				l.AtS = append(l.AtS, t)
				l.Values = append(l.Values, 5+58*(1-math.Exp(-math.Max(0, t)/(400+30*float64(i%2)+7*float64(i%5)))))
			}
			f.Lines = append(f.Lines, l)
			f.Marks = append(f.Marks, figure.TraceMark{Label: "off heat", AtS: 900 + 11*float64(i%7), Treatment: i % 2})
		}
		return f
	}
	r := Report{
		Study: "sear-first-or-last", Title: "Sear first or sear last", Licence: "CC-BY-4.0", Made: day.Add(240 * time.Hour), Invented: true,
		Authors:    []string{"A. Cook", "B. Taster"},
		Claim:      Claim{Says: "Searing a chop first keeps it juicier than searing it last", Scope: "pork loin chops about 30 mm thick, pan and low oven", Fair: "Both treatments use the same pan, oven and end point; only the order differs.", Against: "Equal or higher loss when seared first."},
		AnswerLine: &line,
		Notes:      []fault.Note{{Code: "step-down", Text: "2 questions on responses share the error rate 0.05; the tasting keeps its own."}},
		Plan: Plan{Sealed: true, Hash: "3f1d0e2a5b6c7d8e9f00112233445566778899aabbccddeeff00112233445566", At: day, First: day.Add(26 * time.Hour),
			Changes:     []string{"the pan was to be 205 °C ± 5 °C; it is now 205 °C ± 8 °C"},
			Facts:       []Fact{{"Design", "Pairs: two chops of each loin, one to each treatment by lot"}, {"Blocks", "20 pork loins, one spare chop each"}, {"Stopping rule", "Fixed: 20 loins, one look at the end"}},
			Controls:    []Fact{{"Thickness", "30 mm ± 1 mm"}, {"Start", "5 °C ± 1 °C"}},
			Instruments: []Fact{{"probe-1", "eight sensors; class T special; checked 2026-02-27"}},
			Void:        []string{"the probe slipped out before the pull", "the pan left its band for more than 30 s"},
			History:     []Event{{day, "The plan was sealed."}, {day.Add(100 * time.Hour), "The pan's tolerance was changed."}}},
		Methods: Methods{Responses: []Fact{{"Cooking loss", "Raw mass less the mass off the heat, in percent of the raw mass; from two weighings, whose resolution sets the uncertainty."}},
			Sources: []string{"Goeman J. J., Solari A., Stijnen T., Three-sided hypothesis testing, Statistics in Medicine 29, 2010."}},
		Cautions: safety.Cautions(safety.Facts{Animal: "pork", Form: "intact", Eaten: true, Tasting: true, Probed: true}),
		Data:     []DataFile{{Path: "data/cooks.csv", What: "One row for each cook", SHA256: "9c56cc51b374c3ba189210d5b6d4bf57790d351c96c47c02190ecf1e430635ab", Bytes: 48213}},
		Versions: []Fact{{"trivet", "0.1.0"}, {"method", "1"}},
		Rerun:    "trivet answer data",
	}
	var names []string
	for i := range 20 {
		loin := fmt.Sprintf("L%02d", i+1)
		last := 21 + 3*math.Sin(float64(i))
		first := last + 0.31 + 1.4*math.Cos(float64(3*i))
		blocks.Blocks = append(blocks.Blocks, figure.BlockValues{Block: loin, Values: []float64{last, first}})
		for k, t := range blocks.Treatments {
			label := loin + []string{"-last", "-first"}[k]
			names = append(names, label)
			c := Cook{Label: label, Block: loin, Piece: label, Treatment: t, Role: "planned", Order: 2*i + k + 1, Day: "3 March 2026",
				Values: []Value{{Name: "cooking loss", Measure: blocks.Measure, Value: []float64{last, first}[k], U: 0.32}, {Name: "core at pull", Measure: figure.Measure{Kind: figure.Temperature}, Value: 58.2 + float64(i%4), U: 0.67},
					{Name: "time to core", Measure: figure.Measure{Kind: figure.Duration}, Value: 740 + 9*float64(i), U: 8},
					{Name: "lethality", Measure: figure.Measure{Unit: "log10"}, Value: 0.6, U: 0.9, Low: 0.2, High: 1.9}}}
			if i < 3 {
				tr := traces([]string{label})
				tr.Treatments = []string{t}
				c.Traces = &Exhibit{ID: "cook-" + label, Figure: tr}
				c.Weighings = []Weighing{{Stage: "raw", MassG: 251.2, ResG: 0.1}, {Stage: "off heat", MassG: 197.9, ResG: 0.1, AtS: 913, HasAt: true, Note: "blotted"}}
				c.Marks = []Mark{{0, "heat on", ""}, {120, "turn", ""}, {913, "off heat", ""}}
			}
			if i == 1 && k == 0 {
				c.Deviations = []Deviation{{AtS: 300, HasAt: true, What: "the oven door was open for 20 s", Why: "a tray was in the way"}}
				c.Corrections = []string{"core: 0.3 K offset found at the ice point taken off"}
			}
			if i == 2 && k == 1 {
				c.Role, c.VoidWhy = "void", "the probe slipped out before the pull"
				c.Values[1].Value = math.NaN()
			}
			r.Cooks = append(r.Cooks, c)
		}
	}
	overview := traces(names[:20])
	overview.Title = "Every core in step at heat on"
	r.Overview = []Exhibit{{ID: "traces", Figure: overview}}
	r.Questions = []Question{
		{ID: "loss", Ask: line.Answers[0].Ask, Printed: "no difference that matters", Settled: true, Sealed: true,
			Sentence:  "Any average difference in cooking loss is smaller than 2 points.",
			Treatment: "sear first", Control: "sear last",
			Evidence: &Evidence{Response: "cooking loss", Measure: points, Value: blocks.Measure, Estimate: 0.31, SE: 0.349, DF: 19, Outer: line.Answers[0].Outer, Inner: line.Answers[0].Inner,
				Level: 0.95, Margin: 2, Claim: figure.Lower, P: 0.385, Pieces: 40, Blocks: 20, TreatMean: 21.41, CtrlMean: 21.10, ValueU: 0.32, ValueK: 2, ValueMain: "weighing off the heat, 62 % of the variance", ValueHalf: "no single source halves it",
				SignFlip: &figure.Interval{Lo: -0.4, Hi: 1.02}, NextCook: &figure.Interval{Lo: -3.0, Hi: 3.6}, Method: "Mean of the 20 paired differences, Student's t."},
			Exhibits:    []Exhibit{{ID: "loss-blocks", Figure: blocks}},
			Checks:      []Check{{"sealed-before-data", Passed, "The plan is older than the first planned cook."}, {"resolution", Passed, "The scale's 0.1 g is 0.04 points, under a quarter of the margin."}, {"blind-reading", Unsure, "Weighings are not judged; nothing to check."}},
			OtherWays:   []string{"With the loss of the rest added: 0.31 points higher (95 %: 0.10 to 0.52 points higher); the verdict stays"},
			Sensitivity: []string{"Leaving out any one loin keeps the verdict: the estimate moves between 0.19 and 0.42 points."},
			Notes:       []fault.Note{{Code: "scope", Text: "All loins came from one purchase."}}},
		{ID: "surface", Ask: line.Answers[1].Ask, Printed: "makes a difference that matters", Settled: true, Sealed: true, Treatment: "sear first", Control: "sear last",
			Evidence: &Evidence{Response: "surface at serving", Measure: kelvin, Value: figure.Measure{Kind: figure.Temperature}, Estimate: 11.2, SE: 1.48, DF: 19, Outer: line.Answers[1].Outer, Inner: line.Answers[1].Inner,
				Level: 0.95, Margin: 5, Claim: figure.Higher, P: 0.00002, Pieces: 40, Blocks: 20, TreatMean: 61.4, CtrlMean: 50.2}},
		{ID: "taste", Ask: "Can people taste which was seared first?", Printed: "not shown that tasters can tell them apart", Sealed: true,
			Sentence: "24 of 60 assessors picked the odd sample; 27 would have ruled guessing out.",
			Facts:    []Fact{{"Test", "Triangle, 60 assessors, one serving each"}, {"d′", "0.81; 95 %: 0.00 to 1.55"}},
			Exhibits: []Exhibit{{ID: "taste-chance", Figure: figure.Chance{Head: figure.Head{Title: "Correct answers against guessing"}, Method: "triangle", N: 60, Guess: 1. / 3, Correct: 24, Critical: 27, Alpha: 0.05, DPrime: 0.81, Interval: figure.Interval{Lo: 0, Hi: 1.55}, Level: 0.95}}}},
	}
	return r
}
