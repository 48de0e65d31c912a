package cli

import (
	"context"
	"fmt"
	"text/tabwriter"

	"trivet/bench"
	"trivet/fault"
	"trivet/measure"
	"trivet/safety"
	"trivet/study"
)

// qualityReport prints what is doubtful in each cook.
func qualityReport(ctx context.Context, env *Env, src bench.Reader, rec *bench.Record) error {
	progress, done := env.progress("looking at cooks")
	all, err := bench.Quality(ctx, src, rec, progress)
	done()
	if err != nil {
		return err
	}
	peaks, err := bench.Measure(ctx, src, rec, nil, "core_peak")
	if err != nil {
		return err
	}
	cautions := []safety.Caution{}
	for _, c := range safety.Cautions(bench.SafetyFacts(rec, peaks)) {
		if c.ShownAt(safety.OnQuality) {
			cautions = append(cautions, c)
		}
	}
	if env.JSON {
		for i := range all {
			if all[i].Findings == nil {
				all[i].Findings = []measure.Finding{}
			}
		}
		return env.PrintJSON(map[string]any{"format": 1, "study": rec.Study.ID, "cooks": all, "cautions": cautions})
	}
	words := map[measure.Severity]string{measure.QualityBreach: "outside", measure.QualityDoubt: "doubt", measure.QualityNote: "note"}
	clean := 0
	for _, c := range all {
		if len(c.Findings) == 0 {
			clean++
			continue
		}
		env.Printf("%s  (%s, block %s)\n", c.Label, c.Cook.Treatment, c.Cook.Block)
		for _, f := range c.Findings {
			env.Printf("  %-8s %s\n", words[f.Severity], f.Text)
		}
	}
	switch {
	case len(all) == 0:
		env.Printf("The study has no cooks yet.\n")
	case clean == len(all):
		env.Printf("Nothing doubtful in %d cooks.\n", clean)
	case clean > 0:
		env.Printf("Nothing doubtful in the other %d of %d cooks.\n", clean, len(all))
	}
	for i, c := range cautions {
		if i == 0 {
			env.Printf("\nCautions\n")
		}
		env.Printf("%s", wrapped("  ", c.Title+". "+c.Text, 78))
	}
	return nil
}

// offeredMark is a mark as it is shown.
type offeredMark struct {
	Kind study.MarkKind `json:"kind"`
	AtS  float64        `json:"at_s"`
	Note string         `json:"why"`
}

// offeredMarks shows the marks that the traces offer, and takes them when
// asked.
func offeredMarks(ctx context.Context, env *Env, src bench.Reader, rec *bench.Record, accept bool) error {
	progress, done := env.progress("reading marks")
	all, err := bench.OfferMarks(ctx, src, rec, progress)
	done()
	if err != nil {
		return err
	}
	var nb bench.Notebook
	if accept {
		w, ok := src.(bench.Notebook)
		if !ok || !bench.Writable(src) {
			return fault.BadUsage("read-only", "marks can only be taken into a notebook").WithFix("import the package first")
		}
		nb = w
	}
	out, err := offersOf(ctx, env, nb, rec.Study.ID, all)
	if err != nil {
		return err
	}
	if env.JSON {
		return env.PrintJSON(map[string]any{"format": 1, "study": rec.Study.ID, "cooks": out})
	}
	printOffers(env, out)
	if !accept && len(out) > 0 {
		env.Printf("\nThese are offers, read from the traces; what was entered stands. Take them with --accept-marks.\n")
	}
	return nil
}

// offeredCook is what the traces of a cook offer.
type offeredCook struct {
	Label   string        `json:"cook"`
	Offered []offeredMark `json:"offered"`
	Taken   bool          `json:"taken"`
}

// offersOf gathers what is offered, and takes it into nb unless that is nil.
func offersOf(ctx context.Context, env *Env, nb bench.Notebook, studyID string, all []bench.CookMarks) ([]offeredCook, error) {
	out := []offeredCook{}
	for _, c := range all {
		row := offeredCook{Label: c.Input.Cook.Label, Offered: []offeredMark{}}
		for _, m := range c.Marks {
			row.Offered = append(row.Offered, offeredMark{m.Kind, float64(m.AtUS) / 1e6, m.Note})
		}
		if nb != nil && len(c.Marks) > 0 {
			if err := takeMarks(ctx, env, nb, studyID, c); err != nil {
				return nil, err
			}
			row.Taken = true
		}
		out = append(out, row)
	}
	return out, nil
}

func printOffers(env *Env, out []offeredCook) {
	for _, c := range out {
		if len(c.Offered) == 0 {
			env.Printf("%s: nothing to offer beside what was marked\n", c.Label)
			continue
		}
		verb := "offered"
		if c.Taken {
			verb = "taken"
		}
		env.Printf("%s: %s %s\n", c.Label, counted(len(c.Offered), "mark"), verb)
		printOffered(env, c.Offered)
	}
}

func printOffered(env *Env, marks []offeredMark) {
	t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
	for _, m := range marks {
		fmt.Fprintf(t, "  %s\t%s\t%s\n", minutes(m.AtS), m.Kind, m.Note)
	}
	t.Flush()
}

// minutes writes seconds as m:ss.
func minutes(s float64) string {
	sign := ""
	if s < 0 {
		sign, s = "−", -s
	}
	return fmt.Sprintf("%s%d:%02d", sign, int(s)/60, int(s)%60)
}

// takeMarks writes a cook's offered marks into the notebook.
func takeMarks(ctx context.Context, env *Env, nb bench.Notebook, studyID string, c bench.CookMarks) error {
	now := env.Now()
	n := 0
	_, err := bench.AcceptMarks(ctx, nb, studyID, c, func(m study.Mark) string {
		n++
		return bench.NewID(now, fmt.Sprintf("%s mark %d %s %d", c.Input.Cook.ID, n, m.Kind, m.AtUS))
	}, study.Event{At: now, Study: studyID, Kind: study.EventChanged,
		What: fmt.Sprintf("%d detected marks were taken into cook %s", len(c.Marks), c.Input.Cook.Label)})
	return err
}
