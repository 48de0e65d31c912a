package cli

import (
	"bufio"
	"context"
	"fmt"
	"math"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"trivet/bench"
	"trivet/fault"
	"trivet/measure"
	"trivet/study"
	"trivet/trace"
)

type clockOptions struct {
	align, to, by, set, undo, who string
	pairs                         []string
	yes                           bool
}

func newClock(env *Env) *cobra.Command {
	var o clockOptions
	c := &cobra.Command{
		Use:   "clock STUDY COOK",
		Short: "Bring the logs and marks of a cook to one clock",
		Long: `Lists the clocks of a cook (each log that was loaded, and the marks that were
entered) with the correction that stands for each, its residual and expanded
uncertainty (k = 2), and what is doubtful.

--align LOG --to LOG finds the offset and, where it can be told, the drift of
one clock against another: by a signal that both recorded, by the turns that
both felt, by marks, or by moments you read on both (--pair). --set gives the
difference by hand. The correction is shown; at a terminal you are asked, and
--yes applies it. Logs keep their samples: a correction stands beside them, is
applied whenever they are read, and --undo takes it back. Both are entered in
the history.`,
		Example: `  trivet clock sear-first-or-sear-last L01-a
  trivet clock s L01-a --align scale.csv --to pan.csv
  trivet clock s L01-a --align pan.csv --to marks --yes
  trivet clock s L01-a --align camera.csv --to pan.csv --pair 3:21=4:02.5 --pair 14:08=14:49.6
  trivet clock s L01-a --align scale.csv --set "+2.4 s ± 0.3 s" --yes
  trivet clock s L01-a --undo scale.csv`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runClock(cmd.Context(), env, args[0], args[1], o)
		},
	}
	f := c.Flags()
	f.StringVar(&o.align, "align", "", `the clock to correct: a log by its file name, or "marks"`)
	f.StringVar(&o.to, "to", "", `the clock to bring it onto: another log, or "marks"`)
	f.StringVar(&o.by, "by", "", "how: signal, turns or marks (default: the one that tells best)")
	f.StringArrayVar(&o.pairs, "pair", nil, "one moment on both clocks, as after the start of each log (marks: from heat on), such as 3:21=4:02.5; repeat it")
	f.StringVar(&o.set, "set", "", `what to add to the clock, by hand, such as "+2.4 s" or "-1:00 ± 0.3 s"`)
	f.StringVar(&o.undo, "undo", "", "take back the correction that stands for this clock")
	f.StringVar(&o.who, "who", "", "your name or initials, kept with the correction")
	f.BoolVar(&o.yes, "yes", false, "apply without asking")
	return c
}

// check refuses flags that do not go together.
func (o clockOptions) check() error {
	ways := 0
	for _, given := range []bool{o.by != "", len(o.pairs) > 0, o.set != ""} {
		if given {
			ways++
		}
	}
	switch {
	case o.undo != "" && (o.align != "" || o.to != "" || ways > 0):
		return fault.BadUsage("clock-flags", "--undo stands alone").WithFix("undo first, then align")
	case o.align == "" && (o.to != "" || ways > 0):
		return fault.BadUsage("flag-missing", "--align is needed: which clock is to be corrected?")
	case ways > 1:
		return fault.BadUsage("clock-flags", "--by, --pair and --set are three ways to one correction").WithFix("give one of them")
	case o.align != "" && o.to == "" && o.set == "":
		return fault.BadUsage("flag-missing", "--to is needed: onto which clock?").WithFix(`name another log or "marks", or give the difference with --set`)
	}
	return nil
}

func runClock(ctx context.Context, env *Env, arg, label string, o clockOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	src, err := env.openStudy(ctx, arg)
	if err != nil {
		return err
	}
	defer src.Close()
	rec, err := src.record(ctx)
	if err != nil {
		return err
	}
	cook, err := findCook(rec, label)
	if err != nil {
		return err
	}
	in, err := bench.CookInput(ctx, src.reader, rec, *cook)
	if err != nil {
		return err
	}
	clocks := bench.Clocks(in, rec.Study)
	switch {
	case o.undo != "":
		return undoClock(ctx, env, src.reader, rec, in, clocks, o)
	case o.align != "":
		return alignClock(ctx, env, src.reader, rec, in, clocks, o)
	}
	return listClocks(env, rec, in.Cook, clocks)
}

// writable is the notebook behind a reader, to write corrections into.
func writable(r bench.Reader) (bench.Notebook, error) {
	nb, ok := r.(bench.Notebook)
	if !ok || !bench.Writable(r) {
		return nil, fault.BadUsage("read-only", "clocks can only be corrected in a notebook").WithFix("import the package first")
	}
	return nb, nil
}

func undoClock(ctx context.Context, env *Env, r bench.Reader, rec *bench.Record, in measure.Input, clocks []bench.Clock, o clockOptions) error {
	nb, err := writable(r)
	if err != nil {
		return err
	}
	c, err := bench.FindClock(clocks, o.undo)
	if err != nil {
		return err
	}
	next, f, err := bench.UndoClock(ctx, nb, rec.Study.ID, in.Cook, c.ID, o.who, env.Now())
	if err != nil {
		return err
	}
	in.Cook = next
	if env.JSON {
		return env.PrintJSON(map[string]any{"format": 1, "study": rec.Study.ID, "cook": next.Label, "undone": fixJSON(next, f)})
	}
	env.Printf("undone for %s: %s (%s); it stays in the history\n", c.Name, measure.FixWords(f), f.Method)
	if again, ok := next.Standing(c.ID); ok {
		env.Printf("the one before stands again: %s (%s)\n", measure.FixWords(again), again.Method)
	}
	return nil
}

func alignClock(ctx context.Context, env *Env, r bench.Reader, rec *bench.Record, in measure.Input, clocks []bench.Clock, o clockOptions) error {
	device, err := bench.FindClock(clocks, o.align)
	if err != nil {
		return err
	}
	var onto bench.Clock
	if o.to != "" {
		if onto, err = bench.FindClock(clocks, o.to); err != nil {
			return err
		}
	}
	var fix study.ClockFix
	switch {
	case o.set != "":
		if onto.ID != "" && onto.Elapsed != device.Elapsed {
			return fault.BadUsage("clock-set", "%s counts from its start and %s by the clock, or the other way: no difference of seconds joins them", device.Name, onto.Name).
				On("--set", o.set).WithFix("give one moment on both with --pair")
		}
		fix, err = measure.FixByHand(o.set, device.ID, onto.ID, device.FromUS, device.Elapsed)
		if f := fault.As(err); f != nil {
			bad := *f.On("--set", o.set)
			bad.Kind = fault.Usage
			err = &bad
		}
	case len(o.pairs) > 0:
		fix, err = alignByPairs(o.pairs, device, onto, in.Cook.ZeroUS)
	default:
		fix, err = measure.AlignClock(in, device.ID, onto.ID, o.by)
	}
	if err != nil {
		return err
	}
	if _, err := in.Cook.AddClockFix(fix); err != nil {
		return err
	}
	applied := o.yes
	if !o.yes && env.Interactive && !env.JSON {
		var b strings.Builder
		printFix(&b, in.Cook, device, fix)
		fmt.Fprintf(env.Stderr, "%sapply it? [y/N] ", b.String())
		line, _ := bufio.NewReader(env.Stdin).ReadString('\n')
		applied = strings.HasPrefix(strings.ToLower(strings.TrimSpace(line)), "y")
	}
	if applied {
		nb, err := writable(r)
		if err != nil {
			return err
		}
		if in.Cook, err = bench.SetClock(ctx, nb, rec.Study.ID, in.Cook, fix, o.who, env.Now()); err != nil {
			return err
		}
		fix, _ = in.Cook.Standing(fix.Clock)
	}
	if env.JSON {
		return env.PrintJSON(map[string]any{"format": 1, "study": rec.Study.ID, "cook": in.Cook.Label, "correction": fixJSON(in.Cook, fix), "applied": applied})
	}
	printFix(env, in.Cook, device, fix)
	if applied {
		env.Printf("applied: all that is read of %s is corrected from now on; --undo %s takes it back\n", device.Name, clockArg(device))
	} else {
		env.Printf("not applied; --yes applies it\n")
	}
	return nil
}

func clockArg(c bench.Clock) string {
	if c.ID == study.MarksClock {
		return study.MarksClock
	}
	if strings.ContainsAny(c.Name, " \t'\"") {
		return fmt.Sprintf("%q", c.Name)
	}
	return c.Name
}

// alignByPairs aligns by moments that a person read on both clocks, each after
// the start of its log; marks count from heat on.
func alignByPairs(pairs []string, device, onto bench.Clock, zeroUS int64) (study.ClockFix, error) {
	start := func(c bench.Clock) int64 {
		if c.ID == study.MarksClock {
			return zeroUS
		}
		return c.FromUS
	}
	var points []trace.SyncPoint
	for _, p := range pairs {
		a, b, ok := strings.Cut(p, "=")
		if !ok {
			return study.ClockFix{}, fault.BadUsage("clock-pair", "a pair is a moment on both clocks").On("--pair", p).
				WithFix("write it as 3:21=4:02.5, min:s after the start of each log")
		}
		x, err := measure.SignedSeconds(a)
		if err == nil {
			var y float64
			if y, err = measure.SignedSeconds(b); err == nil {
				points = append(points, trace.SyncPoint{DeviceUS: start(device) + int64(math.Round(x*1e6)), CommonUS: start(onto) + int64(math.Round(y*1e6))})
				continue
			}
		}
		if f := fault.As(err); f != nil {
			err = f.On("--pair", p)
		}
		return study.ClockFix{}, err
	}
	f, err := trace.AlignByMarks(points)
	if err != nil {
		return study.ClockFix{}, err
	}
	return measure.FixOf(f, device.ID, onto.ID, onto.Elapsed), nil
}

// printFix shows a correction and how well it is known.
func printFix(w interface{ Write([]byte) (int, error) }, cook study.Cook, c bench.Clock, f study.ClockFix) {
	onto := measure.ClockName(cook, f.To)
	fmt.Fprintf(w, "%s onto %s: %s\n", c.Name, onto, measure.FixWords(f))
	if f.Points == 1 {
		fmt.Fprintf(w, "  by %s: one comparison, so nothing tells a residual\n", f.Method)
	} else if f.Points > 1 {
		fmt.Fprintf(w, "  by %s: %d points, residual %s s, the farthest %s s off\n", f.Method, f.Points, tidy(f.RMSUS/1e6), tidy(float64(f.WorstUS)/1e6))
	} else {
		fmt.Fprintf(w, "  set by hand\n")
	}
	fmt.Fprintf(w, "  known to ±%s s where it is known best, ±%s s at the end of the record (k = 2)\n",
		tidy(2*f.UUS(f.MidUS)/1e6), tidy(2*max(f.UUS(c.FromUS), f.UUS(c.ToUS))/1e6))
	if bench.Agrees(f, c.FromUS, c.ToUS) {
		fmt.Fprintf(w, "  the clocks agree within that\n")
	}
	if f.Note != "" {
		fmt.Fprintf(w, "  · %s\n", f.Note)
	}
}

// tidy writes seconds of an uncertainty.
func tidy(s float64) string {
	switch {
	case s < 0.0995:
		return fmt.Sprintf("%.3f", s)
	case s < 0.995:
		return fmt.Sprintf("%.2f", s)
	case s < 9.95:
		return fmt.Sprintf("%.1f", s)
	}
	return fmt.Sprintf("%.0f", s)
}

func listClocks(env *Env, rec *bench.Record, cook study.Cook, clocks []bench.Clock) error {
	if env.JSON {
		rows := []clockJSON{}
		for _, c := range clocks {
			row := clockJSON{Clock: c.ID, Name: c.Name, Channels: c.Channels, Marks: c.Marks, FromUS: c.FromUS, ToUS: c.ToUS, Elapsed: c.Elapsed, Doubts: c.Doubts}
			if c.Fix != nil {
				f := fixJSON(cook, *c.Fix)
				f.WorstU = c.WorstUUS / 1e6
				row.Correction = &f
			}
			for _, f := range c.Before {
				row.Before = append(row.Before, fixJSON(cook, f))
			}
			rows = append(rows, row)
		}
		return env.PrintJSON(map[string]any{"format": 1, "study": rec.Study.ID, "cook": cook.Label, "clocks": rows})
	}
	if len(clocks) == 0 {
		env.Printf("%s has no log and no marks yet.\n", cook.Label)
		return nil
	}
	t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "clock\tholds\tbegins\tlasts\tcorrection\tonto\tby\tresidual\tknown to (k = 2)\n")
	for _, c := range clocks {
		holds := strings.Join(c.Channels, ", ")
		if c.ID == study.MarksClock {
			holds = counted(c.Marks, "mark")
		}
		begins := time.UnixMicro(c.FromUS).UTC().Format("2006-01-02 15:04:05Z")
		if c.ID == study.MarksClock {
			begins = minutes(float64(c.FromUS-cook.ZeroUS)/1e6) + " from heat on"
		} else if c.Elapsed {
			begins = "0 at its start"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t", c.Name, holds, begins, minutes(float64(c.ToUS-c.FromUS)/1e6))
		if f := c.Fix; f != nil {
			residual := "–"
			if f.Points > 1 {
				residual = tidy(f.RMSUS/1e6) + " s"
			}
			known := tidy(2*c.LeastUUS/1e6) + " s"
			if worst := tidy(2*c.WorstUUS/1e6) + " s"; worst != known {
				known += " to " + worst
			}
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", measure.FixWords(*f), c.ToName, f.Method, residual, known)
		} else {
			fmt.Fprintf(t, "none\t\t\t\t\n")
		}
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, c := range clocks {
		if c.Fix != nil && c.Fix.Note != "" {
			env.Printf("· %s: %s\n", c.Name, c.Fix.Note)
		}
		for _, d := range c.Doubts {
			env.Printf("doubt: %s\n", d)
		}
		if n := len(c.Before); n > 0 {
			env.Printf("· %s: %s kept in the record, undone or replaced\n", c.Name, counted(n, "earlier correction"))
		}
	}
	return nil
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

type clockJSON struct {
	Clock      string    `json:"clock"`
	Name       string    `json:"name"`
	Channels   []string  `json:"channels,omitempty"`
	Marks      int       `json:"marks,omitempty"`
	FromUS     int64     `json:"from_us"`
	ToUS       int64     `json:"to_us"`
	Elapsed    bool      `json:"elapsed"`
	Correction *fixBody  `json:"correction,omitempty"`
	Before     []fixBody `json:"before,omitempty"`
	Doubts     []string  `json:"doubts,omitempty"`
}

// fixBody is a correction as it is printed. A time t of the clock becomes t +
// offset_us + (t − anchor_us)·rate; uncertainties are standard ones.
type fixBody struct {
	ID       string     `json:"id,omitempty"`
	Clock    string     `json:"clock"`
	To       string     `json:"to,omitempty"`
	ToName   string     `json:"to_name,omitempty"`
	Method   string     `json:"method"`
	OffsetS  float64    `json:"offset_s"` // in the middle of the points
	OffsetUS int64      `json:"offset_us"`
	AnchorUS int64      `json:"anchor_us"`
	Rate     float64    `json:"rate"`
	Elapsed  bool       `json:"elapsed"`
	Points   int        `json:"points"`
	RMSS     float64    `json:"residual_s"`
	WorstS   float64    `json:"worst_s"`
	U        float64    `json:"u_s"`
	WorstU   float64    `json:"worst_u_s,omitempty"` // within the record
	RateU    float64    `json:"rate_u"`
	Note     string     `json:"note,omitempty"`
	By       string     `json:"by,omitempty"`
	At       *time.Time `json:"at,omitempty"`
	UndoneBy string     `json:"undone_by,omitempty"`
	UndoneAt *time.Time `json:"undone_at,omitempty"`
}

func fixJSON(cook study.Cook, f study.ClockFix) fixBody {
	a := trace.Alignment{AnchorUS: f.AnchorUS, OffsetUS: f.OffsetUS, Rate: f.Rate}
	out := fixBody{ID: f.ID, Clock: f.Clock, To: f.To, Method: f.Method, OffsetS: float64(a.Apply(f.MidUS)-f.MidUS) / 1e6,
		OffsetUS: f.OffsetUS, AnchorUS: f.AnchorUS, Rate: f.Rate, Elapsed: f.Elapsed, Points: f.Points, RMSS: f.RMSUS / 1e6, WorstS: float64(f.WorstUS) / 1e6,
		U: f.UUS(f.MidUS) / 1e6, RateU: f.RateU, Note: f.Note, By: f.By, UndoneBy: f.UndoneBy}
	if f.To != "" {
		out.ToName = measure.ClockName(cook, f.To)
	}
	if !f.At.IsZero() {
		out.At = &f.At
	}
	if !f.UndoneAt.IsZero() {
		out.UndoneAt = &f.UndoneAt
	}
	return out
}
