package cli

import (
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
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
	dref, base                celsiusFlag
	z, u                      kelvinFlag
	criteria                  bool
}

// celsiusFlag is a temperature on the command line: a bare number is °C.
type celsiusFlag float64

func (f *celsiusFlag) String() string { return strconv.FormatFloat(float64(*f), 'g', -1, 64) }
func (f *celsiusFlag) Type() string   { return "temperature" }
func (f *celsiusFlag) Set(s string) error {
	if c, err := strconv.ParseFloat(s, 64); err == nil {
		*f = celsiusFlag(c)
		return nil
	}
	t, err := quantity.ParseTemperature(s)
	*f = celsiusFlag(t.C())
	return err
}

// kelvinFlag is a difference of temperatures: a bare number is K.
type kelvinFlag float64

func (f *kelvinFlag) String() string { return strconv.FormatFloat(float64(*f), 'g', -1, 64) }
func (f *kelvinFlag) Type() string   { return "difference" }
func (f *kelvinFlag) Set(s string) error {
	if k, err := strconv.ParseFloat(s, 64); err == nil {
		*f = kelvinFlag(k)
		return nil
	}
	if s != "" && s[0] >= '0' && s[0] <= '9' {
		s = "+" + s // here it can only be a difference
	}
	d, err := quantity.ParseDifference(s)
	*f = kelvinFlag(d.K())
	return err
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
	o.dref, o.base = 60, 54.4
	f.Var(&o.dref, "dref", "temperature of --d, °C unless its unit is given")
	f.Var(&o.z, "z", "z value, K unless its unit is given")
	f.Var(&o.base, "base", "count nothing below this temperature, °C unless its unit is given")
	f.Var(&o.u, "u", "expanded uncertainty of the coldest temperature, K unless its unit is given; it is subtracted")
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
	u, base := float64(o.u), float64(o.base)
	if u < 0 || math.IsNaN(u) || u > 20 {
		return fault.BadUsage("u", "an uncertainty lies between 0 and 20 K").On("--u", o.u.String())
	}
	if math.IsNaN(base) || base < 0 || base > 150 {
		return fault.BadUsage("base", "the base is a temperature of cooking").On("--base", o.base.String()).WithFix("such as --base 54.4, or --base '130 °F'")
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
	r := lethalityResult{Format: 1, D: k.DS, DRefC: k.RefC, Z: k.ZK, Source: k.Source, BaseC: base,
		ColdestC: slices.Min(log.TempC), PeakC: log.Peak(), Criteria: []safety.Met{}, Notes: append([]fault.Note{}, notes...),
		Log10: k.Log10(log, base, 0), Low: k.Log10(log, base, -u), High: k.Log10(log, base, u)}
	if o.criteria {
		if o.food == "" {
			return fault.BadUsage("flag-missing", "--criteria needs --food").WithFix("name the food: beef, pork, lamb, chicken or turkey")
		}
		cs, err := safety.Criteria(food)
		if err != nil {
			return err
		}
		for _, c := range cs {
			r.Criteria = append(r.Criteria, log.Against(c, u, true))
		}
	}
	r.Says = o.says(env, log, r)
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
			return safety.Kinetics{}, fault.BadUsage("kinetics", "this is no time").On("--d", o.d).WithFix("write it with its unit, such as --d 106.2s")
		}
		k := safety.Kinetics{DS: d.S(), RefC: float64(o.dref), ZK: float64(o.z), Source: "given by you"}
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

// Where the published tables end.
const (
	mostTabulated = 7  // log10
	mostFatPct    = 12 // of poultry
)

// zValue prints a z value; its third digit matters.
func (e *Env) zValue(k float64) string {
	if e.Fahrenheit() {
		return fmt.Sprintf("%.3g °F", 1.8*k)
	}
	return fmt.Sprintf("%.3g K", k)
}

// says words the result; the first sentence states, the others bound it.
func (o lethalityOptions) says(env *Env, l safety.Log, r lethalityResult) []string {
	within := ""
	if o.u > 0 {
		within = fmt.Sprintf(" (%.2f to %.2f with the temperature %s lower or higher)", r.Low, r.High, env.difference(float64(o.u)))
	}
	out := []string{fmt.Sprintf("log10 reduction %.2f%s, counted from %s with D = %.4g s at %s and z = %s: %s.",
		r.Log10, within, env.temperature(r.BaseC), r.D, env.temperature(r.DRefC), env.zValue(r.Z), r.Source)}
	if r.Log10 > mostTabulated {
		out = append(out, "The published tables end at 7 log10: what is beyond that is reckoned on, not published.")
	}
	if o.criteria {
		out = append(out, "A published table is met by one of its rows, held without a break; the log10 figure adds up the whole log and meets none.")
	}
	switch poultry := o.food == "chicken" || o.food == "turkey"; {
	case o.food == "" || o.d != "":
	case poultry && o.fat > mostFatPct:
		out = append(out, fmt.Sprintf("The tables for %s end at %d %% fat: at %.3g %% the times for %d %% are taken, which may be too short.", o.food, mostFatPct, o.fat, mostFatPct))
	case !poultry && o.fat > 0:
		out = append(out, fmt.Sprintf("The table for %s does not ask for the fat: --fat changes nothing.", o.food))
	case poultry && o.fat == 0:
		out = append(out, fmt.Sprintf("No fat was given (--fat): the times for %d %% are taken, the longest of the tables for %s.", mostFatPct, o.food))
	}
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
