package heat

import "trivet/fault"

// Result is what a simulated cook gives. Times are seconds from the cook's
// start, temperatures °C. All series have the length of TimeS.
type Result struct {
	ModelVersion int         `json:"model_version"`
	TimeS        []float64   `json:"time_s"`    // multiples of Output.EveryS up to the last leg's end, both included
	CoreC        []float64   `json:"core_c"`    // geometric centre
	ColdestC     []float64   `json:"coldest_c"` // coldest point
	BottomC      []float64   `json:"bottom_c"`  // side A of the piece, the side that starts down
	TopC         []float64   `json:"top_c"`     // side B
	RimC         []float64   `json:"rim_c,omitempty"`
	MeanC        []float64   `json:"mean_c"`
	PanC         []float64   `json:"pan_c,omitempty"` // when a pan stands under the piece in any leg; NaN-free: holds its last value
	DepthM       []float64   `json:"depth_m"`
	DepthC       [][]float64 `json:"depth_c"` // [time][depth], on the axis of a disc

	Events  []Event      `json:"events"`
	Legs    []LegResult  `json:"legs"`
	Summary Summary      `json:"summary"`
	LedgerM *Ledger      `json:"ledger_j_m2,omitempty"` // slab
	LedgerJ *Ledger      `json:"ledger_j,omitempty"`    // disc
	Notes   []fault.Note `json:"notes,omitempty"`

	Grid      Grid       `json:"-"`
	Snapshots []Snapshot `json:"-"` // in order of time
	PeakC     []float64  `json:"-"` // highest temperature each cell reached
	Stats     Stats      `json:"-"`
}

// Event is a thing that happened in the cook: "leg sear", "turn 3",
// "top changes", "end of leg sear: core 45.0 °C".
type Event struct {
	TimeS float64   `json:"t_s"`
	What  string    `json:"what"`
	Kind  EventKind `json:"kind"`
	Leg   int       `json:"leg"`
}

// EventKind sorts events for machines.
type EventKind string

// Kinds of event.
const (
	LegStart    EventKind = "leg"
	Turned      EventKind = "turn"
	ActionStart EventKind = "action"
	LegEnd      EventKind = "end"
	Remark      EventKind = "remark"
)

// LegResult sums up one leg.
type LegResult struct {
	Name      string  `json:"name"`
	Rest      bool    `json:"rest"`
	StartS    float64 `json:"start_s"`
	EndS      float64 `json:"end_s"`
	Turns     int     `json:"turns"`
	CoreStart float64 `json:"core_start_c"`
	CoreEnd   float64 `json:"core_end_c"`
}

// Summary holds the responses of a cook. Pointers are null without a rest.
// Losses are percent of the raw mass; Drip + Evaporated + Boiled = Loss.
type Summary struct {
	PullTimeS     *float64 `json:"pull_time_s"` // start of the first trailing rest
	CoreAtPullC   *float64 `json:"core_at_pull_c"`
	CorePeakC     *float64 `json:"core_peak_c"`    // highest core from the pull on
	CarryoverK    *float64 `json:"carryover_k"`    // peak − pull
	TimeToPeakS   *float64 `json:"time_to_peak_s"` // from the pull
	SurfaceAtEndC float64  `json:"surface_at_end_c"`
	EvenSharePct  float64  `json:"even_share_pct"` // of the thickness, at pull (at the end without a rest)
	EvenBandK     float64  `json:"even_band_k"`
	LossPct       float64  `json:"loss_pct"`
	DripPct       float64  `json:"drip_pct"`
	EvaporatedPct float64  `json:"evaporated_pct"`
	BoiledPct     float64  `json:"boiled_pct"`
}

// Ledger books the heat of a cook, J (J/m² of face for a slab). Heat into
// the piece is positive in the faces; the outflows Evaporation, Boiling and
// Drip are positive when heat leaves. It closes:
//
//	Bottom.In + Top.In + Rim.In = Stored + Evaporation + Boiling + Drip + Residual.
//
// Faces are those of the conditions, not of the piece: Bottom is whatever
// lay on the heat. Enthalpies count from liquid at 0 °C, so water that leaves
// takes along its warmth above 0 °C.
type Ledger struct {
	Bottom FaceHeat `json:"bottom"`
	Top    FaceHeat `json:"top"`
	Rim    FaceHeat `json:"rim"`

	Stored      float64 `json:"stored"`      // enthalpy gained by what is left of the piece, negative when its water took more away than came in
	Evaporation float64 `json:"evaporation"` // latent and sensible heat of water evaporated from faces
	Boiling     float64 `json:"boiling"`     // latent and sensible heat of water boiled inside
	Drip        float64 `json:"drip"`        // sensible heat of dripped juice
	Residual    float64 `json:"residual"`
	Throughput  float64 `json:"throughput"` // sum of the absolute flows, the scale of Residual
}

// FaceHeat is the heat a face gave to the piece, by cause.
type FaceHeat struct {
	In           float64 `json:"in"` // sum of the causes below
	Contact      float64 `json:"contact"`
	Convection   float64 `json:"convection"`
	Radiation    float64 `json:"radiation"`
	Fat          float64 `json:"fat"`
	Condensation float64 `json:"condensation"`
	Prescribed   float64 `json:"prescribed"` // prescribed temperature or flux
}

// Grid describes the cells. Cell (i, j) is index i·RadialCells + j, i from
// side A to side B, j from the axis outwards; a slab has one radial cell.
type Grid struct {
	Shape       Shape
	ThicknessM  float64
	DiameterM   float64   // 0 for a slab
	DepthsM     []float64 // cell centres from side A, raw piece
	EdgesM      []float64 // cell edges from side A, one more than DepthsM
	RadialCells int
	RadiiM      []float64 // cell centres from the axis; [0] for a slab
	RadialEdges []float64
}

// Snapshot is the whole field at one moment, of the piece as cells: side A
// first, whichever way up it lies.
type Snapshot struct {
	TimeS     float64
	What      string    // "asked", "pull" or "end"
	TempC     []float64 // by cell
	PeakC     []float64 // highest so far, by cell
	WaterPct  []float64 // water left, percent of the raw water, by cell
	DryShare  []float64 // share of the cell boiled dry, by cell
	FaceA     []float64 // face temperature of side A by radial cell
	FaceB     []float64
	Rim       []float64 // by axial cell; nil for a slab
	SideADown bool
}

// Stats tells what a run cost.
type Stats struct {
	Cells      int
	Steps      int // accepted
	Rejected   int
	Newton     int // Newton iterations
	LegsRerun  int // extra runs of a leg to place actions counted from its end
	WorstStepK float64
}
