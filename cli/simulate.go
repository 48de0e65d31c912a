package cli

import (
	"bytes"
	"context"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"trivet/doneness"
	"trivet/fault"
	"trivet/figure"
	"trivet/heat"
	"trivet/quantity"
	"trivet/safety"
)

func newSimulate(env *Env) *cobra.Command {
	var opt simulateOptions
	c := &cobra.Command{
		Use:   "simulate COOK…",
		Short: "Predict a cook: core, carryover, loss, doneness",
		Long: `Predicts the cook that a cook file describes: how the piece warms and rests,
what it loses, and what heat does to it inside. Values that the file gives as
"400 ± 80" or "[300, 500]" can be sampled. A prediction is the estimate of a
model; without a fit to your own cooks expect the core to be off by 5 °C and
times by 15 %.`,
		Example: `  trivet simulate examples/simulate/chop.yaml
  trivet simulate plain.yaml basted.yaml --picture cut.png --at pull,end
  trivet simulate chop.yaml --samples 1000 --seed 7 --json
  trivet simulate --foods`,
		RunE: func(cmd *cobra.Command, args []string) error {
			opt.files = args
			opt.seeded = cmd.Flags().Changed("seed")
			opt.asked = cmd.Flags().Changed("at")
			return runSimulate(cmd.Context(), env, opt)
		},
	}
	f := c.Flags()
	f.BoolVar(&opt.foods, "foods", false, "list the foods of the composition table and stop")
	f.BoolVar(&opt.schema, "schema", false, "print the JSON Schema of cook files and stop")
	f.IntVar(&opt.samples, "samples", 0, "sample the uncertain values in so many cooks")
	f.Uint64Var(&opt.seed, "seed", 1, "seed of the samples")
	f.StringVar(&opt.picture, "picture", "", "draw the cut face into this file (.png, .svg or .pdf)")
	f.StringSliceVar(&opt.at, "at", []string{"pull", "end"}, "moments to show: start, pull, peak, end or a time such as 6 min")
	f.StringVar(&opt.size, "size", "", "size of the picture: page, phone, 1080p or 4k (default 1080p for PNG, page otherwise)")
	return c
}

type simulateOptions struct {
	files   []string
	foods   bool
	schema  bool
	samples int
	seed    uint64
	seeded  bool
	picture string
	at      []string
	asked   bool // at was given, not the default
	size    string
}

// simulated is one cook with all that is said of it.
type simulated struct {
	cook    *heat.Cook
	res     *heat.Result
	samples *heat.Samples
	model   doneness.Model
	moments []simMoment
	minimum *safety.Minimum
	caution []safety.Caution
	notes   []fault.Note
}

// simMoment is a moment asked for.
type simMoment struct {
	word  string // as shown: "at the pull"
	timed bool   // word already tells the time
	timeS float64
	snap  heat.Snapshot
	done  heat.DoneMoment
	core  doneness.State // of the coldest history: the cell at the centre
}

func runSimulate(ctx context.Context, env *Env, o simulateOptions) error {
	switch {
	case o.foods:
		return listFoods(env)
	case o.schema:
		_, err := env.Write(heat.CookSchema)
		return err
	case len(o.files) == 0:
		return fault.BadUsage("arguments", "no cook file was named").WithFix("usage: trivet simulate COOK…, or --foods for the foods")
	case o.samples == 0 && o.seeded:
		return fault.BadUsage("flag", "--seed does nothing without --samples").On("--seed", strconv.FormatUint(o.seed, 10)).WithFix("add --samples 1000, or leave --seed out")
	}
	write, size, err := o.pictureWriter()
	if err != nil {
		return err
	}
	var all []simulated
	for _, file := range o.files {
		s, err := simulateFile(ctx, env, o, file)
		if err != nil {
			return err
		}
		all = append(all, *s)
	}
	if write != nil {
		if err := drawCutFace(env, o, all, size, write); err != nil {
			return err
		}
	}
	if env.JSON {
		return simulateJSON(env, all)
	}
	for i := range all {
		if i > 0 {
			env.Printf("\n")
		}
		simulateText(env, &all[i])
	}
	if o.picture != "" {
		env.Tell("picture: %s", o.picture)
	}
	return nil
}

func listFoods(env *Env) error {
	if env.JSON {
		type row struct {
			Name       string  `json:"name"`
			NDB        string  `json:"ndb,omitempty"`
			Class      string  `json:"class"`
			WaterPct   float64 `json:"water_pct"`
			ProteinPct float64 `json:"protein_pct"`
			FatPct     float64 `json:"fat_pct"`
			CarbPct    float64 `json:"carbohydrate_pct"`
			FibrePct   float64 `json:"fibre_pct"`
			AshPct     float64 `json:"ash_pct"`
		}
		out := []row{}
		for _, f := range heat.Foods {
			c := f.Composition
			out = append(out, row{Name: f.Name, NDB: f.NDB, Class: string(f.Class), WaterPct: c.Water, ProteinPct: c.Protein,
				FatPct: c.Fat, CarbPct: math.Round(c.Carbohydrate*100) / 100, FibrePct: c.Fibre, AshPct: c.Ash})
		}
		return env.PrintJSON(map[string]any{"format": 1, "foods": out})
	}
	t := tabwriter.NewWriter(env, 0, 0, 2, ' ', 0)
	io.WriteString(t, "food\twater %\tprotein %\tfat %\tNDB\n")
	for _, f := range heat.Foods {
		c := f.Composition
		io.WriteString(t, strings.Join([]string{f.Name, oneDecimal(c.Water), oneDecimal(c.Protein), oneDecimal(c.Fat), f.NDB}, "\t")+"\n")
	}
	if err := t.Flush(); err != nil {
		return err
	}
	env.Printf("\nRaw, from the USDA nutrient data base for standard reference (public domain).\n")
	return nil
}

func oneDecimal(v float64) string { return strconv.FormatFloat(v, 'f', 1, 64) }

func readCook(env *Env, file string) (*heat.Cook, error) {
	if file == "-" {
		b, err := io.ReadAll(io.LimitReader(env.Stdin, 2<<20))
		if err != nil {
			return nil, fault.New("read", "the cook file could not be read").In("standard input").Wrap(err)
		}
		return heat.ParseCook("standard input", b)
	}
	st, err := os.Stat(file)
	if err != nil {
		return nil, fault.BadUsage("cook-missing", "there is no such cook file").In(file).WithFix("check the path; trivet simulate --help has examples")
	}
	if !st.Mode().IsRegular() || st.Size() > 2<<20 {
		return nil, fault.BadUsage("cook-path", "this is no cook file").In(file).WithFix("name a YAML file that describes one cook")
	}
	b, err := os.ReadFile(file)
	if err != nil {
		return nil, fault.BadUsage("cook-missing", "the cook file could not be read").In(file).Wrap(err)
	}
	return heat.ParseCook(file, b)
}

func simulateFile(ctx context.Context, env *Env, o simulateOptions, file string) (*simulated, error) {
	cook, err := readCook(env, file)
	if err != nil {
		return nil, err
	}
	s := &simulated{cook: cook, model: doneness.For(heat.FamilyOf(cook.Spec.Piece))}
	solver := heat.NewSolver()
	spec := cook.Spec
	// A first run tells when things happen, a second follows the moments.
	first, err := solver.Run(&spec, heat.Options{})
	if err != nil {
		return nil, cook.Locate(err)
	}
	if err := s.askMoments(o, first); err != nil {
		return nil, err
	}
	times := make([]float64, len(s.moments))
	for i, m := range s.moments {
		times[i] = m.timeS
	}
	spec.Output.SnapshotsS = append(slices.Clone(spec.Output.SnapshotsS), times...)
	field := heat.NewDoneField(s.model, &spec, times...)
	if s.res, err = solver.Run(&spec, heat.Options{Observer: field}); err != nil {
		return nil, cook.Locate(err)
	}
	s.followMoments(field)
	s.judge()
	if o.samples != 0 {
		progress, done := env.progress("sampling " + file)
		s.samples, err = cook.Sample(ctx, heat.Sampling{N: o.samples, Seed: o.seed, Options: heat.Options{Fast: true}, Progress: progress})
		done()
		if err != nil {
			return nil, cook.Locate(err)
		}
	}
	s.notes = append(s.notes, s.res.Notes...)
	if s.samples != nil {
		s.notes = append(s.notes, s.samples.Notes...)
	}
	if len(cook.Uncertain) > 0 && o.samples == 0 {
		s.notes = append(s.notes, fault.Notef("uncertain-not-sampled", "Uncertain values of the cook file stand at their middle (%d of them); --samples 1000 shows what they do.", len(cook.Uncertain)))
	}
	return s, nil
}

// askMoments turns the words of --at into times.
func (s *simulated) askMoments(o simulateOptions, res *heat.Result) error {
	end := endOf(res)
	sum := res.Summary
	seen := map[float64]bool{}
	for _, w := range o.at {
		w = strings.TrimSpace(w)
		m := simMoment{}
		switch w {
		case "":
			continue
		case "start":
			m.word, m.timeS = "at the start", 0
		case "end":
			m.word, m.timeS = "at the end", end
		case "pull", "peak":
			if sum.PullTimeS == nil && o.asked {
				return fault.BadUsage("moment", "a cook without a rest has no %s", w).On("--at", w).In(s.cook.Name).
					WithFix("end its legs with one that has rest: true, or name another moment")
			}
			if sum.PullTimeS == nil {
				continue
			}
			m.word, m.timeS = "at the pull", *sum.PullTimeS
			if w == "peak" && sum.TimeToPeakS != nil {
				m.word, m.timeS = "at the peak", *sum.PullTimeS+*sum.TimeToPeakS
			}
		default:
			d, err := quantity.ParseDuration(w)
			if err != nil {
				f := fault.As(err)
				return fault.BadUsage("moment", "this is neither a moment nor a time").On("--at", w).
					WithFix("write start, pull, peak, end or a time such as 6 min").Wrap(f)
			}
			if d.S() > end {
				return fault.BadUsage("moment", "the cook ends before this moment, after %s", quantity.FormatDuration(quantity.Seconds(end))).
					On("--at", w).In(s.cook.Name).WithFix("name an earlier time, or end")
			}
			m.word, m.timeS = "after "+quantity.FormatDuration(d), d.S()
			m.timed = true
		}
		if !seen[m.timeS] {
			seen[m.timeS] = true
			s.moments = append(s.moments, m)
		}
	}
	slices.SortStableFunc(s.moments, func(a, b simMoment) int {
		switch {
		case a.timeS < b.timeS:
			return -1
		case a.timeS > b.timeS:
			return 1
		}
		return 0
	})
	return nil
}

// endOf is the end of the last leg; the series stop at the last multiple of
// their spacing before it.
func endOf(res *heat.Result) float64 { return res.Legs[len(res.Legs)-1].EndS }

// followMoments joins each moment with the field kept for it.
func (s *simulated) followMoments(field *heat.DoneField) {
	g := s.res.Grid
	cols := max(1, g.RadialCells)
	centre := len(g.DepthsM) / 2 * cols
	known := append([]heat.DoneMoment(nil), field.Asked...)
	if field.Pull != nil {
		known = append(known, *field.Pull)
	}
	if field.End != nil {
		known = append(known, *field.End)
	}
	for i := range s.moments {
		m := &s.moments[i]
		m.snap = figure.SnapshotAt(s.res, m.timeS)
		miss := math.Inf(1)
		for _, d := range known {
			if x := math.Abs(d.TimeS - m.timeS); x < miss {
				miss, m.done = x, d
			}
		}
		if centre < len(m.done.State) {
			m.core = m.done.State[centre]
		}
	}
}

// judge collects the cautions. A prediction is no log: towards a consumer
// figure it can only fall short or leave it open.
func (s *simulated) judge() {
	p := s.cook.Spec.Piece
	facts := safety.Facts{Eaten: true, Form: "intact", Predicted: true}
	switch s.model.Family {
	case doneness.Poultry:
		facts.Animal = "chicken"
	case doneness.Fish, doneness.Salmon:
		facts.Animal = "fish"
	case doneness.Plain:
		if f, err := heat.FindFood(p.Food); err == nil {
			facts.Animal = "none"
			if f.Class == heat.Egg {
				facts.Animal = "egg"
			}
		}
	default:
		facts.Animal = string(s.model.Family)
	}
	if strings.Contains(p.Food, "ground") {
		facts.Form = "ground"
	}
	facts.HotFat = usesHotFat(s.cook.Spec)
	facts.Judged = safety.CannotTell
	if m, ok := safety.ConsumerMinimum(facts.Animal, facts.Form); ok {
		s.minimum = &m
	}
	for _, c := range safety.Cautions(facts) {
		if c.ShownAt(safety.OnPlan) && c.Code != "raw-and-cooked" {
			s.caution = append(s.caution, c)
		}
	}
}

func usesHotFat(spec heat.Spec) bool {
	hot := func(f heat.Face) bool {
		switch f := f.(type) {
		case heat.FatFilm:
			return true
		case heat.Fluid:
			return f.TempC > 110 || f.Trace != nil && slices.Max(f.Trace.Values) > 110
		}
		return false
	}
	for _, l := range spec.Legs {
		if hot(l.Bottom) || hot(l.Top) || hot(l.Rim) {
			return true
		}
		for _, a := range l.Also {
			if hot(a.Bottom) || hot(a.Top) || hot(a.Rim) {
				return true
			}
		}
	}
	return false
}

// coldestPeakC is the highest temperature the coldest point reached.
func (s *simulated) coldestPeakC() float64 { return slices.Max(s.res.ColdestC) }

// pictureWriter checks the picture's file and size before any work.
func (o simulateOptions) pictureWriter() (func(*figure.Scene, io.Writer) error, figure.Size, error) {
	return pictureWriter("--picture", "cut.png", o.picture, o.size)
}

// pictureWriter returns how to write a picture by the ending of its name, and
// its size; nil where none is asked for. like is an example of a name.
func pictureWriter(flag, like, path, sizeName string) (func(*figure.Scene, io.Writer) error, figure.Size, error) {
	if path == "" {
		if sizeName != "" {
			return nil, figure.Size{}, fault.BadUsage("flag", "--size does nothing without %s", flag).On("--size", sizeName).WithFix("add %s %s", flag, like)
		}
		return nil, figure.Size{}, nil
	}
	size := figure.Page
	var write func(*figure.Scene, io.Writer) error
	switch strings.ToLower(filepath.Ext(path)) {
	case ".png":
		size = figure.HD
		write = func(s *figure.Scene, w io.Writer) error { return s.WritePNG(w, figure.PNGOptions{}) }
	case ".svg":
		write = func(s *figure.Scene, w io.Writer) error { return s.WriteSVG(w, figure.SVGOptions{}) }
	case ".pdf":
		write = func(s *figure.Scene, w io.Writer) error { return s.WritePDF(w) }
	default:
		return nil, size, fault.BadUsage("picture-kind", "the picture's kind is not known from its name").On(flag, path).WithFix("end the name in .png, .svg or .pdf")
	}
	sizes := []figure.Size{figure.Page, figure.Phone, figure.HD, figure.UHD}
	if sizeName != "" {
		i := slices.IndexFunc(sizes, func(s figure.Size) bool { return s.Name == sizeName })
		if i < 0 {
			return nil, size, fault.BadUsage("picture-size", "unknown size of picture").On("--size", sizeName).WithFix("write page, phone, 1080p or 4k")
		}
		size = sizes[i]
	}
	return write, size, nil
}

func drawCutFace(env *Env, o simulateOptions, all []simulated, size figure.Size, write func(*figure.Scene, io.Writer) error) error {
	fig := figure.CutFace{Title: "Predicted cut face", Fahrenheit: env.Fahrenheit(), Inch: env.Fahrenheit()}
	for i := range all {
		s := &all[i]
		piece := figure.CutPiece{Name: cookTitle(s.cook.Name)}
		for _, m := range s.moments {
			sec := figure.SectionOf(s.res.Grid, m.snap, m.done, s.model)
			if sec.At = m.word; !m.timed && m.timeS > 0 {
				sec.At += ", " + quantity.FormatDuration(quantity.Seconds(m.timeS))
			}
			sec.Says = "core " + env.temperature(s.coreAt(m.timeS))
			if s.model.HasMuscle() {
				sec.Says += "; " + s.model.Changes(m.core)[0].Says + ", " + s.model.Changes(m.core)[3].Says
			}
			piece.Sections = append(piece.Sections, sec)
		}
		fig.Pieces = append(fig.Pieces, piece)
		for _, c := range s.caution {
			if c.Code == "undercooked" && len(fig.Cautions) == 0 {
				fig.Cautions = append(fig.Cautions, c.Text)
			}
		}
	}
	sc, err := fig.Scene(size, figure.Light)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := write(sc, &b); err != nil {
		return err
	}
	return writePicture(o.picture, b.Bytes())
}

// writePicture writes a picture whole, replacing one that is there.
func writePicture(path string, b []byte) error {
	err := writeNew(path, b, true)
	if err == nil {
		return nil
	}
	return fault.BadUsage("picture-write", "the picture could not be written").In(path).Wrap(err).WithFix("check that the folder exists and may be written to")
}

func cookTitle(file string) string {
	return strings.TrimSuffix(filepath.Base(file), filepath.Ext(file))
}

// coreAt returns the core at a moment, linear between written times.
func (s *simulated) coreAt(t float64) float64 { return seriesAt(s.res.TimeS, s.res.CoreC, t) }

func seriesAt(ts, v []float64, t float64) float64 {
	i, found := slices.BinarySearch(ts, t)
	switch {
	case found || i == 0:
		return v[min(i, len(v)-1)]
	case i == len(ts):
		return v[len(v)-1]
	}
	f := (t - ts[i-1]) / (ts[i] - ts[i-1])
	return v[i-1] + f*(v[i]-v[i-1])
}
