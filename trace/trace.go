// Package trace holds sensor channels and their samples over time.
//
// Samples keep the resolution of their source: a value is an integer count
// times a quantum in the source's own unit, and is converted when read. A
// missing sample is a bit, never a NaN. Times are microseconds.
//
// [Build] makes a trace from floats, [Trace.Value] and [Trace.Points] read it
// in °C or g, [Encode] and [Decode] store it without loss (FORMAT.md).
// [Trace.At] and [Trace.Resample] read between samples and never fill a gap
// longer than the caller allows. [Detect] offers the events of a cook.
package trace

// Unit is the unit a channel was recorded in.
type Unit string

// Units a channel may be recorded in. Conversions happen on read.
const (
	DegC    Unit = "degC"
	DegF    Unit = "degF"
	Kelvin  Unit = "K"
	Gram    Unit = "g"
	Ounce   Unit = "oz"
	Percent Unit = "pct"
	Watt    Unit = "W"
	NoUnit  Unit = ""
)

// Place is what a sensor measures.
type Place string

// Places of a sensor. Core is the sensor meant for the geometric centre;
// Depth stands at Channel.DepthM from side A (the side that starts down).
const (
	Core    Place = "core"
	Depth   Place = "depth"
	Surface Place = "surface" // on or just under a face; Channel.Side says which
	Pan     Place = "pan"
	Air     Place = "air"
	Fat     Place = "fat"
	Bath    Place = "bath"
	Scale   Place = "scale" // mass of the piece
	Other   Place = "other"
)

// Channel is one sensor's place and quantity.
type Channel struct {
	ID         string  `json:"id" yaml:"id"`                                       // unique in a cook, e.g. "core", "d10"
	Place      Place   `json:"place" yaml:"place"`                                 // what it measures
	Unit       Unit    `json:"unit" yaml:"unit"`                                   // unit of the recorded values
	DepthM     float64 `json:"depth_m,omitempty" yaml:"depth_m,omitempty"`         // from side A, metres; Place Depth only
	Side       string  `json:"side,omitempty" yaml:"side,omitempty"`               // "A" or "B"; Place Surface only
	Sensor     string  `json:"sensor,omitempty" yaml:"sensor,omitempty"`           // instrument id
	Class      string  `json:"class,omitempty" yaml:"class,omitempty"`             // tolerance class, e.g. "T special"
	OffsetK    float64 `json:"offset_k,omitempty" yaml:"offset_k,omitempty"`       // reading − truth found at the ice point, K; subtracted on read
	CheckedUK  float64 `json:"checked_u_k,omitempty" yaml:"checked_u_k,omitempty"` // standard uncertainty of that check, K; 0 = not checked
	SourceName string  `json:"source_name,omitempty" yaml:"source_name,omitempty"` // column header or topic it came from
}

// Trace is one channel's samples over time.
//
// Times are in µs, strictly increasing: since the Unix epoch (UTC) when
// Elapsed is false, since the start of the log when it is true. OffsetMin is
// the recorded local offset from UTC in minutes, for display only.
type Trace struct {
	Channel   Channel
	Elapsed   bool
	OffsetMin int
	TimesUS   []int64
	Counts    []int64 // value = Counts[i] × Quantum, in Channel.Unit
	Quantum   float64 // e.g. 0.1
	Missing   Bitmap  // set bits mark samples without a value; their count is 0
	Source    string  // SHA-256 of the raw file, hex
}

// Bitmap is a set of sample indices. The zero value is empty.
type Bitmap struct{ words []uint64 }

// Set marks index i.
func (b *Bitmap) Set(i int) {
	for i>>6 >= len(b.words) {
		b.words = append(b.words, 0)
	}
	b.words[i>>6] |= 1 << (i & 63)
}

// Has reports whether index i is marked.
func (b Bitmap) Has(i int) bool {
	return i>>6 < len(b.words) && b.words[i>>6]>>(i&63)&1 == 1
}
