package cli

import (
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"trivet/fault"
	"trivet/tasting"
)

type tasteBallotsOptions struct {
	role           string
	assessor       string
	hold           float64
	atOnce         int
	pdf            string
	paper          string
	force          bool
	passphraseFile string
}

func newTasteBallots(env *Env) *cobra.Command {
	var o tasteBallotsOptions
	c := &cobra.Command{
		Use:   "ballots FOLDER --for ROLE",
		Short: "Sheets for the preparer, the server and the assessors",
		Long: `Prints what one role at a tasting may see.

  preparer  which portion of which piece goes into which cup; needs the lead's
            passphrase. Who holds this sheet neither serves nor tastes.
  server    trays, positions and codes, and when each tray goes out
  assessor  the ballots, all or one assessor's
  reader    the lock and how many ballots are in
  answers   an empty table to type the ballots into (CSV)`,
		Example: `  trivet taste ballots tasting --for server --hold 12
  trivet taste ballots tasting --for assessor --assessor P03
  trivet taste ballots tasting --pdf ballots.pdf --paper letter
  trivet taste ballots tasting --for answers > answers.csv`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error { return runTasteBallots(env, args[0], o) },
	}
	f := c.Flags()
	f.StringVar(&o.role, "for", "assessor", "preparer, server, assessor, reader or answers")
	f.StringVar(&o.assessor, "assessor", "", "one assessor's ballots only")
	f.Float64Var(&o.hold, "hold", 0, "minutes a portion may wait from the knife to the mouth")
	f.IntVar(&o.atOnce, "at-once", 1, "assessors seated together")
	f.StringVar(&o.pdf, "pdf", "", "write the assessors' ballots to this PDF file, one a page")
	f.StringVar(&o.paper, "paper", "a4", "a4 or letter, with --pdf")
	f.BoolVar(&o.force, "force", false, "replace the PDF file if it is there")
	f.StringVar(&o.passphraseFile, "passphrase-file", "", "file whose first line is the lead's passphrase")
	return c
}

func runTasteBallots(env *Env, dir string, o tasteBallotsOptions) error {
	d, err := readTasting(dir)
	if err != nil {
		return err
	}
	if o.pdf != "" {
		return writeBallotsPDF(env, d, o)
	}
	switch o.role {
	case string(tasting.Preparer):
		key, _, err := openSealedKey(env, dir, o.passphraseFile)
		if err != nil {
			return err
		}
		return printPreparer(env, key.ForPreparer())
	case string(tasting.Server):
		return printServer(env, d.Session.Server(), tasting.Pace{HoldMinutes: o.hold, AtOnce: o.atOnce})
	case string(tasting.Taster):
		return printBallots(env, d, o.assessor)
	case string(tasting.Reader):
		v := d.Session.Reader()
		if env.JSON {
			return env.PrintJSON(v)
		}
		env.Printf("%s, %d of %d ballots in, closed: %t\nLocked: %s\n", v.Method, v.Received, v.Planned, v.Closed, v.Commitment)
		return nil
	case "answers":
		return printAnswerTable(env, d)
	}
	return fault.BadUsage("role-unknown", "no such sheet").On("--for", o.role).WithFix("preparer, server, assessor, reader or answers")
}

func printPreparer(env *Env, s tasting.PreparerSheet) error {
	if env.JSON {
		return env.PrintJSON(s)
	}
	env.Printf("CARVE AND PLATE. Whoever holds this sheet neither serves nor tastes.\n")
	for _, w := range s.Waves {
		if w.Wave > 0 {
			env.Printf("\nWave %d\n", w.Wave)
		}
		for _, p := range w.Pieces {
			env.Printf("\n%s\n", p.Piece)
			rows := [][]string{{"portion", "tray", "cup"}}
			for _, c := range p.Portions {
				portion := strconv.Itoa(c.Portion)
				if c.Portion == 0 {
					portion = "any"
				}
				rows = append(rows, []string{portion, strconv.Itoa(c.Tray), c.Cup})
			}
			env.printRows(rows)
		}
	}
	return nil
}

func printServer(env *Env, s tasting.ServerSheet, pace tasting.Pace) error {
	tt, err := tasting.Schedule(s, pace)
	if err != nil {
		return err
	}
	if env.JSON {
		return env.PrintJSON(map[string]any{"tasting": s.Tasting, "trays": s.Trays, "timetable": tt})
	}
	env.Printf("TRAYS, codes from left to right. Minutes count from the first cut.\n\n")
	out := map[int]tasting.TrayTime{}
	for _, w := range tt.Waves {
		for _, t := range w.Trays {
			out[t.Tray] = t
		}
	}
	rows := [][]string{{"tray", "out at", "wave", "assessor", "cups", ""}}
	for _, t := range s.Trays {
		cups := strings.Join(t.Codes, "  ")
		if t.Reference {
			cups = "reference  " + cups
		}
		late := ""
		if out[t.Tray].TooLate {
			late = "past the holding limit"
		}
		wave := strconv.Itoa(t.Wave)
		if t.Wave == 0 {
			wave = ""
		}
		rows = append(rows, []string{strconv.Itoa(t.Tray), strconv.FormatFloat(out[t.Tray].OutAt, 'f', 0, 64), wave, t.Assessor, cups, late})
	}
	env.printRows(rows)
	env.PrintNotes(tt.Notes)
	return nil
}

func printBallots(env *Env, d *tasting.Document, only string) error {
	var forms []tasting.BallotForm
	for _, a := range d.Setup.Assessors {
		if only != "" && a.ID != only {
			continue
		}
		f, err := d.Session.ForAssessor(a.ID, d.Attributes)
		if err != nil {
			return err
		}
		forms = append(forms, f...)
	}
	if len(forms) == 0 {
		return fault.BadUsage("assessor-unknown", "no such assessor at this tasting").On("--assessor", only).WithFix("use the pseudonym on the tray sheet")
	}
	if env.JSON {
		return env.PrintJSON(forms)
	}
	for i, f := range forms {
		if i > 0 {
			env.Printf("\f\n")
		}
		env.Printf("Assessor %s, set %d\n\n", f.Assessor, f.Round)
		for _, h := range f.How {
			env.Printf("%s", wrapped("  ", h, 78))
		}
		env.Printf("\n%s\n", wrapped("", f.Ask, 78))
		if f.Reference {
			env.Printf("  reference\n")
		}
		for _, c := range f.Codes {
			line := "  " + c + "  ☐"
			switch {
			case len(f.Answers) > 0:
				line = "  " + c + "  ☐ " + strings.Join(f.Answers, "  ☐ ")
			case len(f.Attributes) > 0:
				line = "  " + c + "  " + strings.Join(f.Attributes, " ____  ") + " ____"
			case f.Choose == 0:
				line = "  " + c + "  ____"
			}
			env.Printf("%s\n", line)
		}
		env.Printf("\nHow sure?  ☐ %s\nComment: ______________________________\n", strings.Join(f.Sureness, "  ☐ "))
	}
	return nil
}

// printAnswerTable writes the table that close reads, with the answers left
// open.
func printAnswerTable(env *Env, d *tasting.Document) error {
	m, err := tasting.Lookup(d.Session.Method)
	if err != nil {
		return err
	}
	if env.JSON {
		return fault.BadUsage("flag", "the table of answers is CSV").On("--json", "").WithFix("leave --json out")
	}
	kind := m.Describe().Kind
	switch kind {
	case tasting.KindChoice, tasting.KindResponse:
		col := map[tasting.Kind]string{tasting.KindChoice: "choice", tasting.KindResponse: "answer"}[kind]
		env.csvLine("tray", "assessor", col, "sureness", "comment")
		for _, t := range d.Session.Trays {
			env.csvLine(strconv.Itoa(t.Tray), t.Assessor, "", "", "")
		}
	case tasting.KindRank, tasting.KindWords:
		col := map[tasting.Kind]string{tasting.KindRank: "rank", tasting.KindWords: "comment"}[kind]
		env.csvLine("tray", "assessor", "code", col)
		for _, t := range d.Session.Trays {
			for _, c := range t.Codes {
				env.csvLine(strconv.Itoa(t.Tray), t.Assessor, c, "")
			}
		}
	default:
		col := "value"
		if kind == tasting.KindChecks {
			col = "checked"
		}
		attributes := d.Attributes
		if len(attributes) == 0 {
			attributes = []string{""}
		}
		env.csvLine("tray", "assessor", "code", "attribute", col)
		for _, t := range d.Session.Trays {
			for _, c := range t.Codes {
				for _, a := range attributes {
					env.csvLine(strconv.Itoa(t.Tray), t.Assessor, c, a, "")
				}
			}
		}
	}
	return nil
}
