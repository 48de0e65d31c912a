package figure

import "fmt"

// RGB is an opaque sRGB colour, 0xRRGGBB.
type RGB uint32

// String renders the colour as #rrggbb.
func (c RGB) String() string { return fmt.Sprintf("#%06x", uint32(c)) }

func (c RGB) parts() (r, g, b uint8) { return uint8(c >> 16), uint8(c >> 8), uint8(c) }

// Role is what a colour is for.
type Role uint8

// Roles. S1 to S6 tell treatments apart, each with a dash and a marker of
// its own (see [StyleOf]).
const (
	NoRole Role = iota
	Paper       // background
	Ink         // text and main strokes
	Muted       // secondary text, axes
	Grid        // grid lines
	Band        // zone of the margin
	S1
	S2
	S3
	S4
	S5
	S6
	roleCount
)

var roleNames = [roleCount]string{"", "paper", "ink", "muted", "grid", "band", "s1", "s2", "s3", "s4", "s5", "s6"}

// Theme resolves roles to colours.
type Theme struct {
	Name   string
	colour [roleCount]RGB
}

// Colour returns the theme's colour for a role.
func (t Theme) Colour(r Role) RGB { return t.colour[r] }

// Resolve returns the colour of a paint in the theme.
func (t Theme) Resolve(p Paint) RGB {
	if p.Fixed != nil {
		return *p.Fixed
	}
	return t.colour[p.Role]
}

// Colours of Okabe M. and Ito K., "Color Universal Design: how to make
// figures and presentations that are friendly to colorblind people", 2008.
// Their yellow is left out: it vanishes on white paper.
const (
	okabeBlue       RGB = 0x0072b2
	okabeVermillion RGB = 0xd55e00
	okabeGreen      RGB = 0x009e73
	okabePurple     RGB = 0xcc79a7
	okabeOrange     RGB = 0xe69f00
	okabeSky        RGB = 0x56b4e9
)

// Themes. On dark paper blue and sky, vermillion and orange change places,
// so that the first treatments keep their hue and stand out. Print is Light
// on pure white.
var (
	Light = Theme{"light", [roleCount]RGB{
		Paper: 0xfffefb, Ink: 0x1c1b19, Muted: 0x5a5750, Grid: 0xe3dfd6, Band: 0xece7d9,
		S1: okabeBlue, S2: okabeVermillion, S3: okabeGreen, S4: okabePurple, S5: okabeOrange, S6: okabeSky,
	}}
	Dark = Theme{"dark", [roleCount]RGB{
		Paper: 0x171614, Ink: 0xf0ede6, Muted: 0xb5b0a5, Grid: 0x34322d, Band: 0x38352b,
		S1: okabeSky, S2: okabeOrange, S3: okabeGreen, S4: okabePurple, S5: okabeVermillion, S6: okabeBlue,
	}}
	Print = Theme{"print", func() [roleCount]RGB {
		c := Light.colour
		c[Paper], c[Ink], c[Muted] = 0xffffff, 0x000000, 0x444444
		c[Grid], c[Band] = 0xdddddd, 0xe8e8e8
		return c
	}()}
)

// Shape is the form of a point marker.
type Shape uint8

// Shapes of a marker.
const (
	Disc Shape = iota
	Square
	Triangle
	Diamond
	Plus
	Cross
)

// Style tells one series from the others without colour.
type Style struct {
	Role   Role
	Shape  Shape
	Dash   []float64 // in stroke widths; nil is solid
	Hollow bool
}

// StyleOf returns the style of the i-th treatment, from 0. After six, colours
// return with hollow markers.
func StyleOf(i int) Style {
	dashes := [6][]float64{nil, {5, 3}, {1.5, 2.5}, {9, 3, 1.5, 3}, {12, 4}, {4, 2, 1.5, 2, 1.5, 2}}
	k := i % 6
	return Style{Role: S1 + Role(k), Shape: Shape(k), Dash: dashes[k], Hollow: i >= 6}
}

// dash returns the dash pattern for a stroke of the given width.
func (s Style) dash(width float64) []float64 {
	if s.Dash == nil {
		return nil
	}
	d := make([]float64, len(s.Dash))
	for i, v := range s.Dash {
		d[i] = v * width
	}
	return d
}

// Marker returns a marker of radius r in the style.
func (s Style) Marker(c Point, r float64) Node {
	p := Path{Fill: Of(s.Role), Stroke: Of(Paper), Width: r / 4}
	switch s.Shape {
	case Disc:
		p.Segs = Circle(c, r)
	case Square:
		a := r * 0.88
		p.Segs = Box{c.X - a, c.Y - a, 2 * a, 2 * a}.Path()
	case Triangle:
		a := r * 1.2
		p.Segs = Polygon(Point{c.X, c.Y - a}, Point{c.X + a, c.Y + a*0.8}, Point{c.X - a, c.Y + a*0.8})
	case Diamond:
		a := r * 1.25
		p.Segs = Polygon(Point{c.X, c.Y - a}, Point{c.X + a, c.Y}, Point{c.X, c.Y + a}, Point{c.X - a, c.Y})
	case Plus, Cross:
		a, b := r*1.1, 0.0
		if s.Shape == Cross {
			a = r * 0.85
			b = a
		}
		p.Segs = append(Polyline(Point{c.X - a, c.Y - b}, Point{c.X + a, c.Y + b}),
			Polyline(Point{c.X + b, c.Y - a}, Point{c.X - b, c.Y + a})...)
		p.Fill, p.Stroke, p.Width = Paint{}, Of(s.Role), r*0.6
		return p
	}
	if s.Hollow {
		p.Fill, p.Stroke, p.Width = Of(Paper), Of(s.Role), r*0.45
	}
	return p
}
