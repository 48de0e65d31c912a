package cli

import (
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"trivet/fault"
	"trivet/logfile"
	"trivet/quantity"
	"trivet/safety"
	"trivet/trace"
)

type lethalityOptions struct {
	time, coldest, food, form string
	fat                       float64
	d                         string
	dref, z, base, u          float64
	criteria                  bool
}

func newLethality(env *Env) *cobra.Command {
	var o lethalityOptions
	c := &cobra.Command{
		Use:   "lethality LOG.csv --coldest COL",
		Short: "What a logged core met of published time–temperature criteria",
		Long: `Integrates the log10 reduction of a logged core by D and z, and says which
published time–temperature criteria the core met or did not meet. A criterion
is met by its printed table alone, on the coldest temperature less its
uncertainty. D and z have no default: name the food, or give them.

It never judges whether food is fit to eat: the figure is for one organism at
one point, and your local food code and the licensed person in charge decide.`,
		Example: `  trivet lethality core.csv --time seconds --coldest core --food beef --criteria
  trivet lethality core.csv --coldest core --food chicken --fat 5 --u 0.8 --criteria
  trivet lethality core.csv --coldest core --d 106.2s --dref 60 --z 5.56 --json`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error { return runLethality(env, args[0], o) },
	}
	f := c.Flags()
	f.StringVar(&o.time, "time", "", "the time column (default: guessed)")
	f.StringVar(&o.coldest, "coldest", "", "column of the coldest point (required)")
	f.StringVar(&o.food, "food", "", "beef, pork, lamb, chicken or turkey: takes D and z fitted to the published table")
	f.StringVar(&o.form, "form", "intact", "intact, ground, tenderised, injected or stuffed")
	f.Float64Var(&o.fat, "fat", 0, "fat of poultry, % (unknown takes the 12 % column)")
	f.StringVar(&o.d, "d", "", "decimal reduction time, such as 106.2s")
	f.Float64Var(&o.dref, "dref", 60, "temperature of --d, °C")
	f.Float64Var(&o.z, "z", 0, "z value, K")
	f.Float64Var(&o.base, "base", 54.4, "count nothing below this temperature, °C")
	f.Float64Var(&o.u, "u", 0, "expanded uncertainty of the coldest temperature, K; it is subtracted")
	f.BoolVar(&o.criteria, "criteria", false, "list the published criteria and what the core met of them")
	return c
}

type lethalityResult struct {
	Format   int          `json:"format"`
	Log10    float64      `json:"log10"`
	Low      float64      `json:"log10_low"`  // the temperature lowered by its uncertainty
	High     float64      `json:"log10_high"` // raised by it
	ColdestC float64      `json:"coldest_c"`
	PeakC    float64      `json:"peak_c"`
	D        float64      `json:"d_s"`
	DRefC    float64      `json:"d_ref_c"`
	Z        float64      `json:"z_k"`
	Source   string       `json:"source"`
	BaseC    float64      `json:"base_c"`
	Criteria []safety.Met `json:"criteria"`
	Says     []string     `json:"says"`
	Notes    []fault.Note `json:"notes"`
}

func runLethality(env *Env, path string, o lethalityOptions) error {
	if o.coldest == "" {
		return fault.BadUsage("flag-missing", "--coldest is needed").WithFix("name the column of the coldest point")
	}
	if o.u < 0 || math.IsNaN(o.u) {
		return fault.BadUsage("u", "an uncertainty cannot be negative").On("--u", fmt.Sprint(o.u))
	}
	food := safety.Food{Animal: o.food, FatPct: o.fat, Form: o.form}
	k, err := o.kinetics(food)
	if err != nil {
		return err
	}
	log, notes, err := readColdest(path, o)
	if err != nil {
		return err
	}
	r := lethalityResult{Format: 1, D: k.DS, DRefC: k.RefC, Z: k.ZK, Source: k.Source, BaseC: o.base,
		ColdestC: slices.Min(log.TempC), PeakC: log.Peak(), Criteria: []safety.Met{}, Notes: notes,
		Log10: k.Log10(log, o.base, 0), Low: k.Log10(log, o.base, -o.u), High: k.Log10(log, o.base, o.u)}
	if o.criteria {
		if o.food == "" {
			return fault.BadUsage("flag-missing", "--criteria needs --food").WithFix("name the food: beef, pork, lamb, chicken or turkey")
		}
		cs, err := safety.Criteria(food)
		if err != nil {
			return err
		}
		for _, c := range cs {
			r.Criteria = append(r.Criteria, log.Against(c, o.u, true))
		}
	}
	r.Says = o.says(log, r)
	if env.JSON {
		return env.PrintJSON(r)
	}
	printLethality(env, r)
	return nil
}

// kinetics takes D and z as given, or those fitted to the food's table.
func (o lethalityOptions) kinetics(food safety.Food) (safety.Kinetics, error) {
	switch {
	case o.d != "" && o.z > 0:
		d, err := quantity.ParseDuration(o.d)
		if err != nil {
			return safety.Kinetics{}, err
		}
		k := safety.Kinetics{DS: d.S(), RefC: o.dref, ZK: o.z, Source: "given by the user"}
		return k, k.Check()
	case o.d != "" || o.z != 0:
		return safety.Kinetics{}, fault.BadUsage("kinetics", "--d and --z go together").WithFix("such as --d 106.2s --dref 60 --z 5.56")
	case o.food != "":
		return safety.FittedKinetics(food)
	}
	return safety.Kinetics{}, fault.BadUsage("kinetics", "D and z have no default").WithFix("name the food with --food, or give --d, --dref and --z")
}

// readColdest reads the column of the coldest point as °C over seconds.
func readColdest(path string, o lethalityOptions) (safety.Log, []fault.Note, error) {
	f, err := os.Open(path)
	if err != nil {
		return safety.Log{}, nil, fault.BadUsage("log-missing", "there is no such log").In(path)
	}
	defer f.Close()
	log, err := logfile.Load(f, logfile.LoadOptions{})
	if err != nil {
		if x := fault.As(err); x != nil {
			return safety.Log{}, nil, x.In(path)
		}
		return safety.Log{}, nil, err
	}
	if o.time != "" && log.Map.Time.Column != o.time {
		if log, err = timedBy(f, log.Map, o.time); err != nil {
			return safety.Log{}, nil, fault.As(err).In(path).On("--time", o.time)
		}
	}
	var names []string
	for i, c := range log.Map.Channels {
		names = append(names, c.Column)
		if c.Column != o.coldest && c.ID != o.coldest {
			continue
		}
		tr := log.Traces[i]
		if !tr.Channel.IsTemperature() {
			return safety.Log{}, nil, fault.BadUsage("not-temperature", "this column is not a temperature").In(path).On("--coldest", o.coldest)
		}
		out := safety.Log{}
		out.TimeS, out.TempC = tr.Points(firstTime(tr))
		notes := slices.Clone(log.Account.Notes)
		if n := len(log.Account.Problems); n > 0 {
			notes = append(notes, fault.Notef("log-problems", "%d cells or rows of the log were not as they should be; they earn nothing", n))
		}
		if tr.Channel.Unit == trace.DegF {
			notes = append(notes, fault.Notef("converted", "the column is in °F and was converted"))
		}
		return out, notes, out.Check()
	}
	return safety.Log{}, nil, fault.BadUsage("column-unknown", "the log has no temperature column %q", o.coldest).In(path).On("--coldest", o.coldest).
		WithFix("it has %s", strings.Join(names, ", "))
}

// timedBy reads a log again with its times in another column than was
// guessed: numbers count as its name says (seconds where it says nothing),
// anything else by the form that reads it.
func timedBy(f io.ReadSeeker, guessed *logfile.Map, column string) (*logfile.Log, error) {
	m := *guessed
	forms := []logfile.TimeForm{logfile.Seconds, logfile.ElapsedHMS, logfile.ElapsedMS, logfile.Clock, logfile.RFC3339, logfile.LocalYMD}
	switch name := strings.ToLower(column); {
	case strings.Contains(name, "hour"):
		forms[0] = logfile.Hours
	case strings.Contains(name, "min"):
		forms[0] = logfile.Minutes
	case strings.HasSuffix(name, "ms") || strings.Contains(name, "milli"):
		forms[0] = logfile.Milliseconds
	}
	m.Channels = slices.DeleteFunc(slices.Clone(m.Channels), func(c logfile.MapChannel) bool { return c.Column == column })
	for _, form := range forms {
		if _, err := f.Seek(0, io.SeekStart); err != nil {
			return nil, err
		}
		m.Time = logfile.MapTime{Column: column, Form: form, Offset: m.Time.Offset}
		log, err := logfile.Load(f, logfile.LoadOptions{Map: &m})
		if err == nil && len(log.Traces) > 0 && log.Traces[0].Len() > 1 {
			return log, nil
		}
	}
	return nil, fault.BadUsage("time-column", "no times can be read from the column %q; those of this log stand in %q", column, guessed.Time.Column).
		WithFix("leave --time out, or name the column of times")
}

func firstTime(tr *trace.Trace) int64 {
	if tr.Len() == 0 {
		return 0
	}
	return tr.TimesUS[0]
}

// says words the result; the first sentence states, the others bound it.
func (o lethalityOptions) says(l safety.Log, r lethalityResult) []string {
	within := ""
	if o.u > 0 {
		within = fmt.Sprintf(" (%.2f to %.2f with the temperature %.2g K lower or higher)", r.Low, r.High, o.u)
	}
	out := []string{fmt.Sprintf("log10 reduction %.2f%s, counted from %.1f °C with D = %.4g s at %.4g °C and z = %.3g K: %s.",
		r.Log10, within, r.BaseC, r.D, r.DRefC, r.Z, r.Source)}
	if n, s := l.Gaps(); n > 0 {
		out = append(out, fmt.Sprintf("The record has %d gaps of %s in all; a gap earns nothing.", n, quantity.Seconds(math.Round(s)).String()))
	}
	if r.PeakC < 57.2 && o.food != "" {
		out = append(out, "Later research did not reproduce the printed times at 130 to 135 °F for all organisms (Meat and Muscle Biology, 2018).")
	}
	if o.u == 0 && o.criteria {
		out = append(out, "No uncertainty was given (--u): the criteria are held against the temperature as it was logged, as if the sensor were exact.")
	}
	organism := "Salmonella"
	if o.food == "" || o.d != "" {
		organism = "the organism that D and z belong to,"
	}
	return append(out,
		"Time–temperature part only; other conditions of a criterion are not logged. It rests on where the probe sat: a probe off the coldest point reads too warm.",
		"The figure is for "+organism+" at one point. It says nothing of spores, toxins, parasites or handling afterwards.",
		"Your local food code and the licensed operator or food-safety professional in charge decide.")
}

func printLethality(env *Env, r lethalityResult) {
	env.Printf("Coldest point: peak %s\n", env.temperature(r.PeakC))
	for _, s := range r.Says {
		env.Printf("%s", wrapped("", s, 78))
	}
	for i, c := range r.Criteria {
		if i == 0 {
			env.Printf("\nPublished criteria:\n")
		}
		env.Printf("  %s: %s\n", c.State, c.Name)
		env.Printf("    %s; nearest at %s: %s needed, %s logged\n", c.Edition, env.temperature(c.AtC), holdText(c.NeededS, "any moment"), holdText(c.LoggedS, "none"))
		if c.Note != "" {
			env.Printf("    %s\n", c.Note)
		}
	}
	env.PrintNotes(r.Notes)
}

func holdText(s float64, zero string) string {
	if s == 0 {
		return zero
	}
	return quantity.Seconds(math.Round(s)).String()
}
