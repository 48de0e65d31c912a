package cli

import (
	"encoding/json"
	"math"
	"strconv"

	"trivet/doneness"
	"trivet/fault"
	"trivet/heat"
	"trivet/safety"
)

// simulateFormat is the version of the JSON that simulate prints.
const simulateFormat = 1

// numbers prints non-finite values as null.
type numbers []float64

// MarshalJSON writes shortest round-trip numbers and null.
func (n numbers) MarshalJSON() ([]byte, error) {
	b := append(make([]byte, 0, 8*len(n)+2), '[')
	for i, v := range n {
		if i > 0 {
			b = append(b, ',')
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			b = append(b, "null"...)
		} else {
			b = strconv.AppendFloat(b, v, 'g', -1, 64)
		}
	}
	return append(b, ']'), nil
}

var _ json.Marshaler = numbers(nil)

type simulateMoment struct {
	What    string           `json:"what"`
	TimeS   float64          `json:"t_s"`
	CoreC   float64          `json:"core_c"`
	Core    []simulateChange `json:"core"`
	FaceADE float64          `json:"face_a_browning_delta_e"`
	FaceBDE float64          `json:"face_b_browning_delta_e"`
	Colour  [3]float64       `json:"core_colour_lab"`
}

type simulateChange struct {
	ID       string  `json:"id"`
	Says     string  `json:"says"`
	SharePct float64 `json:"share_pct"`
	Note     string  `json:"note"`
	Source   string  `json:"source"`
}

type simulateOut struct {
	Format       int              `json:"format"`
	Cook         string           `json:"cook"`
	ModelVersion int              `json:"model_version"`
	TimeS        numbers          `json:"time_s"`
	CoreC        numbers          `json:"core_c"`
	ColdestC     numbers          `json:"coldest_c"`
	BottomC      numbers          `json:"bottom_c"`
	TopC         numbers          `json:"top_c"`
	RimC         numbers          `json:"rim_c,omitempty"`
	MeanC        numbers          `json:"mean_c"`
	PanC         numbers          `json:"pan_c,omitempty"`
	DepthM       numbers          `json:"depth_m"`
	DepthC       []numbers        `json:"depth_c"`
	Events       []heat.Event     `json:"events"`
	Legs         []heat.LegResult `json:"legs"`
	Summary      heat.Summary     `json:"summary"`
	LedgerM      *heat.Ledger     `json:"ledger_j_m2,omitempty"`
	LedgerJ      *heat.Ledger     `json:"ledger_j,omitempty"`
	Moments      []simulateMoment `json:"moments"`
	Samples      *heat.Samples    `json:"samples,omitempty"`
	ColdestPeakC float64          `json:"coldest_peak_c"`
	Cautions     []safety.Caution `json:"cautions"`
	ColourNote   string           `json:"colour_note"`
	Notes        []fault.Note     `json:"notes"`
}

func simulateJSON(env *Env, all []simulated) error {
	out := make([]simulateOut, len(all))
	for i := range all {
		out[i] = all[i].json()
	}
	if len(out) == 1 {
		return env.PrintJSON(out[0])
	}
	return env.PrintJSON(map[string]any{"format": simulateFormat, "cooks": out})
}

func (s *simulated) json() simulateOut {
	r := s.res
	o := simulateOut{
		Format: simulateFormat, Cook: s.cook.Name, ModelVersion: r.ModelVersion,
		TimeS: r.TimeS, CoreC: r.CoreC, ColdestC: r.ColdestC, BottomC: r.BottomC, TopC: r.TopC, RimC: r.RimC, MeanC: r.MeanC, PanC: r.PanC,
		DepthM: notNil(r.DepthM), DepthC: []numbers{}, Events: r.Events, Legs: r.Legs, Summary: r.Summary, LedgerM: r.LedgerM, LedgerJ: r.LedgerJ,
		Moments: []simulateMoment{}, Samples: s.samples, ColdestPeakC: s.coldestPeakC(), Cautions: s.caution,
		ColourNote: doneness.ColourCaution, Notes: append([]fault.Note{}, s.notes...),
	}
	if o.Cautions == nil {
		o.Cautions = []safety.Caution{}
	}
	gaps := false
	for _, row := range r.DepthC {
		o.DepthC = append(o.DepthC, row)
		gaps = gaps || hasGap(row)
	}
	for _, v := range [][]float64{r.TimeS, r.CoreC, r.ColdestC, r.BottomC, r.TopC, r.RimC, r.MeanC, r.PanC} {
		gaps = gaps || hasGap(v)
	}
	if gaps {
		o.Notes = append(o.Notes, fault.Notef("not-finite", "a value that is no finite number is printed as null"))
	}
	for _, m := range s.moments {
		lab := s.model.CutColour(m.core)
		jm := simulateMoment{What: m.word, TimeS: m.timeS, CoreC: s.coreAt(m.timeS), Core: []simulateChange{},
			FaceADE: m.done.FaceA.BrowningDeltaE(), FaceBDE: m.done.FaceB.BrowningDeltaE(), Colour: [3]float64{lab.L, lab.A, lab.B}}
		for _, c := range s.model.Changes(m.core) {
			jm.Core = append(jm.Core, simulateChange{c.ID, c.Says, 100 * c.Share, c.Note, c.Source})
		}
		o.Moments = append(o.Moments, jm)
	}
	return o
}

func notNil(v []float64) numbers {
	if v == nil {
		return numbers{}
	}
	return v
}

func hasGap(v []float64) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return true
		}
	}
	return false
}
