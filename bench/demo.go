package bench

import (
	_ "embed"
	"fmt"
	"math"
	"strings"
	"time"

	"trivet/design"
	"trivet/heat"
	"trivet/stats"
	"trivet/study"
)

//go:embed demo/study.yaml
var demoPlan string

//go:embed demo/sear-first.yaml
var demoSearFirst []byte

//go:embed demo/sear-last.yaml
var demoSearLast []byte

const (
	// demoSeed fixes everything that the demo invents but for the run order.
	demoSeed   = "trivet-demo-1"
	demoBlocks = 20
	// demoOrderSeed is the seed of the run order, which the study records. It is
	// one that leaves a question open, so that the demo shows each kind of
	// verdict.
	demoOrderSeed = "2026-03-02"
	// demoAssessors answered the invented triangle tasting.
	demoAssessors = 60
	// demoDiscriminators is the invented share of assessors who can tell.
	demoDiscriminators = 0.25
)

// Demo is the invented study as a kitchen would have left it: the plan, the
// logs as the loggers wrote them, and what was noted at the stove.
type Demo struct {
	Plan      []byte            // study.yaml as it was sealed
	Tasted    []byte            // study.yaml with the closed tasting added
	CookFiles map[string][]byte // by relative path
	SealedAt  time.Time
	Cooks     []DemoCook
}

// DemoCook is one invented cook.
type DemoCook struct {
	Cook    study.Cook
	LogName string
	Log     []byte
	At      time.Time
}

// demoBlock is what the two chops of a loin share.
type demoBlock struct {
	release float64 // factor on how much juice the meat lets go
	massG   float64
}

// demoPlaces are where the legs of the demo's cook files are cooked.
var demoPlaces = map[string]string{"sear": "the pan", "oven": "the oven"}

// MakeDemo invents the demo study from its fixed seed. Loins differ in the
// juice they let go (SD 12 %) and in mass; chops of one loin differ in the
// same juice (SD 25 %), thickness (0.5 mm), start (0.4 °C), contact with the
// pan (15 %), the oven's coefficient (8 %) and where the cook pulls (0.5 °C);
// sensors are noisy by 0.1 K and sit off their place by 0.5 mm, and those on
// the surface read off by 2 K, as contact with a surface does.
func MakeDemo(progress Progress) (*Demo, error) {
	d := &Demo{
		CookFiles: map[string][]byte{"cooks/sear-first.yaml": demoSearFirst, "cooks/sear-last.yaml": demoSearLast},
		SealedAt:  time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC),
	}
	specs := map[string]heat.Spec{}
	for _, t := range []string{"sear-first", "sear-last"} {
		file := "cooks/" + t + ".yaml"
		c, err := heat.ParseCook(file, d.CookFiles[file])
		if err != nil {
			return nil, err
		}
		specs[t] = c.Spec
	}
	slots, err := demoOrder()
	if err != nil {
		return nil, err
	}
	solver := heat.NewSolver()
	var pieces strings.Builder
	for b := range demoBlocks {
		for _, k := range []string{"a", "b", "c", "ta", "tb"} {
			extra := ""
			switch k {
			case "c":
				extra = ", spare: yes"
			case "ta", "tb":
				extra = fmt.Sprintf(", twin: L%02d-%s", b+1, k[1:])
			}
			fmt.Fprintf(&pieces, "  - {label: L%02d-%s, block: L%02d, thickness: %s%s}\n", b+1, k, b+1, demoThickness(b, k), extra)
		}
	}
	var order strings.Builder
	for i, s := range slots {
		progress.Report(i, len(slots))
		fmt.Fprintf(&order, "    - {order: %d, block: %s, piece: %s, treatment: %s, code: %s}\n", s.Order, s.Block, s.Piece, s.Treatment, s.Code)
		c, err := demoCook(solver, specs[s.Treatment], s)
		if err != nil {
			return nil, err
		}
		d.Cooks = append(d.Cooks, *c)
	}
	progress.Report(len(slots), len(slots))
	if err := d.voidOne(solver, specs); err != nil {
		return nil, err
	}
	plan := strings.NewReplacer("SEED", demoOrderSeed, "RUN_ORDER\n", order.String(), "PIECES", pieces.String()).Replace(demoPlan)
	d.Plan = []byte(plan)
	d.Tasted = []byte(plan + fmt.Sprintf(`
tastings:
  - {id: panel, question: taste, method: triangle, n: %d, correct: %d, closed: yes,
     note: "60 invented assessors, one set each, from unprobed twins"}
`, demoAssessors, demoCorrect()))
	return d, nil
}

// demoOrder deals the demo's chops from its seed, as [Deal] deals any study's:
// who draws from the recorded seed gets this very order.
func demoOrder() ([]study.RunSlot, error) {
	r := design.Request{Kind: design.Pairs, Treatments: []string{"sear-last", "sear-first"}, Blocks: demoBlocks, Pieces: 2, Seed: demoOrderSeed}
	for b := range demoBlocks {
		loin := fmt.Sprintf("L%02d", b+1)
		r.BlockNames = append(r.BlockNames, loin)
		r.PieceNames = append(r.PieceNames, []string{loin + "-a", loin + "-b"})
	}
	plan, err := design.Make(r)
	if err != nil {
		return nil, err
	}
	var out []study.RunSlot
	for _, x := range plan.Slots {
		out = append(out, study.RunSlot{Order: x.Order, Block: x.Block, Piece: x.Piece, Treatment: x.Treatment, Code: x.Code})
	}
	return out, nil
}

// demoCorrect draws how many assessors found the odd sample.
func demoCorrect() int {
	s := stats.NewStream(demoSeed, "tasting", 0)
	n := 0
	for range demoAssessors {
		if s.Float64() < 1.0/3+2.0/3*demoDiscriminators {
			n++
		}
	}
	return n
}

func demoLoin(block string) demoBlock {
	s := stats.NewStream(demoSeed, "loin "+block, 0)
	return demoBlock{release: math.Exp(0.12 * s.Normal()), massG: 195 + 12*s.Normal()}
}

// demoThickness is a chop's thickness at three points, as written.
func demoThickness(block int, piece string) string {
	s := stats.NewStream(demoSeed, "thickness "+piece, uint64(block))
	mid := 30 + 0.5*s.Normal()
	return fmt.Sprintf("[%.1f mm, %.1f mm, %.1f mm]", mid-0.2+0.2*s.Normal(), mid, mid+0.2*s.Normal())
}

// demoDepthsM are where the depth sensors were meant to sit.
var demoDepthsM = []float64{0.005, 0.010, 0.020, 0.025}

// demoCook simulates one chop and writes its log and notes.
func demoCook(solver *heat.Solver, spec heat.Spec, slot study.RunSlot) (*DemoCook, error) {
	s := stats.NewStream(demoSeed, "cook "+slot.Piece, 0)
	loin := demoLoin(slot.Block)
	vary(&spec, s, loin)
	var res, atPull heat.Result
	if err := solver.RunInto(&res, &spec, heat.Options{}); err != nil {
		return nil, err
	}
	short := spec
	short.Legs = spec.Legs[:len(spec.Legs)-1]
	if err := solver.RunInto(&atPull, &short, heat.Options{}); err != nil {
		return nil, err
	}

	pullS, endS := *res.Summary.PullTimeS, res.TimeS[len(res.TimeS)-1]
	raw := loin.massG + 3*s.Normal()
	out := &DemoCook{LogName: fmt.Sprintf("%s_%s.csv", slot.Piece, slot.Treatment)}
	day := (slot.Order - 1) / 8
	out.At = time.Date(2026, 3, 3+day, 8, 0, 0, 0, time.UTC).Add(time.Duration((slot.Order-1)%8) * 75 * time.Minute)
	c := study.Cook{Label: slot.Piece, Block: slot.Block, Piece: slot.Piece, Treatment: slot.Treatment,
		Role: study.Planned, Order: slot.Order, Day: out.At.Format("2006-01-02"),
		ZeroUS: out.At.Add(demoLead).UnixMicro(), ZeroSet: true}
	id := func(what string) string { return NewID(out.At, slot.Piece+" "+what) }
	c.ID = id("cook")
	mark := func(k study.MarkKind, atS float64) {
		c.Marks = append(c.Marks, study.Mark{ID: id(fmt.Sprintf("%s %.0f", k, atS)), Kind: k, AtUS: int64(math.Round(atS)) * 1e6, Source: "typed"})
	}
	mark(study.HeatOn, 0)
	for _, e := range res.Events {
		if e.Kind == heat.Turned {
			mark(study.Turn, e.TimeS)
		}
	}
	for i, l := range res.Legs[:len(res.Legs)-1] {
		if next := res.Legs[i+1]; next.StartS < pullS {
			mark(study.NoteMark, l.EndS)
			c.Marks[len(c.Marks)-1].Note = fmt.Sprintf("moved: from %s to %s", demoPlaces[l.Name], demoPlaces[next.Name])
		}
	}
	mark(study.OffHeat, pullS)
	mark(study.Served, endS)
	study.SortMarks(c.Marks)
	weigh := func(stage study.Stage, g, atS float64) {
		c.Weighings = append(c.Weighings, study.Weighing{ID: id("weigh " + string(stage)), Stage: stage,
			MassG: math.Round(10*(g+0.15*s.Normal())) / 10, AtUS: int64(math.Round(atS)) * 1e6, HasAt: true, ResG: 0.1})
	}
	weigh(study.Raw, raw, -600)
	weigh(study.AtPull, raw*(1-atPull.Summary.LossPct/100), pullS+15)
	weigh(study.AfterRest, raw*(1-res.Summary.LossPct/100), endS+10)
	if slot.Order == 17 {
		c.Deviations = append(c.Deviations, study.Deviation{AtUS: 400e6, What: "oven door opened for about 20 s", Why: "a probe cable was caught"})
	}
	out.Cook = c
	continental := slot.Order%2 == 0
	if continental { // its log counts from its own start
		out.Cook.ZeroUS = demoLead.Microseconds()
	}
	out.Log = demoLog(&res, s, out.At, continental)
	return out, nil
}

// vary gives a chop its own properties.
func vary(spec *heat.Spec, s *stats.Stream, loin demoBlock) {
	spec.Piece.ThicknessM *= 1 + 0.5/30*s.Normal()
	spec.Piece.StartC += 0.4 * s.Normal()
	r := *heat.DefaultRelease(heat.Meat)
	f := loin.release * math.Exp(0.25*s.Normal())
	r.A1, r.A2 = math.Min(0.45, r.A1*f), math.Min(0.5, r.A2*f)
	spec.Moisture.Release = &r
	contact, oven, pull := math.Exp(0.15*s.Normal()), math.Exp(0.08*s.Normal()), 0.5*s.Normal()
	legs := make([]heat.Leg, len(spec.Legs))
	copy(legs, spec.Legs)
	for i := range legs {
		legs[i].Bottom = varied(legs[i].Bottom, contact, oven)
		legs[i].Top = varied(legs[i].Top, contact, oven)
		if c := legs[i].Ends.CoreC; c != nil {
			at := *c + pull
			legs[i].Ends.CoreC = &at
		}
	}
	spec.Legs = legs
	out := make([]float64, len(demoDepthsM))
	for i, d := range demoDepthsM {
		out[i] = d + 0.0005*s.Normal()
	}
	spec.Output.DepthsM = out
}

func varied(f heat.Face, contact, oven float64) heat.Face {
	switch f := f.(type) {
	case heat.Pan:
		f.Contact *= contact
		return f
	case heat.Air:
		if f.TempC > 60 && f.H != nil {
			h := *f.H * oven
			f.H = &h
		}
		return f
	}
	return f
}

// voidOne makes one cook void by a sealed rule, and cooks the spare of its
// loin in its place.
func (d *Demo) voidOne(solver *heat.Solver, specs map[string]heat.Spec) error {
	const at = 12
	v := &d.Cooks[at]
	slot := study.RunSlot{Order: v.Cook.Order, Block: v.Cook.Block, Piece: v.Cook.Block + "-c", Treatment: v.Cook.Treatment}
	spare, err := demoCook(solver, specs[slot.Treatment], slot)
	if err != nil {
		return err
	}
	spare.Cook.Role = study.Spare
	spare.Cook.Order = 0
	v.Cook.Role, v.Cook.VoidRule = study.Void, "probe-slip"
	v.Cook.VoidWhy = "the core probe was found in the pan at the turn"
	v.Cook.VoidedAt = v.At.Add(40 * time.Minute)
	d.Cooks = append(d.Cooks, *spare)
	return nil
}
