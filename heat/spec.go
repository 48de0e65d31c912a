package heat

// ModelVersion is the version of the heat and moisture model. Results carry
// it; it rises whenever the same specification would give other numbers.
const ModelVersion = 1

// Spec is a fully typed cook: what the piece is, what touches it when, and
// what to write down. All values are SI, temperatures in °C. The zero value
// of an optional field means its documented default.
type Spec struct {
	Piece    Piece
	Moisture Moisture
	// AltitudeM sets the air pressure by the standard atmosphere. PressurePa,
	// when not 0, is used instead.
	AltitudeM  float64
	PressurePa float64
	Legs       []Leg
	Output     Output
}

// Shape is the geometry of a piece.
type Shape string

// Shapes. A slab conducts through its thickness only and its results are per
// square metre of face; a disc is axisymmetric with a rim.
const (
	Slab Shape = "slab"
	Disc Shape = "disc"
)

// Piece is what is cooked. Exactly one of Food, Composition and a complete
// Material is needed; Material may also override single properties of the
// other two.
type Piece struct {
	Shape      Shape
	ThicknessM float64
	DiameterM  float64 // disc only
	StartC     float64 // uniform start temperature
	// StartProfile, when not empty, is the start temperature by depth from
	// side A, increasing in depth; linear between points, constant outside.
	StartProfile []ProfilePoint
	Food         string       // a name of the table Foods
	Composition  *Composition // mass shares; need not sum to 1
	Material     Material
	Mixing       Mixing // "" is MaxwellEucken
}

// ProfilePoint is a temperature at a depth from side A.
type ProfilePoint struct {
	DepthM float64
	TempC  float64
}

// Material gives constants instead of the composition's properties. 0 means
// not given.
type Material struct {
	Conductivity float64 // W/(m·K), of the moist food at any temperature
	Density      float64 // kg/m³, at the start
	SpecificHeat float64 // J/(kg·K), of food and of its water alike
	Water        float64 // mass share of water; needed for moisture without a composition

	CrustConductivity float64 // W/(m·K) of the dry crust; 0 is DefaultCrustConductivity
	CrustSpecificHeat float64 // J/(kg·K) of the dry crust; 0 is that of the solids
}

// Moisture sets evaporation, boiling and water release. The zero value is
// off: pure conduction.
type Moisture struct {
	On bool
	// Release overrides the food's water-holding capacity; nil takes the
	// food class's default.
	Release *Release
	// DiffusivityM2S is the slow diffusion of water that feeds the surface,
	// m²/s; 0 is DefaultWaterDiffusivity, negative is none.
	DiffusivityM2S float64
	// BoilingRiseK is added to the boiling point of water for solutes.
	BoilingRiseK float64
	// Shrinkage is the share of the lost water's volume by which the piece
	// shrinks, 0–1 (through its thickness).
	Shrinkage float64
}

// Release is the water-holding capacity and its rate,
//
//	X_eq(T) = X0·[1 − A1·S((T−T1C)/W1K) − A2·S((T−T2C)/W2K)],  S logistic,
//	dX/dt   = −k(T)·(X − X_eq(T)) where X > X_eq, else 0,
//	k(T)    = RatePerS60·exp(−EaJMol/R·(1/T − 1/333.15 K)),
//
// X in kg of water per kg of dry solids, X0 its raw value.
type Release struct {
	A1, T1C, W1K float64
	A2, T2C, W2K float64
	RatePerS60   float64 // s⁻¹ at 60 °C
	EaJMol       float64 // J/mol
}

// Leg is a stretch of a cook with fixed conditions on every face. Bottom is
// the face on the heat; a turn swaps the piece, not the conditions.
type Leg struct {
	Name        string
	Rest        bool
	Bottom, Top Face
	// Rim is the side of a disc. nil takes Top, or what fat runs over there;
	// where Top is a pan or a board it is still air at 25 °C.
	Rim  Face
	Turn *TurnRule
	Ends EndRule
	Also []Action
}

// TurnRule says when the piece is turned. Exactly one field is set.
type TurnRule struct {
	EveryS float64   // every so many seconds from the leg's start
	AtS    []float64 // at these seconds from the leg's start
	// CoreRiseK turns the piece for the n-th time when the core first
	// reaches its temperature at the leg's start plus n·CoreRiseK.
	CoreRiseK float64
}

// EndRule ends a leg at the first of its set conditions. In a leg that is
// not a rest a temperature is reached from below, and one already reached
// at the leg's start ends the leg at once. In a rest it is reached from
// whichever side the rest begins on.
type EndRule struct {
	TimeS    *float64 // seconds from the leg's start
	CoreC    *float64 // geometric centre
	SurfaceC *float64 // mean of both faces
	ColdestC *float64 // coldest point
}

// Action replaces faces from some moment of a leg until its end. Exactly one
// of FromTurnsBeforeEnd, LastS and FromS is set.
type Action struct {
	// FromTurnsBeforeEnd k starts the action at turn N−k+1 of the leg's N
	// turns. Where the action itself changes N so that no start fits, the
	// latest start that still leaves at least k turns is taken and an event
	// says so.
	FromTurnsBeforeEnd int
	LastS              float64  // starts so many seconds before the leg's end
	FromS              *float64 // starts so many seconds after the leg's start

	Bottom, Top, Rim Face // nil leaves a face as it is
}

// Output says what to write down.
type Output struct {
	EveryS  float64   // 0 is 5 s
	DepthsM []float64 // from side A of the raw piece, increasing or not
	// SnapshotsS are moments, in seconds from the cook's start, at which the
	// whole field is kept; the pull and the end are always kept.
	SnapshotsS []float64
	// EvenBandK is the half-width of the band of even_share; 0 is 5 K.
	EvenBandK float64
}

// Series is a value over time, linear between points and constant outside.
// Times are seconds from the start of the leg that uses it.
type Series struct {
	TimesS []float64
	Values []float64
}

// Options are numerical choices. The zero value takes the default grid and
// tolerance: 32 cells and 0.05 K for a moist slab, 28 × 12 and 0.1 K for a
// moist disc; 48 and 40 × 22 cells and 0.005 K with moisture off.
type Options struct {
	Cells       int     // through the thickness; 0 is the default
	RadialCells int     // of a disc; 0 is the default
	TolK        float64 // local error of a step, K rms; 0 is the default
	MaxStepS    float64 // 0 is 60 s
	// Fast takes a coarser grid and looser steps where the fields above are
	// 0, for sampling and fitting.
	Fast bool
	// Observer, when not nil, sees every accepted step in order.
	Observer Observer
}

// Observer follows the temperature field of a cook, for doses that depend on
// the history: denatured protein, browning, lethality.
type Observer interface {
	// Begin is called once before the first step.
	Begin(g Grid)
	// Step is called after each accepted step. Its slices are valid only
	// during the call.
	Step(s Step)
}

// Step is one accepted step of the solver.
type Step struct {
	FromS, ToS     float64
	FromC, ToC     []float64 // cell temperatures at both ends
	FromCoreC      float64
	ToCoreC        float64
	FromColdestC   float64
	ToColdestC     float64
	FromA, ToA     float64 // face temperatures of side A
	FromB, ToB     float64
	SideADown      bool
	Leg            int
	WaterKg        []float64 // water left in each cell, kg (kg/m² for a slab)
	DrySolidsKg    []float64
	SurfaceDryness [2]float64 // dried share of the outermost cell at A and B, 0–1
}
