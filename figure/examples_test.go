package figure

import (
	"fmt"
	"math"
)

type example struct {
	name   string
	fig    Figure
	golden bool // its SVG is kept in testdata
}

// invented is the heading of every example: the numbers are made up.
func invented(title, subtitle string) Head {
	return Head{Title: title, Subtitle: subtitle, Invented: true}
}

func answers() AnswerLine {
	return AnswerLine{
		Head: invented("Searing first changes the crust, not the juice", "Sear first minus sear last, 20 loins"),
		Answers: []Answer{
			{Ask: "Does searing first lower the cooking loss?", Verdict: "No difference that matters: any average difference is smaller than 2 points.", Settled: true,
				Measure: Measure{Name: "cooking loss", Kind: Points}, Estimate: 0.31, Outer: Interval{-0.42, 1.04}, Inner: Interval{-0.29, 0.91}, Level: 0.95, Margin: 2, Claim: Lower},
			{Ask: "Is the surface hotter at serving?", Verdict: "Makes a difference that matters: it is hotter, by at least 5 °C.", Settled: true,
				Measure: Measure{Name: "surface", Kind: Difference}, Estimate: 11.2, Outer: Interval{8.1, 14.3}, Inner: Interval{8.6, 13.8}, Level: 0.95, Margin: 5, Claim: Higher},
			{Ask: "Does the core rise further after the pull?", Verdict: "Not settled yet: it moved the claimed way; about 9 to 22 more loins would likely settle it.",
				Measure: Measure{Name: "carryover", Kind: Difference}, Estimate: 0.9, Outer: Interval{-0.6, 2.4}, Inner: Interval{-0.33, 2.13}, Level: 0.95, Margin: 2, Claim: Higher},
		},
	}
}

func awkwardAnswers() AnswerLine {
	return AnswerLine{
		Head: invented("One question whose name runs on and on well beyond what anyone would print in a kitchen, to see the wrapping", ""),
		Answers: []Answer{
			{Ask: "Does brining overnight in the coldest corner of the refrigerator shorten the time to a core of 63 °C in comparison with no brine at all?", Verdict: "Not settled yet.",
				Measure: Measure{Kind: Duration}, Estimate: -95, Outer: Interval{-2400, 2210}, Inner: Interval{-1800, 1610}, Level: 1 - 0.05/3, Margin: 30, Claim: Either},
			{Ask: "Does it lower the shear force?", Verdict: "Numbers only: the plan was not sealed.",
				Measure: Measure{Kind: LogRatio}, Estimate: -0.4, Outer: Interval{math.Inf(-1), -0.1}, Inner: Interval{-0.7, -0.12}, Level: 0.95, Margin: math.Log(1.1), Claim: Lower},
			{Ask: "Nothing measured?", Verdict: "Numbers only: no cook has both treatments.",
				Measure: Measure{Kind: Number, Unit: "N"}, Estimate: math.NaN(), Outer: Interval{math.NaN(), math.NaN()}, Inner: Interval{math.NaN(), math.NaN()}, Level: 0.95, Margin: 4, Claim: Higher},
			{Ask: "Is it far away?", Verdict: "The reverse matters.", Settled: true,
				Measure: Measure{Kind: Difference, Degrees: Fahrenheit}, Estimate: -40, Outer: Interval{-44, -36}, Inner: Interval{-43, -37}, Level: 0.95, Margin: 2, Claim: Higher},
		},
	}
}

func examples() []example {
	return []example{
		{"answer", answers(), true},
		{"answer-awkward", awkwardAnswers(), false},
		{"blocks", blockLines(20, 2), true},
		{"blocks-40", blockLines(40, 2), false},
		{"blocks-1", blockLines(1, 2), false},
		{"blocks-5", blockLines(9, 5), false},
		{"traces", traces(20, Both), false},
		{"traces-2", traces(2, Fahrenheit), true},
		{"traces-band", bands(), false},
		{"losses", losses(20, 0), true},
		{"losses-few", losses(3, -1.5), false},
		{"power", power(), true},
		{"components", Components{Head: invented("Most of the scatter is between loins", ""), Measure: Measure{Name: "cooking loss", Kind: Percent},
			Parts: []Component{{"between loins", 9.6}, {"between chops of one loin, under one treatment, from one side of the muscle to the other", 2.1}, {"between weighings", 0.026}, {"between days", 0}}}, true},
		{"ledger", ledger(), true},
		{"leave-one-out", leaveOneOut(20), true},
		{"leave-one-out-40", leaveOneOut(40), false},
		{"leave-one-out-400", leaveOneOut(400), false},
		{"chance", chance(), true},
		{"chance-small", Chance{Head: invented("Six tasters", ""), Method: "2-AFC", N: 6, Guess: 0.5, Correct: 6, Critical: 6, Alpha: 0.05, DPrime: 2.9, Interval: Interval{0.3, math.Inf(1)}, Level: 0.95}, false},
		{"ratings", ratings(24, "basted", "plain"), true},
		{"ratings-4", ratings(60, "basted every two minutes from the turn on", "plain", "brined", "rested in the oven"), false},
		{"ratings-1", ratings(1, "basted"), false},
		{"ranks", ranks(24, true, "basted", "plain", "brined", "rested in the oven for an hour"), true},
		{"ranks-2", ranks(3, false, "basted", "plain"), false},
		{"sureness", SurenessCurve{Head: invented("Tasters who were sure were mostly right", "A-not-A test, 80 answers"), Yes: "not A", Distance: 1.1, Spread: 1.2, Area: 0.752, AreaSE: 0.054,
			Points: []RatePoint{{0, 0}, {0.05, 0.33}, {0.15, 0.5}, {0.32, 0.68}, {0.55, 0.83}, {0.8, 0.95}, {1, 1}}}, true},
		{"sequential", sequential(30, 24), true},
		{"sequential-low", sequential(26, 5), false},
		{"sequential-counts", SequentialPath{Head: invented("Not decided yet", ""), Slope: 0.5, Upper: 3.1, Lower: -2.4, N: 9, Correct: 5}, false},
		{"chance-none", Chance{Head: invented("Nobody was right", ""), Method: "triangle", N: 200, Guess: 1. / 3, Correct: 0, Critical: 79, Alpha: 0.05, DPrime: math.NaN()}, false},
	}
}

// wobble is a fixed, plain sequence in [−1, 1] that stands in for scatter.
func wobble(i, k int) float64 {
	v := math.Sin(float64(i*78+k*37+1)) * 437.585
	return 2*(v-math.Floor(v)) - 1
}

func blockLines(blocks, treatments int) BlockLines {
	f := BlockLines{
		Head:       invented("Searing first costs about 1.4 points more", "Cooking loss of each loin under both treatments"),
		Measure:    Measure{Name: "cooking loss", Kind: Percent},
		BlockWord:  "loin",
		Treatments: []string{"sear last", "sear first", "sear first, then a long rest under foil", "never seared", "sous-vide-ish-water-bath"}[:treatments],
		Level:      0.95, Margin: 2,
	}
	for i := range blocks {
		b := BlockValues{Block: fmt.Sprintf("L%02d", i+1)}
		for k := range treatments {
			b.Values = append(b.Values, 21+4*wobble(i, 0)+1.4*float64(k)+1.9*wobble(i, k+1))
		}
		if i == 4 {
			b.Values[1] = math.NaN()
		}
		f.Blocks = append(f.Blocks, b)
	}
	for k := 1; k < treatments; k++ {
		e := Effect{f.Treatments[k], 1.4 * float64(k), Interval{1.4*float64(k) - 0.8, 1.4*float64(k) + 0.8}}
		if blocks == 1 {
			e.Estimate = f.Blocks[0].Values[k] - f.Blocks[0].Values[0]
			e.Interval = Interval{math.NaN(), math.NaN()}
		}
		if blocks == 40 {
			e.Interval = Interval{-90, 92}
		}
		f.Effects = append(f.Effects, e)
	}
	return f
}

func traces(cooks int, d Degrees) Traces {
	f := Traces{
		Head:       invented("Searing first warms the core earlier and lets it coast longer", ""),
		Measure:    Measure{Name: "temperature", Kind: Temperature, Degrees: d},
		Treatments: []string{"sear last", "sear first"},
		Levels:     []Level{{Channel: "core", Value: 63, Label: "core target"}},
	}
	for k, name := range f.Treatments {
		for i := range cooks {
			core := TraceLine{Cook: fmt.Sprintf("L%02d %s", i+1, name), Channel: "core", Treatment: k}
			surface := core
			surface.Channel = "surface"
			for t := -60.0; t < 1500; t += 5 {
				slow := 420 + 40*wobble(i, k) - 60*float64(k)
				c := 5 + 60*(1-math.Exp(-math.Max(0, t)/slow))
				c += 0.15 * wobble(int(t), i)
				if i == 3 && t > 500 && t < 560 {
					c = math.NaN()
				}
				sf := 5 + 75*(1-math.Exp(-math.Max(0, t)/200)) + 3*wobble(int(t), i+50)
				if t > 900+float64(30*i) {
					sf = 80 - (t-900)*0.02 + 3*wobble(int(t), i+50)
				}
				core.AtS, core.Values = append(core.AtS, t), append(core.Values, c)
				surface.AtS, surface.Values = append(surface.AtS, t), append(surface.Values, sf)
			}
			f.Lines = append(f.Lines, core, surface)
			for n := range 3 {
				f.Marks = append(f.Marks, TraceMark{"turn", float64(120*(n+1)) + 9*wobble(i, n+k), k})
			}
			f.Marks = append(f.Marks, TraceMark{"off heat", 900 + 60*wobble(i, k), k})
		}
	}
	return f
}

func bands() Traces {
	f := Traces{Head: invented("Spread of the core", ""), Measure: Measure{Name: "temperature", Kind: Temperature}, Treatments: []string{"sear last", "sear first"}}
	for k := range f.Treatments {
		b := TraceBand{Channel: "core", Treatment: k, What: "lowest to highest of 20 cooks"}
		for t := 0.0; t < 5400; t += 20 {
			mid := 5 + 60*(1-math.Exp(-t/(1400-300*float64(k))))
			b.AtS, b.Mid = append(b.AtS, t), append(b.Mid, mid)
			b.Lo, b.Hi = append(b.Lo, mid-3), append(b.Hi, mid+2)
		}
		f.Bands = append(f.Bands, b)
	}
	return f
}

func losses(cooks int, shift float64) Losses {
	f := Losses{Head: invented("Most of the loss happens over heat", ""), Parts: []string{"cooking", "rest", "cut"}, Level: 0.95}
	for k, name := range []string{"sear last", "sear first, then rested under foil"} {
		t := TreatmentLoss{Name: name, Mean: 23 + float64(k), Interval: Interval{22.1 + float64(k), 23.9 + float64(k)}}
		for i := range cooks {
			c := CookLoss{Cook: fmt.Sprintf("L%02d-%s", i+1, []string{"last", "first"}[k]), Parts: []float64{18 + 2*wobble(i, k) + float64(k), 3 + wobble(i, k+9), 2 + 0.8*wobble(i, k+19) + 2*shift}}
			if i == 1 {
				c.Parts[2] = math.NaN()
			}
			t.Cooks = append(t.Cooks, c)
		}
		f.Treatments = append(f.Treatments, t)
	}
	if shift != 0 {
		f.Treatments[0].Interval = Interval{-80, 140}
		f.Treatments[1].Mean = math.NaN()
	}
	return f
}

func chance() Chance {
	return Chance{Head: invented("Tasters could not reliably tell which was seared first", "Triangle test, 60 assessors"),
		Method: "triangle", N: 60, Guess: 1. / 3, Correct: 24, Critical: 27, Alpha: 0.05, DPrime: 0.81, Interval: Interval{0, 1.55}, Level: 0.95}
}

func power() Power {
	f := Power{Head: invented("20 loins settle most questions", ""), Measure: Measure{Name: "true difference", Kind: Points}, Margin: 2, Target: 0.8,
		X: []float64{0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4}}
	for _, c := range []struct {
		label  string
		centre float64
		sign   float64
	}{{"makes a difference that matters", 3, 1}, {"no difference that matters, or too small to matter", 1.2, -1}} {
		curve := Curve{Label: c.label}
		for _, x := range f.X {
			curve.Chance = append(curve.Chance, 1/(1+math.Exp(-c.sign*3*(x-c.centre))))
		}
		f.Curves = append(f.Curves, curve)
	}
	return f
}

func ledger() Ledger {
	return Ledger{Head: invented("A third of the heat boils water off", ""), Treatments: []string{"sear last", "sear first"},
		In:  []LedgerItem{{"side A, pan", []float64{31200, 36100}}, {"side B, air", []float64{12100, 9800}}, {"rim", []float64{2200, -900}}},
		Out: []LedgerItem{{"stored in the meat", []float64{28800, 27500}}, {"boiled off at the face", []float64{13900, math.NaN()}}, {"evaporated", []float64{2500, 2200}}, {"dripped", []float64{300, 310}}}}
}

func leaveOneOut(blocks int) LeaveOneOut {
	f := LeaveOneOut{Head: invented("No single loin carries the answer", ""), Measure: Measure{Name: "sear first minus sear last", Kind: Points}, Estimate: 1.4, Interval: Interval{0.6, 2.2}, Margin: 2, Level: 0.95}
	for i := range blocks {
		e := 1.4 + 0.2*wobble(i, 3)
		l := LeftOut{Block: fmt.Sprintf("L%02d", i+1), Estimate: e, Interval: Interval{e - 0.85, e + 0.85}}
		if i == 7 {
			l.Verdict = "not settled yet"
			l.Interval = Interval{math.Inf(-1), e + 40}
		}
		f.Left = append(f.Left, l)
	}
	f.Others = []Redefined{{"within 3 K", 1.2, Interval{0.1, 2.3}, ""}, {"at serving", 0.1, Interval{-0.7, 0.9}, "no difference that matters"}}
	return f
}

func ratings(assessors int, products ...string) Ratings {
	f := Ratings{Head: invented("Basting is liked a little more", "9-point hedonic test"), Lo: 1, Hi: 9, Level: 0.95,
		Measure: Measure{Name: "liking, 1 dislike extremely to 9 like extremely"}}
	for k, name := range products {
		m := 6.4 - 0.7*float64(k)
		f.Products = append(f.Products, RatedProduct{name, m, Interval{m - 0.61, m + 0.61}})
	}
	for i := range assessors {
		a := AssessorScores{Assessor: fmt.Sprintf("A%02d", i+1)}
		for k := range products {
			a.Scores = append(a.Scores, math.Round(6.4-0.7*float64(k)+1.1*wobble(i, 3)+1.3*wobble(i, k+11)))
		}
		if i == 4 {
			a.Scores[0] = math.NaN()
		}
		f.Assessors = append(f.Assessors, a)
	}
	return f
}

func ranks(assessors int, shown bool, products ...string) Ranks {
	f := Ranks{Head: invented("Basted is put first most often", "Ranking test, 1 for the juiciest"), Alpha: 0.05, Shown: shown}
	p := float64(len(products))
	f.LSD = 1.96 * math.Sqrt(float64(assessors)*p*(p+1)/6)
	for _, name := range products {
		f.Products = append(f.Products, RankedProduct{Name: name})
	}
	for i := range assessors {
		score := make([]float64, len(products))
		for k := range products {
			score[k] = math.Round(4 * (0.35*float64(k) + wobble(i, k+5)))
		}
		for k := range products {
			r := 0.5
			for j := range products {
				switch {
				case score[j] < score[k]:
					r++
				case score[j] == score[k]:
					r += 0.5
				}
			}
			f.Products[k].Ranks = append(f.Products[k].Ranks, r)
			f.Products[k].Sum += r
		}
	}
	return f
}

// sequential lays right answers out evenly among answers.
func sequential(answers, right int) SequentialPath {
	f := SequentialPath{Head: invented("Enough answers to tell", "Sequential triangle test"), Slope: 0.4935, Upper: 4.41, Lower: -3.38}
	x := 0
	for i := range answers {
		ok := (i+1)*right/answers > i*right/answers
		f.Right = append(f.Right, ok)
		if ok {
			x++
		}
		c := f.Slope * float64(i+1)
		switch {
		case f.At > 0:
		case float64(x) >= f.Upper+c:
			f.At, f.Decision = i+1, "a difference"
		case float64(x) <= f.Lower+c:
			f.At, f.Decision = i+1, "no difference of that size"
		}
	}
	return f
}
