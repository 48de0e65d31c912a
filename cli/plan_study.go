package cli

import (
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"trivet/answer"
	"trivet/bench"
	"trivet/bundle"
	"trivet/design"
	"trivet/fault"
	"trivet/figure"
	"trivet/publish"
	"trivet/safety"
	"trivet/study"
)

// studyPlan is the plan of a study, as JSON.
type studyPlan struct {
	Format    int                    `json:"format"`
	Study     string                 `json:"study"`
	Mode      string                 `json:"mode"`
	Family    int                    `json:"family"`
	Questions []*answer.QuestionPlan `json:"questions"`
	Design    *dealtJSON             `json:"design"`
	Cautions  []safety.Caution       `json:"cautions"`
	Written   []string               `json:"written"`
	Notes     []fault.Note           `json:"notes"`
}

type dealtJSON struct {
	Kind       design.Kind     `json:"kind"`
	Seed       string          `json:"seed"`
	Version    int             `json:"version"`
	Efficiency float64         `json:"efficiency,omitempty"`
	ErrorDF    float64         `json:"error_df,omitempty"`
	Says       []string        `json:"says"`
	RunOrder   []study.RunSlot `json:"run_order"`
}

// runStudyPlan sizes a study's questions, deals its pieces and prints its
// sheets.
func runStudyPlan(ctx context.Context, env *Env, arg string, o planOptions) error {
	src, err := env.openStudy(ctx, arg)
	if err != nil {
		return err
	}
	defer src.Close()
	rec, err := src.record(ctx)
	if err != nil {
		return err
	}
	s := rec.Study
	if o.blocks > 0 {
		copied := *s
		copied.Blocks.Count = o.blocks
		s = &copied
	}
	out := studyPlan{Format: 1, Study: s.ID, Mode: s.Risk.Mode, Family: answer.Family(s), Questions: []*answer.QuestionPlan{}, Written: []string{}, Notes: []fault.Note{}}
	if err := planSizes(ctx, env, src, rec, s, o, &out); err != nil {
		return err
	}
	facts := bench.SafetyFacts(rec, nil)
	for _, c := range safety.Cautions(facts) {
		if c.ShownAt(safety.OnPlan) {
			out.Cautions = append(out.Cautions, c)
		}
	}
	deal, fresh, err := dealOf(env, s, o)
	if err != nil {
		if o.write || o.sheets != "" {
			return err
		}
		out.Notes = append(out.Notes, fault.Notef("not-dealt", "%s", err.Error()))
	}
	if deal != nil {
		out.Design = &dealtJSON{Kind: deal.Kind, Seed: deal.Seed, Version: deal.Version, Efficiency: deal.Efficiency, ErrorDF: deal.ErrorDF, Says: deal.Says}
		for _, x := range deal.Slots {
			out.Design.RunOrder = append(out.Design.RunOrder, study.RunSlot{Order: x.Order, Block: x.Block, Piece: x.Piece, Treatment: x.Treatment, Burner: x.Burner, Code: x.Code})
		}
	}
	if o.write {
		where, err := writeDeal(ctx, env, src, rec, s, arg, deal, fresh)
		if err != nil {
			return err
		}
		out.Written = append(out.Written, where)
	} else if fresh && deal != nil {
		out.Notes = append(out.Notes, fault.Notef("not-written", "the run order below was drawn from the seed %s and is kept only with --write", deal.Seed))
	}
	if o.sheets != "" {
		if fresh && !o.write {
			return fault.BadUsage("sheets-unwritten", "run sheets of a run order that is not kept would be lost with it").WithFix("add --write, so that the document holds the same order")
		}
		if err := writeSheets(env, rec, s, deal, o); err != nil {
			return err
		}
		out.Written = append(out.Written, o.sheets)
	}
	if o.figure != "" {
		if err := writePlanFigure(out.Questions, s, o); err != nil {
			return err
		}
		out.Written = append(out.Written, o.figure)
	}
	if env.JSON {
		return env.PrintJSON(out)
	}
	printStudyPlan(env, s, out)
	return nil
}

func planSizes(ctx context.Context, env *Env, src *source, rec *bench.Record, s *study.Study, o planOptions, out *studyPlan) error {
	var numeric []study.Question
	for _, q := range s.Questions {
		if q.Tasting != nil {
			out.Notes = append(out.Notes, fault.Notef("tasting-apart", "question %s is a tasting: \"trivet taste size\" says how many assessors it needs", q.ID))
			continue
		}
		switch k := kindOf(s, q.Response); k {
		case study.YesNo:
			qp, err := answer.PlanShares(s, &q, o.baseline)
			if err != nil {
				return err
			}
			if s.Risk.Interim() {
				qp.Notes = append(qp.Notes, fault.Notef("read-at-end", "a yes-no response is read once, when the planned blocks are in"))
			}
			out.Questions = append(out.Questions, qp)
			continue
		case study.Grade, study.Count:
			out.Notes = append(out.Notes, fault.Notef("kind-approximate", "question %s is answered by a %s: it is judged by sign flips or a count model and sized here by the SD of a block's difference, which is near enough from 8 blocks on", q.ID, k))
		}
		numeric = append(numeric, q)
	}
	only := *rec
	copied := *s
	copied.Questions = numeric
	only.Study = &copied
	spreads, err := o.spread.spreads(ctx, env, src, &only)
	if err != nil {
		if o.onlySheets() {
			out.Notes = append(out.Notes, fault.Notef("not-sized", "%s", err.Error()))
			return nil
		}
		return err
	}
	for i := range numeric {
		qp, err := answer.PlanQuestion(s, &numeric[i], spreads[numeric[i].ID])
		if err != nil {
			return err
		}
		out.Questions = append(out.Questions, qp)
	}
	return nil
}

func kindOf(s *study.Study, response string) study.ReadingKind {
	for _, d := range s.Readings {
		if d.ID == response {
			return d.Kind
		}
	}
	return study.Number
}

// onlySheets reports that the papers are wanted, whatever can be sized.
func (o planOptions) onlySheets() bool { return o.write || o.sheets != "" }

// dealOf is the plan the document holds, or a fresh draw.
func dealOf(env *Env, s *study.Study, o planOptions) (p *design.Plan, fresh bool, err error) {
	if o.seed == "" && o.kind == "" && o.blocks == 0 {
		if p, ok := bench.Dealt(s, o.probes); ok {
			return p, false, nil
		}
	}
	seed := o.seed
	if seed == "" {
		seed = s.Design.Seed
	}
	if seed == "" {
		b := make([]byte, 8)
		if _, err := io.ReadFull(env.Random, b); err != nil {
			return nil, false, fault.New("random", "this machine gives no random numbers").Wrap(err)
		}
		seed = hex.EncodeToString(b)
	}
	p, err = bench.Deal(s, bench.DealOptions{Kind: design.Kind(o.kind), Seed: seed, Burners: o.burners, Probes: o.probes, NoThreeAlike: o.noThree, Nearly: o.nearly})
	return p, err == nil, err
}

// writeDeal puts the run order into the document, in its folder or in the
// notebook.
func writeDeal(ctx context.Context, env *Env, src *source, rec *bench.Record, s *study.Study, arg string, deal *design.Plan, fresh bool) (string, error) {
	if rec.Seal != nil {
		return "", fault.New("sealed-already", "the plan is sealed; its run order is not drawn again").WithFix("the sealed order stands: leave out --write")
	}
	if !fresh {
		return "", fault.New("order-drawn", "the document holds a run order already").WithFix("draw another with --seed, or leave out --write")
	}
	for _, c := range rec.Cooks {
		if c.Role != study.Pilot {
			return "", fault.New("order-late", "cook %s is recorded already, so the order cannot be drawn now", c.Label).WithFix("draw the order before the first planned cook")
		}
	}
	text, err := bench.WriteDeal("study.yaml", rec.Document, s, deal)
	if err != nil {
		return "", err
	}
	if s.Blocks.Count != rec.Study.Blocks.Count {
		d, err := study.ReadDocument("study.yaml", text)
		if err != nil {
			return "", err
		}
		if err := d.Set("blocks.count", s.Blocks.Count); err != nil {
			return "", err
		}
		text = d.Bytes()
	}
	next, err := study.Parse("study.yaml", text)
	if err != nil {
		return "", err
	}
	if nb, ok := src.reader.(bench.Notebook); ok && src.name == src.id {
		now := env.Now()
		return "the notebook", nb.PutStudy(ctx, next, text, rec.CookFiles, study.Event{At: now, Study: s.ID, Kind: study.EventChanged,
			What: fmt.Sprintf("the run order was drawn from the seed %s", deal.Seed)})
	}
	dir := src.name
	if bundle.IsPackage(dir) {
		return "", fault.BadUsage("package-fixed", "a data package is a record and is not changed").In(dir).WithFix("import it, then plan the study of the notebook")
	}
	path := filepath.Join(dir, "study.yaml")
	if ext := strings.ToLower(filepath.Ext(arg)); ext == ".yaml" || ext == ".yml" {
		path = arg
	}
	return path, writeNew(path, text, true)
}

func writeSheets(env *Env, rec *bench.Record, s *study.Study, deal *design.Plan, o planOptions) error {
	sh := publish.SheetsOf(rec, s, deal, env.Fahrenheit())
	return writeFileWhole(o.sheets, func(w io.Writer) error {
		if strings.EqualFold(filepath.Ext(o.sheets), ".pdf") {
			return sh.WritePDF(w, publish.Paper(o.paper))
		}
		return sh.WriteHTML(w)
	})
}

// writeFileWhole writes a file whole or not at all.
func writeFileWhole(path string, write func(io.Writer) error) error {
	var b strings.Builder
	if err := write(&b); err != nil {
		return err
	}
	return writeNew(path, []byte(b.String()), true)
}

// writePlanFigure draws the power curve of the first question, or of the one
// named.
func writePlanFigure(plans []*answer.QuestionPlan, s *study.Study, o planOptions) error {
	if len(plans) == 0 {
		return fault.New("nothing-sized", "there is no question whose power could be drawn").WithFix("give --sd")
	}
	plans = slices.DeleteFunc(slices.Clone(plans), func(p *answer.QuestionPlan) bool { return !(p.Spread.SD > 0) })
	if len(plans) == 0 {
		return fault.New("nothing-sized", "there is no question on a number whose power could be drawn").WithFix("the table above holds what there is")
	}
	qp := plans[0]
	for _, p := range plans {
		if p.Question == o.question {
			qp = p
		}
	}
	return drawPower(o.figure, qp.Ask+" Chance by number of blocks", powerOf(qp), s.Invented)
}

// powerOf turns a question's curve into a figure's.
func powerOf(qp *answer.QuestionPlan) figure.Power {
	f := figure.Power{Target: 0.8}
	f.Measure = figure.Measure{Name: "blocks"}
	curves := []figure.Curve{{Label: "shows a difference, if it is δ"}, {Label: "no difference that matters, if δ/4"}, {Label: "matters, if 1.5 δ"}}
	most := 60
	for _, n := range qp.Needs {
		if n.Blocks > 40 {
			most = min(200, n.Blocks*3/2)
		}
	}
	for _, p := range qp.Curve(most) {
		f.X = append(f.X, float64(p.Blocks))
		for i, v := range []float64{p.Difference, p.Inside, p.Beyond15} {
			curves[i].Chance = append(curves[i].Chance, math.Min(1, math.Max(0, v)))
		}
	}
	f.Curves = curves
	return f
}

func drawPower(path, title string, f figure.Power, invented bool) error {
	f.Head.Title = title
	f.Head.Invented = invented
	sc, err := f.Scene(figure.Page, figure.Light)
	if err != nil {
		return err
	}
	return writeFileWhole(path, func(w io.Writer) error {
		switch strings.ToLower(filepath.Ext(path)) {
		case ".svg":
			return sc.WriteSVG(w, figure.SVGOptions{})
		case ".png":
			return sc.WritePNG(w, figure.PNGOptions{})
		case ".pdf":
			return sc.WritePDF(w)
		}
		return fault.BadUsage("figure-kind", "this kind of picture is not known").On("--figure", path).WithFix("name it .svg, .png or .pdf")
	})
}

func printStudyPlan(env *Env, s *study.Study, p studyPlan) {
	env.Printf("%s\n", s.Title)
	if s.Invented {
		env.Printf("(invented data)\n")
	}
	mode := s.Risk.Mode
	if mode == "" {
		mode = "fixed"
	}
	env.Printf("Plan: %s, %s", plural(s.Blocks.Count, "block", "blocks"), map[string]string{"fixed": "answered once, at the end",
		"sequential": "may be looked at any time", "group-sequential": fmt.Sprintf("looked at after %v blocks", s.Risk.Looks)}[mode])
	if p.Family > 1 {
		env.Printf("; %d questions share the error rate, so each is sized at α/%d", p.Family, p.Family)
	}
	env.Printf(".\n")
	for _, q := range p.Questions {
		printQuestionPlan(env, s, q)
	}
	if p.Design != nil {
		env.Printf("\nDesign: %s, seed %s\n", p.Design.Kind, p.Design.Seed)
		for _, line := range p.Design.Says {
			env.Printf("%s", wrapped("  ", line, 78))
		}
		t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
		fmt.Fprintf(t, "  no.\tblock\tpiece\ttreatment\tburner\tcode\n")
		for _, r := range p.Design.RunOrder {
			fmt.Fprintf(t, "  %d\t%s\t%s\t%s\t%s\t%s\n", r.Order, r.Block, r.Piece, r.Treatment, r.Burner, r.Code)
		}
		t.Flush()
	}
	if len(p.Cautions) > 0 {
		env.Printf("\nTake care\n")
		for _, c := range p.Cautions {
			env.Printf("%s", wrapped("  ", c.Title+": "+c.Text, 78))
		}
	}
	for _, w := range p.Written {
		env.Printf("Wrote %s.\n", w)
	}
	env.PrintNotes(p.Notes)
}

func printQuestionPlan(env *Env, s *study.Study, q *answer.QuestionPlan) {
	env.Printf("\n%s\n", q.Ask)
	w := answer.Words{Study: s, Fahrenheit: env.Fahrenheit()}
	if q.Spread.SD > 0 {
		env.Printf("  margin δ = %s; scatter of a block's difference: %s (%s); level %.3g\n", q.Margin, w.Spread(q), q.Spread.Source, q.Level)
	} else {
		env.Printf("  margin δ = %s; %s; level %.3g\n", q.Margin, q.Spread.Source, q.Level)
	}
	if len(q.Effects) > 0 {
		t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
		head := "  if truly\tmatters\topposite\ttoo small\tno difference\tunsettled"
		if q.Effects[0].Codes.None > 0 {
			head += "\tnumbers only"
		}
		if q.Effects[0].Blocks > 0 {
			head += "\tblocks expected"
		}
		fmt.Fprintln(t, head)
		for _, e := range q.Effects {
			c := e.Codes
			fmt.Fprintf(t, "  %s\t%s\t%s\t%s\t%s\t%s", e.Label, percentChance(c.Matters), percentChance(c.Opposite), percentChance(c.TooSmall), percentChance(c.NoDifference), percentChance(c.Unsettled))
			if q.Effects[0].Codes.None > 0 {
				fmt.Fprintf(t, "\t%s", percentChance(c.None))
			}
			if e.Blocks > 0 {
				fmt.Fprintf(t, "\t%.1f", e.Blocks)
			}
			fmt.Fprintln(t)
		}
		t.Flush()
	}
	for _, n := range q.Needs {
		if n.Blocks > 0 {
			env.Printf("%s", wrapped("  ", fmt.Sprintf("%s show %s (power %.2f).", plural(n.Blocks, "block", "blocks"), n.Aim, n.Power), 78))
		}
	}
	for _, line := range q.Says {
		env.Printf("%s", wrapped("  ", line, 78))
	}
	for _, n := range q.Notes {
		env.Printf("%s", wrapped("  ", "· "+n.Text, 78))
	}
}

// cannotSettle lists the questions that the planned blocks are unlikely to
// answer whatever is true, as far as the scatter is known from pilot cooks or
// published figures.
func (e *Env) cannotSettle(ctx context.Context, src *source, rec *bench.Record) []string {
	var out []string
	for i := range rec.Study.Questions {
		q := rec.Study.Questions[i]
		if q.Tasting != nil || kindOf(rec.Study, q.Response) != study.Number {
			continue
		}
		only, copied := *rec, *rec.Study
		copied.Questions = []study.Question{q}
		only.Study = &copied
		spreads, err := spreadOptions{}.spreads(ctx, e, src, &only)
		if err != nil {
			e.Tell("question %s: its scatter is not known, so whether %d blocks can answer it was not looked at; \"trivet plan\" takes --sd", q.ID, rec.Study.Blocks.Count)
			continue
		}
		qp, err := answer.PlanQuestion(rec.Study, &q, spreads[q.ID])
		if err != nil {
			continue // the document's own check says what is missing
		}
		if qp.Settles < answer.DoubtfulChance {
			out = append(out, fmt.Sprintf("question %s: %d blocks cannot be expected to answer it: whatever is true, the chance of an answer is at most %.0f %% (scatter: %s); see \"trivet plan %s\"",
				q.ID, qp.Blocks, 100*qp.Settles, qp.Spread.Source, rec.Study.ID))
		}
	}
	return out
}
