package cli

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"trivet/fault"
	"trivet/figure"
	"trivet/tasting"
)

type tasteScoreOptions struct {
	goalFlags
	n, correct int
	table      string
	assessors  int
	pairs      int
	sequential bool
	hasCounts  bool
	hits       string
	falseAlarm string
	figure     scoreFigure
}

func newTasteScore(env *Env) *cobra.Command {
	var o tasteScoreOptions
	c := &cobra.Command{
		Use:   "score [FOLDER] | score --method METHOD (--n N --correct X | --table FILE)",
		Short: "Score a tasting and say what it may claim",
		Long: `Scores a closed tasting by the rule fixed when it was dealt, a count of right
answers, or a table of judgements.

Columns of a table:
  choice methods   assessor, correct (yes or no)              [sureness]
  a-not-a          assessor, product (A or not A), answer     [sureness]
  same-different   assessor, pair (same or different), answer [sureness]
  ranking          assessor, product, rank
  hedonic, rated   assessor, product, value [attribute, position, round]
  just-about-right assessor, product, attribute, value: "liking" beside the rest
  check-all        assessor, product, word, checked (1 or 0)
  comments         assessor, product, comment

Limits are one-sided at 1 − alpha each, so the lower limit of pd lies above 0
exactly when p is below alpha.`,
		Example: `  trivet taste score --method triangle --n 24 --correct 13
  trivet taste score --method triangle --n 36 --correct 12 --for similarity --pd 0.30
  trivet taste score --method ranking --table ranks.csv --figure ranks.svg
  trivet taste score tasting`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := o.figure.check(); err != nil {
				return err
			}
			if len(args) == 1 {
				return scoreFolder(env, args[0], &o.figure)
			}
			if err := o.check(cmd); err != nil {
				return err
			}
			n, x := cmd.Flags().Changed("n"), cmd.Flags().Changed("correct")
			o.hasCounts = n && x
			switch {
			case o.hits != "" || o.falseAlarm != "":
				return scoreRates(env, o)
			case o.table == "" && !o.hasCounts:
				return fault.BadUsage("flag-missing", "there is nothing to score").WithFix("give --n and --correct, or --table FILE, or the folder of a closed tasting")
			case o.table != "" && (n || x):
				return fault.BadUsage("flag", "counts and a table are both given").On("--table", o.table).WithFix("give one of them")
			}
			return runTasteScore(env, o)
		},
	}
	o.register(c)
	f := c.Flags()
	f.IntVar(&o.n, "n", 0, "number of answers")
	f.IntVar(&o.correct, "correct", 0, "number of right answers")
	f.StringVar(&o.table, "table", "", "table of judgements, CSV, - for standard input")
	f.StringVar(&o.hits, "hits", "", "a-not-a, same-different: not-A or different answered where right, such as 30/40")
	f.StringVar(&o.falseAlarm, "false-alarms", "", "and where wrong, such as 12/40")
	f.IntVar(&o.assessors, "assessors", 0, "different people behind the n answers, if fewer")
	f.IntVar(&o.pairs, "pieces", 0, "pairs of pieces the samples came from")
	f.BoolVar(&o.sequential, "sequential", false, "a sequential test: answers in the order given; needs --pd or --dprime")
	f.StringVar(&o.figure.path, "figure", "", "draw the result into this file (.svg, .png or .pdf); several attributes go into one file each")
	f.StringVar(&o.figure.size, "size", "", "size of the figure: page, phone, 1080p or 4k (default 1080p for PNG, page otherwise)")
	return c
}

func runTasteScore(env *Env, o tasteScoreOptions) error {
	m, err := tasting.Lookup(o.method)
	if err != nil {
		return err
	}
	if o.hasCounts {
		fc, err := tasting.LookupChoice(o.method)
		if err != nil {
			return err
		}
		c := &tasting.Choices{Count: tasting.Count{N: o.n, Correct: o.correct, Assessors: o.assessors, PiecePairs: o.pairs}}
		if o.sequential {
			return scoreSequential(env, fc, o, c)
		}
		r, err := tasting.Score(fc, c.Count, o.rule())
		if err != nil {
			return err
		}
		return o.figure.drawScored(env, &tasting.Scored{Choice: r})
	}
	t, err := readTableFile(env, o.table)
	if err != nil {
		return err
	}
	rec := tasting.Records{Name: t.Name, Columns: t.Columns, Rows: t.Rows, Lines: t.Lines}
	var out tasting.Scored
	switch m := m.(type) {
	case tasting.ForcedChoice:
		c, err := rec.ChoiceTable()
		if err != nil {
			return err
		}
		c.PiecePairs = o.pairs
		if o.sequential {
			return scoreSequential(env, m, o, c)
		}
		if out.Choice, err = tasting.ScoreChoices(m, c, o.rule()); err != nil {
			return err
		}
	case tasting.ResponseMethod:
		a, err := rec.ResponseTable(m)
		if err != nil {
			return err
		}
		if out.Response, err = tasting.ScoreResponses(m, a, o.alpha.value); err != nil {
			return err
		}
	case tasting.TableMethod:
		rows, err := rec.RowTable(m)
		if err != nil {
			return err
		}
		if out.Report, err = m.ScoreRows(rows, o.alpha.value); err != nil {
			if f := fault.As(err); f != nil {
				return f.In(t.Name)
			}
			return err
		}
	}
	return o.figure.drawScored(env, &out)
}

// scoreRates scores the two pooled rates of a method with two answers.
func scoreRates(env *Env, o tasteScoreOptions) error {
	m, err := tasting.Lookup(o.method)
	if err != nil {
		return err
	}
	rm, ok := m.(tasting.ResponseMethod)
	if !ok {
		return fault.BadUsage("method-not-response", "%s has no two rates", m.Describe().Title).On("--hits", o.hits).WithFix("give --n and --correct, or --table FILE")
	}
	var t tasting.TwoByTwo
	if t.Hits, t.Signals, err = countOf("--hits", o.hits); err != nil {
		return err
	}
	if t.FalseAlarms, t.Noises, err = countOf("--false-alarms", o.falseAlarm); err != nil {
		return err
	}
	r, err := tasting.ScoreTwoByTwo(rm, t, o.alpha.value)
	if err != nil {
		return err
	}
	return o.figure.drawScored(env, &tasting.Scored{Response: r})
}

// countOf reads "30/40".
func countOf(flag, text string) (count, of int, err error) {
	a, b, ok := strings.Cut(text, "/")
	count, e1 := strconv.Atoi(strings.TrimSpace(a))
	of, e2 := strconv.Atoi(strings.TrimSpace(b))
	if !ok || e1 != nil || e2 != nil {
		return 0, 0, fault.BadUsage("flag", "this is not a count of a total").On(flag, text).WithFix("write it as 30/40; both --hits and --false-alarms are needed")
	}
	return count, of, nil
}

// scoreSequential follows the answers to the first line crossed. With counts
// alone only the last state can be told.
func scoreSequential(env *Env, m tasting.ForcedChoice, o tasteScoreOptions, c *tasting.Choices) error {
	goal := o.goal()
	if goal.Beta == 0 {
		goal.Beta = goal.Alpha
	}
	q, err := tasting.NewSequential(m, goal)
	if err != nil {
		return err
	}
	if c.Correct > c.N || c.N < 1 || c.Correct < 0 {
		return fault.New("count-range", "%d right of %d", c.Correct, c.N).On("--correct", strconv.Itoa(c.Correct)).WithFix("count right answers from 0 to the number answered")
	}
	step, n, x := q.After(c.N, c.Correct), c.N, c.Correct
	var notes []fault.Note
	if c.Right != nil {
		step, n = q.Follow(c.Right)
		x = 0
		for _, ok := range c.Right[:n] {
			if ok {
				x++
			}
		}
		if n < len(c.Right) {
			notes = append(notes, fault.Notef("after-the-line", "%d answers given after the line was crossed do not count", len(c.Right)-n))
		}
	} else {
		notes = append(notes, fault.Notef("order-unknown", "from counts alone an earlier crossing cannot be seen: give the answers in order with --table"))
	}
	if err := o.figure.draw(env, []figure.Tasted{{Figure: figure.OfSequential(m.Describe().Name, q, c, figure.Head{})}}); err != nil {
		return err
	}
	lower, upper := q.Bounds(n)
	says := q.Says(step, n, x)
	if env.JSON {
		return env.PrintJSON(map[string]any{"method": m.Describe().Name, "n": n, "correct": x, "step": step,
			"lower": lower, "upper": upper, "lines": q, "risks": q.Risks(0), "says": says, "notes": notes})
	}
	env.printSays(says)
	env.PrintNotes(notes)
	return nil
}

func scoreFolder(env *Env, dir string, fig *scoreFigure) error {
	d, err := readTasting(dir)
	if err != nil {
		return err
	}
	s, err := d.Score()
	if err != nil {
		return err
	}
	return fig.drawScored(env, s)
}

func printScored(env *Env, s *tasting.Scored) error {
	switch {
	case s.Choice != nil:
		if env.JSON {
			return env.PrintJSON(s.Choice)
		}
		printChoice(env, s.Choice)
	case s.Response != nil:
		if env.JSON {
			return env.PrintJSON(s.Response)
		}
		r := s.Response
		env.printSays(r.Says)
		env.Printf("\n")
		env.printRows([][]string{
			{"d′", fmt.Sprintf("%.3f", r.DPrime), limitText(r.DPrimeLow, "−∞") + " to " + limitText(r.DPrimeHigh, "∞")},
			{"criterion", fmt.Sprintf("%.3f", r.Criterion), ""},
		})
		if c := r.Curve; c != nil {
			env.Printf("Area under the sureness curve %.4f (standard error %.4f)", c.Area, c.AreaSE)
			if c.DA != nil {
				env.Printf(", d_a %.3f", *c.DA)
			}
			env.Printf("\n")
		}
		env.PrintNotes(r.Notes)
	case s.Report != nil:
		if env.JSON {
			return env.PrintJSON(s.Report)
		}
		env.printRows(s.Report.Table())
		env.Printf("\n")
		env.printSays(s.Report.Sentences())
		env.PrintNotes(s.Report.Remarks())
	}
	return nil
}

func printChoice(env *Env, r *tasting.Result) {
	env.Printf("%s\n", map[tasting.Verdict]string{
		tasting.Different: "Different", tasting.NotShownDifferent: "Not shown to be different",
		tasting.Similar: "Similar within the bound", tasting.NotShownSimilar: "Not shown to be similar",
	}[r.Verdict])
	env.printSays(r.Says)
	critical := "none"
	if r.Critical != nil {
		critical = strconv.Itoa(*r.Critical)
	}
	env.Printf("\n")
	rows := [][]string{
		{"right", fmt.Sprintf("%d of %d", r.Correct, r.N), "critical " + critical},
		{"p", strconv.FormatFloat(r.PValue, 'g', 4, 64), "exact"},
		{"pd", fmt.Sprintf("%.3f", r.PD), fmt.Sprintf("%.3f to %.3f", r.PDLow, r.PDHigh)},
		{"d′", limitText(r.DPrime, "∞"), limitText(r.DPrimeLow, "∞") + " to " + limitText(r.DPrimeHigh, "∞")},
	}
	if r.Power != nil {
		rows = append(rows, []string{"power", fmt.Sprintf("%.3f", *r.Power), "for what was planned"})
	}
	env.printRows(rows)
	env.Printf("Limits are one-sided at %g each.\n", r.LimitLevel)
	for _, s := range r.Sureness {
		word := strconv.Itoa(s.Sureness)
		if w := tasting.SurenessWords(); s.Sureness <= len(w) {
			word = w[s.Sureness-1]
		}
		env.Printf("%d of %d right when %q.\n", s.Correct, s.N, word)
	}
	if o := r.Overdispersion; o != nil && o.Gamma != nil {
		env.Printf("Assessors differ by gamma = %.3f (p = %.3g): the %d answers are worth %.0f independent ones.\n", *o.Gamma, *o.PValue, o.N, o.Effective)
		if o.MuLow != nil {
			env.Printf("Allowing for that, pd = %.3f, 95 %% interval %.3f to %.3f.\n", o.Mu, *o.MuLow, *o.MuHigh)
		}
	}
	if o := r.Overdispersion; o != nil {
		env.PrintNotes(o.Notes)
	}
	env.PrintNotes(r.Notes)
}

// limitText prints a limit, or a word where it is infinite.
func limitText(v *float64, infinite string) string {
	if v == nil {
		return infinite
	}
	return fmt.Sprintf("%.3f", *v)
}
