package cli

import (
	"bytes"
	"context"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"trivet/bench"
	"trivet/fault"
	"trivet/logfile"
	"trivet/quantity"
)

type loadOptions struct {
	study, cook, mapFile, saveMap, heatOn string
	maps, sheet, cells, dates             string
	session                               int
	dry, marks, accept                    bool
}

func newLoad(env *Env) *cobra.Command {
	var o loadOptions
	c := &cobra.Command{
		Use:   "load LOG|FOLDER… --study STUDY",
		Short: "Load logger files into cooks, with a saved column map",
		Long: `Reads logs of any shape (wide or long, comma, semicolon or tab, decimal comma,
°C or °F, clock or elapsed times; CSV, XLSX, ODS, JSON, JSON Lines, Parquet,
also packed by gzip or zstd) into the traces of cooks. What was understood is
shown; every cell and row that was not as it should be is listed with its row
number; the raw file is kept with its hash.

A file goes to the cook whose label its name holds, to the one cook whose
heat-on lies within its times, or to --cook; at a terminal you are asked where
neither tells. A folder stands for the files in it. --dry-run reads the logs to
their end and shows what would be loaded, cell by cell that would be missing.
Dates that allow two orders (5/6/2026) are told apart by the whole column, or
by --date-order. Column maps kept with
--save-map NAME lie in the folder "maps" beside the notebook (or --maps) and
are taken for every later file of the same shape.`,
		Example: `  trivet load logs/L01-a.csv --dry-run
  trivet load logs --study sear-first-or-sear-last
  trivet load book.xlsx --study s --cook L01-a --sheet "run 2" --range B3:F900
  trivet load probe.csv --study s --cook L01-a --heat-on 1:30 --save-map probe.map.yaml
  trivet load probe2.csv --study s --cook L01-b --map probe.map.yaml`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			args, err := logFiles(args)
			if err != nil {
				return err
			}
			if o.dry {
				return o.dryRun(env, args)
			}
			return runLoad(cmd.Context(), env, args, o)
		},
	}
	f := c.Flags()
	f.StringVar(&o.study, "study", "", "the study in the notebook")
	f.StringVar(&o.cook, "cook", "", "the cook's label, for a single log")
	f.StringVar(&o.mapFile, "map", "", "a saved column map")
	f.StringVar(&o.saveMap, "save-map", "", "save the column map that was used")
	f.StringVar(&o.heatOn, "heat-on", "", "heat on after the log's start, such as 1:30 (min:s)")
	f.StringVar(&o.maps, "maps", "", "folder of saved column maps (default: maps beside the notebook)")
	f.StringVar(&o.sheet, "sheet", "", "the sheet of a workbook")
	f.StringVar(&o.cells, "range", "", "the block of cells of a sheet, such as B3:F900 or B3:")
	f.StringVar(&o.dates, "date-order", "", "dmy or mdy, where a log's dates allow both")
	f.IntVar(&o.session, "session", 0, "which of several logs glued into one file (default: the longest)")
	f.BoolVar(&o.marks, "marks", false, "offer the marks that the traces tell")
	f.BoolVar(&o.accept, "accept-marks", false, "take the offered marks")
	f.BoolVar(&o.dry, "dry-run", false, "show what is understood, load nothing")
	return c
}

func (o loadOptions) columnMap() (*logfile.Map, error) {
	if o.mapFile == "" {
		return nil, nil
	}
	b, err := os.ReadFile(o.mapFile)
	if err != nil {
		return nil, fault.BadUsage("map-missing", "there is no such column map").In(o.mapFile)
	}
	m, err := logfile.ReadMap(bytes.NewReader(b))
	if f := fault.As(err); f != nil {
		return nil, f.In(o.mapFile)
	}
	return m, err
}

// heatOnAt turns --heat-on into the mark's time on the log's clock.
func (o loadOptions) heatOnAt() (func(int64) int64, error) {
	if o.heatOn == "" {
		return nil, nil
	}
	d, err := quantity.ParseDuration(o.heatOn)
	if err != nil {
		if f := fault.As(err); f != nil {
			return nil, f.On("--heat-on", o.heatOn)
		}
		return nil, err
	}
	return func(first int64) int64 { return first + int64(d.S()*1e6) }, nil
}

func runLoad(ctx context.Context, env *Env, files []string, o loadOptions) error {
	switch {
	case o.study == "":
		return fault.BadUsage("flag-missing", "--study is needed").WithFix("name the study, or look first with --dry-run")
	case o.cook != "" && len(files) > 1:
		return fault.BadUsage("one-cook", "--cook takes a single log, and %d were given", len(files)).WithFix("load them one by one, or let the file names tell the cook")
	}
	m, err := o.columnMap()
	if err != nil {
		return err
	}
	heatOn, err := o.heatOnAt()
	if err != nil {
		return err
	}
	nb, err := env.openNotebook(ctx, false)
	if err != nil {
		return err
	}
	defer nb.Close()
	maps, err := o.savedMaps(env)
	if err != nil {
		return err
	}
	first, err := nb.Record(ctx, o.study)
	if err != nil {
		return err
	}
	assigned, err := o.assign(env, first, files, maps)
	if err != nil {
		return err
	}
	type row struct {
		File     string `json:"file"`
		Cook     string `json:"cook"`
		By       string `json:"by"`
		SHA256   string `json:"sha256"`
		Rows     int    `json:"rows"`
		Kept     int    `json:"kept"`
		Channels int    `json:"channels"`
		Map      string `json:"map,omitempty"`
		Problems int    `json:"problems"`
		Clock    any    `json:"clock,omitempty"` // how it fits the cook's other clocks
	}
	var rows []row
	progress, done := env.progress("loading logs")
	defer done()
	for i, name := range files {
		progress.Report(i, len(files))
		rec, err := nb.Record(ctx, o.study)
		if err != nil {
			return err
		}
		f, err := os.Open(name)
		if err != nil {
			return fault.BadUsage("log-missing", "there is no such log").In(name)
		}
		got, err := bench.Load(ctx, nb, rec, bench.LoadRequest{Name: filepath.Base(name), Log: f, Cook: assigned[i].cook, Map: m, Maps: maps.all,
			Now: env.Now(), HeatOn: heatOn, Sheet: o.sheet, Range: o.cells, Session: o.session, DateOrder: logfile.DateOrder(o.dates), Scratch: scratchIn(env)})
		f.Close()
		if err != nil {
			return err
		}
		if o.saveMap != "" && i == 0 {
			if err := saveMap(o.mapPath(env), got.Log.Map); err != nil {
				return err
			}
		}
		a := got.Log.Account
		rows = append(rows, row{name, got.Cook.Label, assigned[i].by, got.Log.SHA256, a.Rows, a.Kept, len(got.Log.Traces), maps.name(got.Log.Map), len(a.Problems), nil})
		if !env.JSON {
			env.Printf("%s → cook %s: %d of %d rows, %s\n", name, got.Cook.Label, a.Kept, a.Rows, counted(len(got.Log.Traces), "channel"))
			if by := maps.name(got.Log.Map); by != "" {
				env.Printf("  read by the saved map %s\n", by)
			}
			if got.Already {
				env.Printf("  the cook had this log already; it stands as it was read now\n")
			}
			printProblems(env, a, 10)
		}
		if !got.Already {
			if rows[i].Clock, err = suggestClock(ctx, env, nb, o.study, got); err != nil {
				return err
			}
		}
	}
	var offers []offeredCook
	if o.marks || o.accept {
		var labels []string
		for _, r := range rows {
			labels = append(labels, r.Cook)
		}
		if offers, err = o.offer(ctx, env, nb, labels); err != nil {
			return err
		}
	}
	if env.JSON {
		out := map[string]any{"format": 1, "study": o.study, "loaded": rows}
		if offers != nil {
			out["marks"] = offers
		}
		return env.PrintJSON(out)
	}
	printOffers(env, offers)
	return nil
}

func saveMap(path string, m *logfile.Map) error {
	var b bytes.Buffer
	if err := m.Write(&b); err != nil {
		return err
	}
	if err := writeNew(path, b.Bytes(), true); err != nil {
		return err
	}
	return nil
}

func printProblems(env *Env, a logfile.Account, most int) {
	for i, p := range a.Problems {
		if i == most {
			env.Printf("  … and %d more\n", len(a.Problems)-most+a.Unlisted)
			break
		}
		env.Printf("  %s\n", p)
	}
	for _, g := range a.Gaps {
		env.Printf("  %s\n", g)
	}
	for _, n := range a.Notes {
		env.Printf("  · %s\n", n.Text)
	}
}
