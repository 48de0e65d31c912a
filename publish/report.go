// Package publish writes a study as a report: one HTML file that reads like a
// short paper with the answer first, and needs no network, no script and no
// other file.
//
// Fill a [Report] and call [Report.WriteHTML] for the page alone, or
// [WriteFolder] for the page with its figures as files and the data beside
// it. The report decides nothing: estimates, verdicts and cautions come in as
// values, and are rounded to two digits of their uncertainty when printed.
package publish

import (
	"time"

	"trivet/fault"
	"trivet/figure"
	"trivet/safety"
)

// Report is all that a published study says. Zero fields are left out of the
// page, except where it must say that something is missing: the seal, the
// licence and the data.
type Report struct {
	Study    string // id
	Title    string
	Authors  []string
	Licence  string    // SPDX id of the data and text; "" prints that none was given
	Made     time.Time // when the report was made, as the caller's clock has it
	Invented bool      // every page and figure says so

	Claim     Claim
	Questions []Question // in the order of the study
	// AnswerLine stacks the questions on responses; nil when there are none.
	AnswerLine *figure.AnswerLine
	Notes      []fault.Note // on the study as a whole

	Plan     Plan
	Cooks    []Cook
	Photos   []CookPhotos // that a brief report shows
	Overview []Exhibit    // figures of all cooks together, e.g. traces in step
	Methods  Methods
	Cautions []safety.Caution // those shown at safety.OnReport
	Data     []DataFile
	Versions []Fact // "trivet" → "0.4.0", "heat model" → "3" …
	Rerun    string // the one command, e.g. "trivet answer ."
}

// Claim is the sentence under test.
type Claim struct {
	Says    string
	Scope   string // food, cut, method
	Fair    string // why the contrast is a fair test
	Against string // what would count against it
}

// Question is one question with its verdict and its evidence.
type Question struct {
	ID      string // slug, the anchor of its section
	Ask     string
	Printed string // the verdict's printed form, e.g. "no difference that matters"
	// Sentence says the answer in full, in words.
	Sentence string
	Settled  bool
	// Sealed false prints that the plan was not sealed before the data.
	Sealed bool

	Treatment, Control string
	Evidence           *Evidence // nil for a tasting, or when there are no numbers
	Facts              []Fact    // further numbers, such as those of a tasting, ready to print
	Exhibits           []Exhibit
	Checks             []Check
	Sensitivity        []string // sentences: leave-one-block-out, sign-flip, …
	OtherWays          []string // sentences: the response by other definitions
	Corrections        []string // changes made to traces before measuring
	WhyNot             []string // why there is no verdict, in words
	Notes              []fault.Note
}

// Evidence is the estimate of treatment minus control.
type Evidence struct {
	Response  string         // name of the response
	Measure   figure.Measure // of the difference, e.g. Kind figure.Points
	Value     figure.Measure // of one value, e.g. Kind figure.Percent
	Estimate  float64
	SE        float64 // standard error
	DF        float64
	Outer     figure.Interval // at Level
	Inner     figure.Interval // at 2·Level − 1
	Level     float64         // 1 − a, e.g. 0.95
	Margin    float64         // δ > 0
	Claim     figure.Direction
	P         float64 // two-sided, of no difference; not finite is left out
	Pieces    int
	Blocks    int
	TreatMean float64 // not finite is left out
	CtrlMean  float64
	// ValueU is the expanded uncertainty of a typical value, ValueK its
	// coverage factor; 0 unknown. ValueMain says where most of it comes from,
	// ValueHalf what would halve it.
	ValueU, ValueK       float64
	ValueMain, ValueHalf string
	SignFlip             *figure.Interval // at Level, without the normal assumption
	NextCook             *figure.Interval // where one further difference is expected, 95 %
	Method               string           // one sentence
}

// Exhibit is a figure with its place in the report.
type Exhibit struct {
	ID      string // slug, unique in the report: file name and anchor
	Figure  figure.Figure
	Caption string // what the figure itself does not say; may be empty
}

// State is the outcome of a check.
type State string

// States of a check.
const (
	Passed State = "passed"
	Failed State = "failed"
	Unsure State = "unsure" // could not be looked at; the text says why
	// Doubtful is of a cook's record that is in doubt and holds nothing back.
	Doubtful State = "doubtful"
)

// Check is one precondition of a verdict.
type Check struct {
	Code  string
	State State
	Text  string
}

// Fact is a term with what is said of it.
type Fact struct{ Term, Text string }

// Plan is the plan and its seal.
type Plan struct {
	Sealed   bool
	Hash     string // SHA-256 of the canonical plan, hex
	At       time.Time
	First    time.Time // first planned cook; zero unknown
	Changes  []string  // sealed parts that differ today, in words
	Facts    []Fact    // design, blocks, risk, stopping rule …
	Controls []Fact    // controlled quantities with their tolerances
	// Instruments are the sensors and scales with their checks.
	Instruments []Fact
	Void        []string // void rules, as sealed
	Order       []Slot   // run order
	History     []Event  // entries of the history worth showing
}

// Slot is one planned cook.
type Slot struct {
	Order                   int
	Block, Piece, Treatment string
	Code                    string // the weigher's code
}

// Event is an entry of the history.
type Event struct {
	At   time.Time
	What string
}

// Cook is one cook as it went.
type Cook struct {
	Label, Block, Piece, Treatment string
	Role                           string // planned, spare, pilot, void
	Order                          int    // run order from 1; 0 unknown
	Day                            string
	VoidWhy                        string
	Traces                         *Exhibit
	Values                         []Value
	Weighings                      []Weighing
	Marks                          []Mark
	Deviations                     []Deviation
	Photos                         []Photo
	Corrections                    []string
	Notes                          []fault.Note
}

// CookPhotos are photos of a cook that a brief report shows.
type CookPhotos struct {
	Cook, Treatment string
	Photos          []Photo
}

// Photo is a picture of a cook, small enough to stand in the page.
type Photo struct {
	JPEG              []byte
	WidthPx, HeightPx int
	Caption           string
	Alt               string // what it shows; "" when nobody said
	Taken             string // when, ready to print; "" unknown
}

// Value is one measured response of a cook.
type Value struct {
	Name    string
	Measure figure.Measure
	Value   float64 // not finite prints as missing
	U       float64 // expanded uncertainty, 95.45 %; 0 unknown
	// Low and High are printed in place of U where the interval is far from
	// even; both 0 else.
	Low, High float64
}

// Weighing is a mass of the piece.
type Weighing struct {
	Stage string // "raw", "off heat", "rested" …
	MassG float64
	ResG  float64 // scale resolution; 0 unknown
	AtS   float64 // from heat on
	HasAt bool
	Note  string
}

// Mark is a timed event, in seconds from heat on.
type Mark struct {
	AtS  float64
	What string
	Note string
}

// Deviation is something that did not go to plan.
type Deviation struct {
	AtS       float64
	HasAt     bool
	What, Why string
}

// Methods says in plain words how things were defined and decided.
type Methods struct {
	Responses []Fact   // response → its definition, unit and uncertainty
	Verdict   []string // paragraphs; nil prints the standard account
	More      []Fact   // tasting method, models, software …
	Sources   []string // references
}

// DataFile is one file of the data beside the report.
type DataFile struct {
	Path   string // relative, with slashes, e.g. "data/cooks.csv"
	What   string
	SHA256 string // hex
	Bytes  int64
}
