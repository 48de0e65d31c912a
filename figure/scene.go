package figure

import (
	"math"

	"trivet/fault"
)

// Figure is what every chart of this package offers.
type Figure interface {
	// Scene lays the figure out. Errors are of kind Content: "figure-empty"
	// when there is nothing to draw, "figure-input" when inputs disagree.
	Scene(Size, Theme) (*Scene, error)
	// Table gives what is drawn as rows, for CSV and for screen readers.
	Table() Table
	// Alt says in a sentence or two what the figure shows.
	Alt() string
}

// Table is the content of a figure as text. Every row has as many cells as
// Columns; an absent value is the empty string.
type Table struct {
	Caption string
	Columns []string
	Rows    [][]string
}

// Size is what a figure is laid out for. Lengths are CSS pixels; Ratio is the
// device pixels per CSS pixel of a PNG. H 0 lets the figure choose its
// height.
type Size struct {
	Name    string
	W, H    float64
	TextPx  float64 // height of body text
	Ratio   float64
	Compact bool // little width: labels go above or below, not beside
}

// Sizes in use. HD and UHD share one layout: a 4K picture is seen at the
// size of a 1080p one, only sharper.
var (
	Phone = Size{Name: "phone", W: 360, TextPx: 13, Ratio: 3, Compact: true}
	Page  = Size{Name: "page", W: 720, TextPx: 14, Ratio: 2}
	HD    = Size{Name: "1080p", W: 1920, H: 1080, TextPx: 34, Ratio: 1}
	UHD   = Size{Name: "4k", W: 1920, H: 1080, TextPx: 34, Ratio: 2}
)

// Point is a position in CSS pixels, y downwards.
type Point struct{ X, Y float64 }

// Box is a rectangle in CSS pixels.
type Box struct{ X, Y, W, H float64 }

// Right returns the right edge of b.
func (b Box) Right() float64 { return b.X + b.W }

// Bottom returns the lower edge of b.
func (b Box) Bottom() float64 { return b.Y + b.H }

// Path returns the outline of b.
func (b Box) Path() []Seg {
	return Polygon(Point{b.X, b.Y}, Point{b.Right(), b.Y}, Point{b.Right(), b.Bottom()}, Point{b.X, b.Bottom()})
}

// SegKind is a step of a path.
type SegKind uint8

// Steps of a path.
const (
	MoveTo  SegKind = iota // to P
	LineTo                 // straight to P
	CurveTo                // cubic Bézier to P by the controls C1 and C2
	Close                  // back to the last MoveTo
)

// Seg is one step of a path.
type Seg struct {
	Kind      SegKind
	C1, C2, P Point
}

// Polyline returns an open path through pts.
func Polyline(pts ...Point) []Seg {
	segs := make([]Seg, len(pts))
	for i, p := range pts {
		segs[i] = Seg{Kind: LineTo, P: p}
	}
	if len(segs) > 0 {
		segs[0].Kind = MoveTo
	}
	return segs
}

// Polygon returns a closed path through pts.
func Polygon(pts ...Point) []Seg { return append(Polyline(pts...), Seg{Kind: Close}) }

// Circle returns a closed path of four cubic arcs; the control distance
// 4(√2−1)/3 keeps the radius to 0.03 %.
func Circle(c Point, r float64) []Seg {
	k := r * 4 * (math.Sqrt2 - 1) / 3
	return []Seg{
		{Kind: MoveTo, P: Point{c.X + r, c.Y}},
		{Kind: CurveTo, C1: Point{c.X + r, c.Y + k}, C2: Point{c.X + k, c.Y + r}, P: Point{c.X, c.Y + r}},
		{Kind: CurveTo, C1: Point{c.X - k, c.Y + r}, C2: Point{c.X - r, c.Y + k}, P: Point{c.X - r, c.Y}},
		{Kind: CurveTo, C1: Point{c.X - r, c.Y - k}, C2: Point{c.X - k, c.Y - r}, P: Point{c.X, c.Y - r}},
		{Kind: CurveTo, C1: Point{c.X + k, c.Y - r}, C2: Point{c.X + r, c.Y - k}, P: Point{c.X + r, c.Y}},
		{Kind: Close},
	}
}

// Paint is a colour: a role that each theme resolves, or a fixed colour. The
// zero value paints nothing. Alpha 0 means opaque.
type Paint struct {
	Role  Role
	Fixed *RGB // overrides Role
	Alpha float64
}

// Of returns the opaque paint of a role.
func Of(r Role) Paint { return Paint{Role: r} }

// Hex returns a paint the same in every theme, such as a colour of meat.
func Hex(rgb RGB) Paint { return Paint{Fixed: &rgb} }

// Fade returns p at the given opacity, 0 < alpha ≤ 1.
func (p Paint) Fade(alpha float64) Paint { p.Alpha = alpha; return p }

// None reports whether p paints nothing.
func (p Paint) None() bool { return p.Role == NoRole && p.Fixed == nil }

func (p Paint) alpha() float64 {
	if p.Alpha <= 0 || p.Alpha > 1 {
		return 1
	}
	return p.Alpha
}

// Node is a part of a scene: [Path], [Text] or [Group].
type Node interface{ node() }

// Path is a filled, stroked outline. Joins and caps are round, except that a
// dashed line and a Crisp path have butt caps.
type Path struct {
	Segs   []Seg
	Fill   Paint
	Stroke Paint
	Width  float64   // of the stroke, px
	Dash   []float64 // on, off, … px; nil is solid
	Crisp  bool      // no anti-aliasing: abutting cells leave no seam
}

// Anchor is the part of a text that stands at its position.
type Anchor uint8

// Anchors of a text.
const (
	Start Anchor = iota
	Middle
	End
)

// Weight is the cut of the typeface.
type Weight uint8

// Weights.
const (
	Regular Weight = iota
	Bold
	Italic
)

// Text is one line of text on the baseline Y.
type Text struct {
	X, Y   float64
	S      string
	Size   float64 // px
	Weight Weight
	Anchor Anchor
	Fill   Paint
	Turned bool // reads upwards, turned by 90°
	Halo   bool // edged in the paper colour, to stay legible over lines
}

// Group holds nodes together. Title and Desc are read out or shown on
// pointing. Clip, when set, is one closed outline; groups inside a clipped
// group must not clip again.
type Group struct {
	Title, Desc string
	Clip        []Seg
	Nodes       []Node
}

func (Path) node()   {}
func (Text) node()   {}
func (*Group) node() {}

// Scene is a laid-out figure, ready for a back end.
type Scene struct {
	Title, Desc string // accessible name and description
	Size        Size   // H is the laid-out height, never 0
	Theme       Theme
	Root        Group
}

// Add appends nodes to the group.
func (g *Group) Add(n ...Node) { g.Nodes = append(g.Nodes, n...) }

// Sub appends and returns a group that is read out as title.
func (g *Group) Sub(title string) *Group {
	s := &Group{Title: title}
	g.Add(s)
	return s
}

// Line adds a straight stroke.
func (g *Group) Line(x1, y1, x2, y2 float64, p Paint, width float64, dash ...float64) {
	g.Add(Path{Segs: Polyline(Point{x1, y1}, Point{x2, y2}), Stroke: p, Width: width, Dash: dash})
}

// Fill adds a filled box. A negative width or height is drawn the other way.
func (g *Group) Fill(b Box, p Paint) {
	if b.W < 0 {
		b.X, b.W = b.X+b.W, -b.W
	}
	if b.H < 0 {
		b.Y, b.H = b.Y+b.H, -b.H
	}
	g.Add(Path{Segs: b.Path(), Fill: p})
}

// Bounds returns the box that the nodes cover, texts included; what a clip
// hides is not counted.
func (s *Scene) Bounds() Box {
	b := bounds{x0: math.Inf(1), y0: math.Inf(1), x1: math.Inf(-1), y1: math.Inf(-1)}
	b.group(&s.Root)
	if b.x0 > b.x1 {
		return Box{}
	}
	return Box{b.x0, b.y0, b.x1 - b.x0, b.y1 - b.y0}
}

// Texts calls f with each text of the scene and the box it covers.
func (s *Scene) Texts(f func(Text, Box)) { eachText(&s.Root, f) }

func eachText(g *Group, f func(Text, Box)) {
	for _, n := range g.Nodes {
		switch n := n.(type) {
		case Text:
			f(n, n.Box())
		case *Group:
			eachText(n, f)
		}
	}
}

type bounds struct{ x0, y0, x1, y1 float64 }

func (b *bounds) add(x, y float64) {
	b.x0, b.x1 = math.Min(b.x0, x), math.Max(b.x1, x)
	b.y0, b.y1 = math.Min(b.y0, y), math.Max(b.y1, y)
}

func (b *bounds) path(segs []Seg, margin float64) {
	for _, s := range segs {
		if s.Kind == Close {
			continue
		}
		b.add(s.P.X-margin, s.P.Y-margin)
		b.add(s.P.X+margin, s.P.Y+margin)
	}
}

func (b *bounds) group(g *Group) {
	if len(g.Clip) > 0 {
		b.path(g.Clip, 0)
		return
	}
	for _, n := range g.Nodes {
		switch n := n.(type) {
		case Path:
			margin := 0.0
			if !n.Stroke.None() {
				margin = n.Width / 2
			}
			b.path(n.Segs, margin)
		case Text:
			t := n.Box()
			b.add(t.X, t.Y)
			b.add(t.Right(), t.Bottom())
		case *Group:
			b.group(n)
		}
	}
}

// finite reports whether v is a number that anyone could have measured;
// figures treat the rest, and what lies beyond 1e100, as a gap.
func finite(v float64) bool { return math.Abs(v) < 1e100 }

func errEmpty(what, fix string) error {
	return fault.New("figure-empty", "%s has nothing to draw", what).WithFix("%s", fix)
}

func errInput(field, value, format string, args ...any) error {
	return fault.New("figure-input", format, args...).On(field, value)
}
