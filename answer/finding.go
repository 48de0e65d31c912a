package answer

import (
	"trivet/fault"
	"trivet/study"
	"trivet/tasting"
)

// FormatVersion is the version of the answer's JSON form.
const FormatVersion = 1

// Answer is what a study's cooks and tastings say about its questions.
type Answer struct {
	Format   int        `json:"format"`
	Study    string     `json:"study"`
	Title    string     `json:"title"`
	Sealed   bool       `json:"sealed"`
	SealHash string     `json:"seal_hash,omitempty"`
	Alpha    float64    `json:"alpha"`
	Mode     string     `json:"mode"`
	Family   int        `json:"family"` // sealed questions on responses, m of the step-down
	Invented bool       `json:"invented"`
	Findings []*Finding `json:"findings"`
	// Changes lists sealed parts that differ from the seal, in words.
	Changes []string `json:"changes_since_seal"`
	// Next says whether to stop or to go on, and why.
	Next  Next         `json:"next"`
	Notes []fault.Note `json:"notes"`
}

// Next is what to do after this look.
type Next struct {
	Action string `json:"action"` // "stop" | "go-on"
	Text   string `json:"text"`
}

// Finding is one question's evidence and verdict.
type Finding struct {
	Question  string          `json:"question"`
	Ask       string          `json:"ask"`
	Response  string          `json:"response,omitempty"`
	Unit      string          `json:"unit,omitempty"`
	Treatment string          `json:"treatment,omitempty"`
	Control   string          `json:"control,omitempty"`
	Claim     study.Direction `json:"claim,omitempty"`
	Margin    string          `json:"margin,omitempty"` // as written

	Evidence *Evidence       `json:"evidence,omitempty"`
	Tasting  *tasting.Result `json:"tasting,omitempty"`

	RawVerdict Verdict      `json:"raw_verdict"`
	Verdict    *Verdict     `json:"verdict"` // null: numbers only
	Printed    string       `json:"printed"`
	Sentence   string       `json:"sentence"`
	WhyNot     []fault.Code `json:"why_not"`
	Checks     []Check      `json:"checks"`
	Notes      []fault.Note `json:"notes"`
}

// Evidence is the estimate of treatment − control with its intervals. On the
// log scale the numbers are logarithms of the ratio treatment/control; Ratio
// tells which.
type Evidence struct {
	Method      string  `json:"method"`
	Ratio       bool    `json:"ratio"`
	MarginValue float64 `json:"margin_value"` // on the analysis scale
	N           int     `json:"n"`            // pieces
	Blocks      int     `json:"n_blocks"`
	Estimate    float64 `json:"estimate"`
	SE          float64 `json:"se"`
	DF          float64 `json:"df"`
	PValue      float64 `json:"p_value"`
	Equivalence float64 `json:"equivalence_p"`
	// Level is a: wide is I(1−a), narrow I(1−2a).
	Level  float64  `json:"verdict_level"`
	Wide   Interval `json:"wide"`
	Narrow Interval `json:"narrow"`
	// SignFlip is the interval at the same level that does not lean on the
	// normal distribution; nil where there are too few blocks for one.
	SignFlip *Interval `json:"sign_flip,omitempty"`
	// NextCook is where the difference of one further pair is expected,
	// at 95 %.
	NextCook       *Interval `json:"next_cook,omitempty"`
	TreatmentMean  float64   `json:"treatment_mean"`
	ControlMean    float64   `json:"control_mean"`
	MeasurementU   float64   `json:"measurement_u"`   // median standard uncertainty of a value
	ResolutionStep float64   `json:"resolution_step"` // coarsest, in the response's unit
	Pairs          []Pair    `json:"pairs"`
	LeaveOneOut    []LeftOut `json:"leave_one_out"`
	// Others is the same comparison by other definitions of the response.
	// They never change the verdict.
	Others []Redefined `json:"other_definitions,omitempty"`
	// Components is where the scatter comes from, largest unit first.
	Components []Component `json:"components"`
	// Unadjusted is the estimate without the covariates, when there are any.
	Unadjusted *float64 `json:"unadjusted,omitempty"`
	More       *More    `json:"more,omitempty"`
}

// Pair is one block's two values, in the response's unit; nil where a piece
// is missing.
type Pair struct {
	Block     string   `json:"block"`
	Treatment *float64 `json:"treatment"`
	Control   *float64 `json:"control"`
}

// LeftOut is the evidence without one block.
type LeftOut struct {
	Block    string   `json:"block"`
	Estimate float64  `json:"estimate"`
	Wide     Interval `json:"wide"`
	Raw      Verdict  `json:"raw_verdict"`
}

// More is how many further blocks would likely settle the question: a range,
// since the scatter is itself uncertain. To is 0 when it is beyond what is
// worth computing.
type More struct {
	From, To int
	Toward   Verdict
	Text     string
}

// Component is one source of scatter of single values, in the unit of the
// response (of logarithms for a ratio).
type Component struct {
	Name     string  `json:"name"` // "block", "day", "piece", "measurement"
	Variance float64 `json:"variance"`
	Share    float64 `json:"share"` // of the total
}

// State is the outcome of a check.
type State string

// States of a check.
const (
	Passed State = "passed"
	Failed State = "failed"
	Unsure State = "unsure" // could not be looked at: the note says why
	// Doubtful is of a cook's record that is in doubt and holds nothing back.
	Doubtful State = "doubtful"
)

// Check is one precondition of a verdict.
type Check struct {
	Code  fault.Code `json:"code"`
	State State      `json:"state"`
	Text  string     `json:"text"`
}

// would is the verdict had the plan been sealed: the numbers', unless a check
// holds it back.
func (f *Finding) would() Verdict {
	if f.RawVerdict.Settled() && len(f.held()) > 0 {
		return Unsettled
	}
	return f.RawVerdict
}

// held lists what holds a settled verdict back.
func (f *Finding) held() []string {
	var out []string
	for _, c := range f.Checks {
		if c.State == Failed {
			out = append(out, c.Text)
		}
	}
	return out
}
