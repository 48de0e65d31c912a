// Package study holds the records of an inquiry into a cooking claim: the
// study document, its pieces and cooks, validation, the seal and the history.
//
// Start with [Parse], which reads a study document and says everything that
// is wrong with it, and [Check], which says what is missing or doubtful in
// one that can be read. [Starter] writes a document to fill in, [Document]
// edits one without touching its other bytes, [Marshal] writes one afresh.
// [SealNow] hashes the plan and [Compare] names what changed since; [Chain]
// and [VerifyChain] keep the history.
//
// The format is described in docs/study-document.md and, for editors, by
// [Schema]. Within one [FormatVersion] fields are only added.
package study

import (
	"cmp"
	"slices"
	"time"

	"trivet/quantity"
)

// FormatVersion is the version of the study document read and written here.
const FormatVersion = 1

// Study is one inquiry: the parsed study document.
type Study struct {
	ID         string // slug, from the document or its title
	Title      string
	Format     int
	Claim      Claim
	Questions  []Question
	Treatments []Treatment
	Blocks     Blocks
	Controlled []Control // hard tolerances, in document order
	VoidRules  []VoidRule
	Readings   []ReadingDef // responses a person types in
	Risk       Risk
	Design     Design
	Foods      Foods // what is handled and eaten: drives the cautions
	// Instruments are the sensors and scales, and what they read at known
	// points; channels name them.
	Instruments []Instrument
	Lots        []Lot
	Pieces      []Piece
	Tastings    []Tasting
	Cooks       []Cook // cooks written by hand in the document; others live in the notebook
	Licence     string // SPDX id of the published data
	Authors     []string
	Invented    bool // the demo's data are invented and every output says so
	// UTCOffset is where clock times without their own offset were read,
	// in minutes east of UTC; HasUTCOffset is false when the document does
	// not say.
	UTCOffset    int
	HasUTCOffset bool
}

// Claim is the sentence under test.
type Claim struct {
	Says    string // the sentence
	Scope   string // food, cut, method
	Fair    string // why this contrast is a fair test
	Against string // what would count against it
}

// Direction is the way a claim says a response moves.
type Direction string

// Directions of a claim.
const (
	Higher Direction = "higher"
	Lower  Direction = "lower"
	Either Direction = "either"
)

// Question asks whether a treatment changes a response, or whether tasters
// can tell. Exactly one of Response and Tasting is set.
type Question struct {
	ID       string
	Ask      string
	Response string    // id of a response
	Compare  Contrast  // treatment against control
	Claim    Direction // default Higher
	// Margin is the smallest difference that matters. An amount is in the
	// unit of the response: that of a built-in response as Responses gives
	// it, or that in which the reading is typed in.
	Margin  quantity.Margin
	Tasting *TastingQuestion
	// Judged marks a reading that rests on a person's judgement; Blind says
	// whether that person did not know the treatment.
	Judged, Blind bool
	// Covariates are measured on the piece before any treatment, and the
	// difference is adjusted for them: thickness, mass, start.
	Covariates []string
	Line       int // line of the question in the document, for messages
}

// Contrast names two treatments.
type Contrast struct {
	Treatment string
	Against   string
}

// TastingQuestion is the plan of a blind tasting.
type TastingQuestion struct {
	Method         string  // triangle, duo-trio, …
	Discriminators float64 // pd, a share 0–1; 0 when DPrime is given
	DPrime         float64
	Alpha, Beta    float64
	For            string // difference | similarity
}

// Treatment is one of the things compared.
type Treatment struct {
	ID      string
	Name    string
	Control bool
	Cook    string            // path of its cook file, relative to the document
	Spec    map[string]any    // its parsed cook file, see [Study.ReadCooks]; nil until then
	Set     map[string]string // settings in words or amounts
}

// Blocks says what the blocks are and how many are planned.
type Blocks struct {
	What   string // e.g. "pork loin"
	Count  int
	Pieces int // pieces per block
	Spares int // spare pieces per block
}

// Control is one controlled quantity with its hard tolerance. Values are SI:
// metres, °C, kilograms, seconds by Kind.
type Control struct {
	Name      string // thickness, start, pan, mass, …
	Kind      quantity.Kind
	Value     float64
	Tolerance float64
	Text      string // as written
}

// VoidRule says, before any data, when a cook does not count.
type VoidRule struct {
	ID   string
	When string // sentence a person applies before seeing the response
}

// Risk holds error rates and the stopping mode.
type Risk struct {
	Alpha float64 // default 0.05
	Power float64 // default 0.8
	// Mode is when the answer may be looked at: fixed (once, at the end),
	// sequential (at any time), group-sequential (at the planned Looks).
	Mode string
	// Looks are the numbers of blocks at which a group-sequential plan is
	// looked at, rising; the last is the planned number.
	Looks    []int
	Spending string // of a group-sequential plan: obrien-fleming (default) | pocock
}

// Interim reports whether the plan allows looking at the answer before its end.
func (r Risk) Interim() bool { return r.Mode == "sequential" || r.Mode == "group-sequential" }

// Design is how pieces were assigned.
type Design struct {
	Kind     string // pairs | blocks | …
	Seed     string // decimal or hex, recorded
	RunOrder []RunSlot
}

// RunSlot is one planned cook.
type RunSlot struct {
	Order     int
	Block     string
	Piece     string
	Treatment string
	Burner    string
	Code      string // weigher's code
}

// Foods lists what is handled and eaten.
type Foods struct {
	Animal    string // beef | pork | lamb | veal | game | chicken | turkey | duck | fish | shellfish | egg | none
	Form      string // intact | ground | tenderised | injected | stuffed
	Allergens []string
	Fat       string // frying or basting fat, if any
	Eaten     bool   // someone eats it
}

// Instrument is a sensor or a scale, and its checks at known points.
type Instrument struct {
	ID      string
	What    string
	Class   string    // tolerance class, e.g. "T special"
	Checked string    // date as written
	IceC    []float64 // what it read in melting ice, °C
	BoilC   []float64 // what it read in boiling water or steam, °C
	// AltitudeM is where it was boiled, metres above sea level.
	AltitudeM float64
	// MassKg and ReadKg are a check mass and what the scale showed for it.
	MassKg, ReadKg float64
	// Pan says how it measures the pan, e.g. "pressed to the middle of its
	// floor"; "" where it does not.
	Pan string
	// LagS is the time constant of a sensor in the food, s: its readings are
	// corrected for it. 0 leaves them.
	LagS float64
	// Stem is what conducts heat along a probe; nil corrects nothing.
	Stem *Stem
	Note string
}

// Stem is the part of a probe between its tip and its handle.
type Stem struct {
	LengthM, DiameterM float64
	ConductivityWMK    float64 // of the stem, W/(m K)
	FilmWM2K           float64 // from the food to the stem, W/(m² K)
	// HandleC is how warm the handle is; nil takes the air channel.
	HandleC *float64
}

// Lot is where food came from.
type Lot struct {
	ID     string
	What   string
	Bought string // date as written
	Note   string
}

// Piece is one experimental unit.
type Piece struct {
	Label      string
	Lot        string
	Block      string
	Position   string    // in the muscle, e.g. "3 from the blade end"
	ThicknessM []float64 // at several points
	MassKg     float64   // raw
	StartC     *float64
	Twin       string // label of the probed twin when this piece is for tasting
	Spare      bool
}

// ReadingDef declares a response that a person types in: its scale once for
// all cooks.
type ReadingDef struct {
	ID    string
	What  string
	Kind  ReadingKind
	Unit  string   // of a number
	Scale []string // of a grade, lowest first
	// Judged marks a reading that rests on a person's judgement.
	Judged bool
	// Resolution is the smallest step in which a number is read, in its unit;
	// 0 where nothing says.
	Resolution float64
	// Least and Most are the limits of what a number or a count can be; nil
	// where there are none. A value outside them is a slip of the pen.
	Least, Most *float64
}

// Role is what a cook counts as.
type Role string

// Roles of a cook. A void cook was removed by a sealed rule before its
// response was seen.
const (
	Pilot   Role = "pilot"
	Planned Role = "planned"
	Spare   Role = "spare"
	Void    Role = "void"
)

// Cook is one piece under one treatment. Traces travel beside it: see
// package bench.
type Cook struct {
	ID         string // UUIDv7
	Label      string // unique in a study, e.g. "L01-first"
	Block      string
	Piece      string
	Treatment  string
	Role       Role
	Order      int // run order, from 1; 0 unknown
	Day        string
	ZeroUS     int64 // time of the heat-on mark on the traces' clock, µs
	ZeroSet    bool
	Marks      []Mark
	Weighings  []Weighing
	Readings   []Reading
	Deviations []Deviation
	// Clocks are the corrections of the clocks of its logs and marks, oldest
	// first, with those that were undone.
	Clocks []ClockFix `json:",omitempty"`
	// Photos are in the order they came. Nothing is computed from them.
	Photos   []Photo `json:",omitempty"`
	VoidRule string  // id of the rule when Role is Void
	VoidWhy  string
	VoidedAt time.Time
	Logs     []LogRef
	Line     int // line in the document, 0 when from the notebook
}

// LogRef points to a log file and the map that reads it.
type LogRef struct {
	File   string // path relative to the document
	Map    string // saved column map, "" = guess
	SHA256 string // hex, once loaded
}

// MarkKind names a timed event of a cook.
type MarkKind string

// Kinds of mark.
const (
	HeatOn        MarkKind = "heat-on"
	Turn          MarkKind = "turn"
	FatIn         MarkKind = "fat-in"
	SpooningStart MarkKind = "spooning-start"
	SpooningStop  MarkKind = "spooning-stop"
	OffHeat       MarkKind = "off-heat"
	Cut           MarkKind = "cut"
	Served        MarkKind = "served"
	NoteMark      MarkKind = "note"
	Sync          MarkKind = "sync"
)

// Mark is a timed event, in µs from heat on (negative before it).
type Mark struct {
	ID     string // UUIDv7
	Kind   MarkKind
	AtUS   int64
	Note   string
	Source string // "typed", "detected", …
}

// SortMarks puts marks in order of time; marks of one moment keep theirs.
func SortMarks(marks []Mark) {
	slices.SortStableFunc(marks, func(a, b Mark) int { return cmp.Compare(a.AtUS, b.AtUS) })
}

// Stage is when a weighing was made.
type Stage string

// Stages of a weighing. Losses are all on the raw mass.
const (
	Untrimmed  Stage = "untrimmed" // as bought; no loss is counted from it
	Unblotted  Stage = "unblotted" // trimmed, before blotting; no loss is counted from it
	Raw        Stage = "raw"       // trimmed and blotted, before heat
	AtPull     Stage = "off-heat"  // off the heat
	AfterRest  Stage = "rested"    // after the rest
	AfterCut   Stage = "cut"       // cut and drained
	Drip       Stage = "drip"      // collected drip
	DuringCook Stage = "during"    // on a scale while cooking or resting
)

// Weighing is a timed mass of a piece.
type Weighing struct {
	ID    string // UUIDv7
	Stage Stage
	MassG float64
	AtUS  int64 // from heat on
	HasAt bool
	ResG  float64 // scale resolution, g; 0 unknown
	Note  string
}

// ReadingKind is the scale of a response's values.
type ReadingKind string

// Kinds of reading.
const (
	Number ReadingKind = "number"
	YesNo  ReadingKind = "yes-no" // 1 or 0
	Count  ReadingKind = "count"
	Grade  ReadingKind = "grade" // index into an ordered scale, from 1
)

// Reading is a typed-in response of a cook: repeated values inside the piece
// are averaged, their spread kept, and count as one piece.
type Reading struct {
	ID       string // UUIDv7
	Response string // response id
	Kind     ReadingKind
	Unit     string // as written; "" for yes-no, count and grade
	Values   []float64
	Grades   []string // the ordered scale of a grade, lowest first
	StdU     float64  // standard uncertainty stated with "±"; 0 none
	By       string   // pseudonym of who read it
	Blind    bool
}

// Deviation is something that did not go to plan.
type Deviation struct {
	AtUS int64
	What string
	Why  string
}

// Photo is a picture of a cook as a notebook keeps it: without place, camera or
// anything else but its pixels. The picture is kept apart, by its hash.
type Photo struct {
	ID                string // UUIDv7
	SHA256            string // of the picture as kept, hex
	Type              string // image/jpeg | image/png
	WidthPx, HeightPx int
	Caption           string
	Alt               string    // what it shows, for who does not see it
	TakenAt           time.Time // zero: unknown
	AddedAt           time.Time
	TrashedAt         time.Time // zero: not in the trash
}

// ShownPhotos are the photos of a cook that are not in its trash.
func (c *Cook) ShownPhotos() []Photo {
	var out []Photo
	for _, p := range c.Photos {
		if p.TrashedAt.IsZero() {
			out = append(out, p)
		}
	}
	return out
}

// Tasting is the outcome of a blind tasting as the study keeps it.
type Tasting struct {
	ID       string
	Question string
	Method   string
	N        int
	Correct  int
	Cooks    []string // labels of the cooks its samples came from
	Closed   bool
	Note     string
}

// Seal is the sealed plan: the hash and what was hashed.
type Seal struct {
	Hash      string // SHA-256, hex
	Canonical []byte // RFC 8785 JSON of the sealed parts
	At        time.Time
}

// EventKind names an entry of the append-only history.
type EventKind string

// Kinds of history entry.
const (
	EventCreated  EventKind = "created"
	EventChanged  EventKind = "changed"
	EventSealed   EventKind = "sealed"
	EventLooked   EventKind = "looked" // a look at the answer
	EventVoided   EventKind = "voided"
	EventLoaded   EventKind = "loaded"
	EventImported EventKind = "imported"
)

// Event is one entry of the history; entries chain by hash and are never
// changed.
type Event struct {
	Seq    int64
	At     time.Time
	Study  string
	Kind   EventKind
	What   string // sentence
	Detail string // JSON
	Hash   string // SHA-256(previous hash ‖ this entry), hex
}
