package stats

import (
	"encoding/json"

	"trivet/fault"
)

// Formats of the JSON forms of comparisons of other responses.
const (
	YesNoFormat = "trivet/compare-yes-no/1"
	GradeFormat = "trivet/compare-grades/1"
	CountFormat = "trivet/compare-counts/1"
)

// estimated is the part all contrasts share: an estimate with its 95 %
// interval, two-sided p, and the names of what is compared.
type estimated struct {
	Treatment string   `json:"treatment"`
	Control   string   `json:"control"`
	Estimate  *float64 `json:"estimate"`
	CILow     *float64 `json:"ci_low"`
	CIHigh    *float64 `json:"ci_high"`
	P         *float64 `json:"p_value"`
}

func newEstimated(treatment, control string, estimate, p float64, ci Interval) estimated {
	return estimated{treatment, control, finite(estimate), finite(ci.Low), finite(ci.High), finite(p)}
}

type blockDifference struct {
	estimated
	Blocks int `json:"n_blocks"`
}

func newBlockDifference(e BlockEffect) blockDifference {
	return blockDifference{newEstimated(e.Treatment, e.Control, e.Estimate, e.P(Either, 0), e.Interval(0.95)), e.Blocks}
}

type odds struct {
	LogOdds *float64 `json:"log_odds"`
	SE      *float64 `json:"log_odds_se"`
	P       *float64 `json:"log_odds_p"`
}

// MarshalJSON writes shares with their 95 % intervals; numbers that do not
// exist are null.
func (c YesNoComparison) MarshalJSON() ([]byte, error) {
	type contrast struct {
		estimated
		odds
		Paired        bool     `json:"paired"`
		Both          int      `json:"both"`
		TreatmentOnly int      `json:"treatment_only"`
		ControlOnly   int      `json:"control_only"`
		Neither       int      `json:"neither"`
		McNemarP      *float64 `json:"mcnemar_p"`
	}
	rows := []contrast{}
	for _, k := range c.Contrasts {
		rows = append(rows, contrast{
			newEstimated(k.Treatment, k.Control, k.Difference, k.P(Either, 0), k.Interval(0.95)),
			odds{finite(k.LogOdds), finite(k.LogOddsSE), finite(k.LogOddsP)},
			k.Paired, k.Both, k.TreatmentOnly, k.ControlOnly, k.Neither, finite(k.McNemarP),
		})
	}
	return json.Marshal(struct {
		Format    string       `json:"format"`
		Method    string       `json:"method"`
		Contrasts []contrast   `json:"contrasts"`
		Notes     []fault.Note `json:"notes"`
	}{YesNoFormat, c.Method, rows, nonNil(c.Notes)})
}

// MarshalJSON writes differences in grades and in ranks with their 95 %
// intervals.
func (c GradeComparison) MarshalJSON() ([]byte, error) {
	type contrast struct {
		blockDifference
		odds
		Ranks blockDifference `json:"ranks"`
	}
	rows := []contrast{}
	for _, k := range c.Contrasts {
		rows = append(rows, contrast{newBlockDifference(k.BlockEffect),
			odds{finite(k.LogOdds), finite(k.LogOddsSE), finite(k.LogOddsP)}, newBlockDifference(k.Ranks)})
	}
	return json.Marshal(struct {
		Format        string       `json:"format"`
		Method        string       `json:"method"`
		Thresholds    []float64    `json:"thresholds"`
		BlockVariance *float64     `json:"block_variance"`
		Contrasts     []contrast   `json:"contrasts"`
		Notes         []fault.Note `json:"notes"`
	}{GradeFormat, c.Method, nonNil(c.Thresholds), finite(c.BlockVariance), rows, nonNil(c.Notes)})
}

// MarshalJSON writes log rate ratios and differences of counts with their
// 95 % intervals.
func (c CountComparison) MarshalJSON() ([]byte, error) {
	type contrast struct {
		estimated
		SE     *float64        `json:"se"`
		DF     *float64        `json:"df"`
		Counts blockDifference `json:"counts"`
	}
	rows := []contrast{}
	for _, k := range c.Contrasts {
		rows = append(rows, contrast{newEstimated(k.Treatment, k.Control, k.LogRatio, k.P(Either, 0), k.Interval(0.95)),
			finite(k.SE), finite(k.DF), newBlockDifference(k.Blocks)})
	}
	return json.Marshal(struct {
		Format     string       `json:"format"`
		Method     string       `json:"method"`
		Dispersion *float64     `json:"dispersion"`
		Contrasts  []contrast   `json:"contrasts"`
		Notes      []fault.Note `json:"notes"`
	}{CountFormat, c.Method, finite(c.Dispersion), rows, nonNil(c.Notes)})
}
