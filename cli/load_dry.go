package cli

import (
	"cmp"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"trivet/fault"
	"trivet/logfile"
	"trivet/trace"
)

// dryLog is what would be loaded of a log.
type dryLog struct {
	File     string           `json:"file"`
	Map      string           `json:"map,omitempty"` // the saved map that fits
	Channels []dryChannel     `json:"channels"`
	Account  *logfile.Account `json:"account"`
}

// dryChannel is a channel over the whole log.
type dryChannel struct {
	Column  string                      `json:"column"`
	ID      string                      `json:"id"`
	Place   string                      `json:"place"`
	Unit    string                      `json:"unit"`
	PeriodS float64                     `json:"period_s,omitempty"` // median step in the first rows
	Samples int                         `json:"samples"`
	Missing int                         `json:"missing"`
	Bad     map[logfile.ProblemKind]int `json:"bad,omitempty"` // cells of the column that are not as they should be
}

// dryRun reads logs to their end, shows what was understood and what would be
// missing, and loads nothing.
func (o loadOptions) dryRun(env *Env, files []string) error {
	given, err := o.columnMap()
	if err != nil {
		return err
	}
	kept, err := o.savedMaps(env)
	if err != nil {
		return err
	}
	var guesses []*logfile.Guess
	var all []dryLog
	var wrong fault.List
	for i, name := range files {
		g, log, err := o.readDry(env, name, given, kept.all)
		if x := fault.As(err); x != nil { // the others may have something wrong too
			wrong = append(wrong, x.In(name))
			continue
		}
		if err != nil {
			return err
		}
		if o.saveMap != "" && i == 0 {
			if err := saveMap(o.mapPath(env), log.Map); err != nil {
				return err
			}
		}
		d := dryLog{File: name, Map: kept.name(log.Map), Channels: dryChannels(g, log), Account: &log.Account}
		if given != nil {
			d.Map = o.mapFile
		}
		guesses, all = append(guesses, g), append(all, d)
		if !env.JSON {
			printGuess(env, name, g)
			printDry(env, d)
		}
	}
	if err := wrong.Err(); err != nil {
		return err
	}
	if env.JSON {
		return env.PrintJSON(map[string]any{"format": 1, "files": files, "guesses": guesses, "logs": all})
	}
	return nil
}

// readDry guesses a log from its first rows and then reads it whole, keeping
// no samples.
func (o loadOptions) readDry(env *Env, name string, given *logfile.Map, kept []*logfile.Map) (*logfile.Guess, *logfile.Log, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, nil, fault.BadUsage("log-missing", "there is no such log")
	}
	defer f.Close()
	order := logfile.DateOrder(o.dates)
	g, err := logfile.Inspect(f, logfile.Options{Sheet: o.sheet, Range: o.cells, DateOrder: order, Scratch: scratchIn(env)})
	if err != nil {
		return nil, nil, err
	}
	if _, err := f.Seek(0, 0); err != nil {
		return nil, nil, fault.New("log-read", "the file cannot be read again").Wrap(err)
	}
	log, err := logfile.Load(f, logfile.LoadOptions{Map: given, Maps: kept, Sheet: o.sheet, Range: o.cells, Session: o.session, DateOrder: order, Sink: logfile.Discard, Scratch: scratchIn(env)})
	if err != nil {
		return nil, nil, err
	}
	if log.Guess != nil { // it knows the whole column of dates
		g = log.Guess
	}
	return g, log, nil
}

func dryChannels(g *logfile.Guess, log *logfile.Log) []dryChannel {
	period := map[string]float64{}
	for _, c := range append(slices.Clone(g.Columns), g.Channels...) {
		period[c.Name] = c.PeriodS
	}
	var out []dryChannel
	for i, t := range log.Traces {
		column := t.Channel.SourceName
		for _, c := range log.Map.Channels {
			if c.ID == t.Channel.ID {
				column = c.Column
			}
		}
		e, bad := log.Extents[i], maps.Clone(log.Account.Columns[column])
		maps.DeleteFunc(bad, func(k logfile.ProblemKind, _ int) bool { return k.RowOut() })
		out = append(out, dryChannel{Column: column, ID: t.Channel.ID, Place: string(t.Channel.Place), Unit: string(t.Channel.Unit),
			PeriodS: period[column], Samples: e.Samples, Missing: e.Samples - e.Present, Bad: bad})
	}
	return out
}

func printGuess(env *Env, name string, g *logfile.Guess) {
	env.Printf("%s: a %s log, times in %q (%s: %s)", name, g.Shape, g.Time.Column, g.Time.Form, g.Time.Why)
	if g.PeriodS > 0 && g.Shape == logfile.Wide {
		env.Printf(", a row every %s", stepText(g.PeriodS))
	}
	env.Printf("\n")
	t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "  column\trole\tplace\tunit\tstep\twhy\n")
	cols := g.Columns
	if g.Shape == logfile.Long {
		cols = append(cols, g.Channels...)
	}
	for _, c := range cols {
		why := c.Why
		if !c.Sure {
			why = "a guess: " + why
		}
		step := ""
		if c.PeriodS > 0 {
			step = stepText(c.PeriodS)
		}
		fmt.Fprintf(t, "  %s\t%s\t%s\t%s\t%s\t%s\n", c.Name, c.Role, placeText(c.Channel), c.Channel.Unit, step, strings.TrimSpace(why))
	}
	t.Flush()
	if len(g.Layout.FirstRows) > 0 {
		env.Printf("  first rows:\n")
		for _, r := range g.Layout.FirstRows[:min(3, len(g.Layout.FirstRows))] {
			env.Printf("    %s\n", strings.Join(r, "  "))
		}
	}
}

// placeText is where a channel is: "surface A", "depth 5 mm".
func placeText(c trace.Channel) string {
	switch {
	case c.Place == trace.Depth:
		return fmt.Sprintf("depth %.3g mm", c.DepthM*1e3)
	case c.Side != "":
		return string(c.Place) + " " + string(c.Side)
	}
	return string(c.Place)
}

func stepText(s float64) string {
	return time.Duration(s * float64(time.Second)).Round(time.Millisecond).String()
}

// printDry prints what the whole log holds.
func printDry(env *Env, d dryLog) {
	if d.Map != "" {
		env.Printf("  read by the saved map %s\n", d.Map)
	}
	env.Printf("  of %d rows %d would be kept:\n", d.Account.Rows, d.Account.Kept)
	t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "    channel\tsamples\tmissing\tcells not as they should be\n")
	for _, c := range d.Channels {
		fmt.Fprintf(t, "    %s\t%d\t%d\t%s\n", c.Column, c.Samples, c.Missing, countsText(c.Bad))
	}
	t.Flush()
	if rest := withoutColumn(d.Account); len(rest) > 0 {
		env.Printf("    rows: %s\n", countsText(rest))
	}
	printProblems(env, *d.Account, 10)
}

// withoutColumn counts the problems that are not of a channel's cells.
func withoutColumn(a *logfile.Account) map[logfile.ProblemKind]int {
	out := maps.Clone(a.Counts)
	for _, kinds := range a.Columns {
		for kind, n := range kinds {
			if !kind.RowOut() {
				out[kind] -= n
			}
		}
	}
	maps.DeleteFunc(out, func(_ logfile.ProblemKind, n int) bool { return n == 0 })
	return out
}

// countsText lists counts, the largest first.
func countsText(counts map[logfile.ProblemKind]int) string {
	kinds := slices.SortedFunc(maps.Keys(counts), func(a, b logfile.ProblemKind) int {
		return cmp.Or(counts[b]-counts[a], strings.Compare(string(a), string(b)))
	})
	var out []string
	for _, k := range kinds {
		out = append(out, fmt.Sprintf("%d %s", counts[k], k))
	}
	return strings.Join(out, ", ")
}
