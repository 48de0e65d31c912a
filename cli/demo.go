package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"trivet/bench"
	"trivet/fault"
	"trivet/logfile"
	"trivet/store"
	"trivet/study"
	"trivet/trace"
)

func newDemo(env *Env) *cobra.Command {
	var out string
	c := &cobra.Command{
		Use:   "demo",
		Short: "Make the demo study, answer it, write its report",
		Long: `Makes an invented study (two ways of searing pork chops, 20 loins, 41 cooks) as a
kitchen would have left it, keeps it in a notebook, seals the plan before the
first cook, loads every log, answers its questions and writes the report. All
its data are invented, and every page says so.`,
		Example: "  trivet demo\n  trivet demo --out /tmp/demo",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return runDemo(cmd.Context(), env, out) },
	}
	c.Flags().StringVarP(&out, "out", "o", "trivet-demo", "folder to write")
	return c
}

func runDemo(ctx context.Context, env *Env, out string) error {
	if err := clearDemo(out); err != nil {
		return err
	}
	start := time.Now()
	env.Tell("inventing 41 cooks …")
	d, err := bench.MakeDemo(nil)
	if err != nil {
		return err
	}
	if err := writeDemoFolder(filepath.Join(out, "kitchen"), d); err != nil {
		return err
	}
	env.Tell("keeping them in a notebook …")
	path := filepath.Join(out, "demo.trivet")
	id, err := demoNotebook(ctx, path, d)
	if err != nil {
		return err
	}
	env.Tell("answering and writing the report …")
	nb, err := store.Open(ctx, path, store.Options{Now: env.Now})
	if err != nil {
		return err
	}
	defer nb.Close()
	src := &source{reader: nb, id: id, name: id}
	got, err := publishStudy(ctx, env, src, filepath.Join(out, "report"), nil)
	if err != nil {
		return err
	}
	report := filepath.Join(out, "report", "index.html")
	if env.JSON {
		return env.PrintJSON(map[string]any{"format": 1, "study": id, "notebook": path, "report": report,
			"kitchen": filepath.Join(out, "kitchen"), "answer": got.Answer})
	}
	printAnswer(env, got)
	env.Printf("\nWritten in %.1f s, all of it invented data:\n", time.Since(start).Seconds())
	env.Printf("  %s   the report, open it in a browser\n", report)
	env.Printf("  %s   figures as SVG, PNG and PDF\n", filepath.Join(out, "report", "figures"))
	env.Printf("  %s   the study document and the loggers' files\n", filepath.Join(out, "kitchen"))
	env.Printf("  %s   how the loggers' columns are read\n", filepath.Join(out, "maps"))
	env.Printf("  %s   the notebook; try: trivet answer %s --notebook %s\n", path, id, path)
	return nil
}

// clearDemo makes room for the demo: an earlier demo is replaced, anything
// else is left alone.
func clearDemo(out string) error {
	entries, err := os.ReadDir(out)
	if errors.Is(err, fs.ErrNotExist) || err == nil && len(entries) == 0 {
		return os.MkdirAll(out, 0o755)
	}
	if err != nil {
		return fault.BadUsage("demo-folder", "the folder cannot be used").In(out).Wrap(err)
	}
	if _, err := os.Stat(filepath.Join(out, "demo.trivet")); err != nil {
		return fault.BadUsage("demo-folder", "the folder holds something that is no demo").In(out).WithFix("choose another with --out")
	}
	for _, name := range []string{"demo.trivet", "demo.trivet-wal", "demo.trivet-shm", "kitchen", "maps"} {
		if err := os.RemoveAll(filepath.Join(out, name)); err != nil {
			return fault.New("demo-folder", "the earlier demo cannot be removed").In(out).Wrap(err)
		}
	}
	return nil
}

// writeDemoFolder writes what the invented kitchen left: the document, cook
// files and logs.
func writeDemoFolder(dir string, d *bench.Demo) error {
	files := map[string][]byte{"study.yaml": d.Tasted}
	for name, b := range d.CookFiles {
		files[name] = b
	}
	for _, c := range d.Cooks {
		files["logs/"+c.LogName] = c.Log
	}
	for name, b := range files {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return fault.New("demo-folder", "the folder cannot be written").In(dir).Wrap(err)
		}
		if err := os.WriteFile(path, b, 0o644); err != nil {
			return fault.New("demo-folder", "the file cannot be written").In(path).Wrap(err)
		}
	}
	return nil
}

// demoNotebook keeps the demo as it would have happened: the plan is written
// and sealed, then every cook is noted and its log loaded, then the tasting
// is closed.
func demoNotebook(ctx context.Context, path string, d *bench.Demo) (string, error) {
	now := d.SealedAt.Add(-time.Hour)
	nb, err := store.Create(ctx, path, store.Options{Now: func() time.Time { return now }})
	if err != nil {
		return "", err
	}
	defer nb.Close()
	s, err := study.Parse("study.yaml", d.Plan)
	if err != nil {
		return "", err
	}
	if err := nb.PutStudy(ctx, s, d.Plan, d.CookFiles, study.Event{At: now, Study: s.ID, Kind: study.EventCreated, What: "the plan was written"}); err != nil {
		return "", err
	}
	now = d.SealedAt
	if _, err := bench.Seal(ctx, nb, s.ID, now); err != nil {
		return "", err
	}
	for _, c := range d.Cooks {
		now = c.At
		var events []study.Event
		if c.Cook.Role == study.Void {
			events = append(events, study.Event{At: c.Cook.VoidedAt, Study: s.ID, Kind: study.EventVoided,
				What: "cook " + c.Cook.Label + " is void by rule " + c.Cook.VoidRule + ": " + c.Cook.VoidWhy})
		}
		if err := nb.PutCook(ctx, s.ID, c.Cook, events...); err != nil {
			return "", err
		}
	}
	rec, err := nb.Record(ctx, s.ID)
	if err != nil {
		return "", err
	}
	var maps []*logfile.Map
	for _, c := range d.Cooks {
		if maps, err = withDemoMap(maps, c, filepath.Join(filepath.Dir(path), "maps")); err != nil {
			return "", err
		}
		if _, err := bench.Load(ctx, nb, rec, bench.LoadRequest{Name: c.LogName, Log: bytes.NewReader(c.Log),
			Cook: c.Cook.Label, Maps: maps, Now: c.At.Add(time.Hour)}); err != nil {
			return "", err
		}
	}
	tasted, err := study.Parse("study.yaml", d.Tasted)
	if err != nil {
		return "", err
	}
	last := d.Cooks[len(d.Cooks)-1].At.Add(26 * time.Hour)
	return s.ID, nb.PutStudy(ctx, tasted, d.Tasted, d.CookFiles, study.Event{At: last, Study: s.ID, Kind: study.EventChanged,
		What: "the tasting was closed and its counts entered"})
}

// withDemoMap adds the column map of a log where none of the maps fits it, and
// writes it to a folder: what the guess says, with the instruments of the
// demo's register.
func withDemoMap(maps []*logfile.Map, c bench.DemoCook, dir string) ([]*logfile.Map, error) {
	g, err := logfile.Inspect(bytes.NewReader(c.Log), logfile.Options{})
	if err != nil || logfile.Match(maps, g) != nil {
		return maps, err
	}
	m := g.Map()
	for i := range m.Channels {
		switch ch := &m.Channels[i]; ch.Place {
		case trace.Core, trace.Depth:
			ch.Sensor = "probe-in"
		case trace.Surface:
			ch.Sensor = "probe-face"
		case trace.Pan:
			ch.Sensor = "pan-1"
		}
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fault.New("demo-folder", "the folder cannot be written").In(dir).Wrap(err)
	}
	return append(maps, m), saveMap(filepath.Join(dir, fmt.Sprintf("kitchen-%d.map.yaml", len(maps)+1)), m)
}
