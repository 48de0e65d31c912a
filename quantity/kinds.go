package quantity

// Kind is what an amount measures.
type Kind string

// Kinds of amount.
const (
	KindTemperature Kind = "temperature" // SI value in °C
	KindDifference  Kind = "difference"  // K
	KindLength      Kind = "length"      // m
	KindMass        Kind = "mass"        // kg
	KindDuration    Kind = "duration"    // s
	KindPercent     Kind = "percent"     // %
	KindPoints      Kind = "points"      // percentage points
	KindNumber      Kind = "number"      // no unit
	KindOther       Kind = "other"       // a unit this package does not convert, kept as written
)

// MarginKind is how a margin is to be read.
type MarginKind string

// Kinds of margin.
const (
	MarginPoints MarginKind = "points" // percentage points of a response in %
	MarginRatio  MarginKind = "ratio"  // a ratio: 10 % means a factor 1.10
	MarginAmount MarginKind = "amount" // an amount in the response's unit
)

// Margin is the smallest difference that matters.
type Margin struct {
	MarginKind MarginKind
	Value      float64 // points; the ratio 0.10 for "10 %"; or SI of Kind
	Kind       Kind    // of an amount margin
	Unit       string  // unit as written, e.g. "N"
	Text       string  // as written
}

// Amount is any parsed amount: SI value, kind, and an optional ± part in the
// same SI unit (a difference for temperatures).
type Amount struct {
	Kind  Kind
	Value float64
	Pm    float64 // 0 when no ± was written
	HasPm bool
	Unit  string // unit as written
	Text  string
}
