package figure

import (
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"

	"github.com/srwiley/rasterx"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// PNGOptions choose how a PNG is written.
type PNGOptions struct {
	Transparent bool    // no paper: for overlays
	Ratio       float64 // device pixels per CSS pixel; 0 means Size.Ratio
}

// WritePNG writes the scene as an anti-aliased 8-bit RGBA PNG.
func (s *Scene) WritePNG(w io.Writer, o PNGOptions) error {
	enc := png.Encoder{CompressionLevel: png.DefaultCompression}
	return enc.Encode(w, s.Image(o))
}

// mostPixels bounds a picture: four bytes each, three times a 4K screen.
const mostPixels = 25e6

// Image draws the scene.
func (s *Scene) Image(o PNGOptions) *image.RGBA {
	ratio := o.Ratio
	if ratio <= 0 {
		ratio = s.Size.Ratio
	}
	if ratio <= 0 {
		ratio = 1
	}
	// A scene far longer than a sheet is drawn coarser rather than without end.
	if n := s.Size.W * s.Size.H * ratio * ratio; n > mostPixels {
		ratio *= math.Sqrt(mostPixels / n)
	}
	width, height := int(math.Round(s.Size.W*ratio)), int(math.Round(s.Size.H*ratio))
	img := image.NewRGBA(image.Rect(0, 0, width, height))
	if !o.Transparent {
		draw.Draw(img, img.Bounds(), image.NewUniform(rgba(s.Theme.Colour(Paper), 1)), image.Point{}, draw.Src)
	}
	ink := &inkScanner{img: img}
	r := &raster{scene: s, ratio: ratio, ink: ink,
		fill:   rasterx.NewFiller(width, height, ink),
		stroke: rasterx.NewDasher(width, height, ink)}
	r.nodes(s.Root.Nodes)
	return img
}

type raster struct {
	scene  *Scene
	ratio  float64
	ink    *inkScanner
	fill   *rasterx.Filler
	stroke *rasterx.Dasher
}

func (r *raster) nodes(nodes []Node) {
	for _, n := range nodes {
		switch n := n.(type) {
		case Path:
			r.path(n)
		case Text:
			r.text(n)
		case *Group:
			if len(n.Clip) > 0 {
				r.ink.mask = r.mask(n.Clip)
				r.nodes(n.Nodes)
				r.ink.mask = nil
				continue
			}
			r.nodes(n.Nodes)
		}
	}
}

// mask draws a clip outline as coverage.
func (r *raster) mask(segs []Seg) *image.Alpha {
	b := r.ink.img.Bounds()
	m := image.NewAlpha(b)
	s := &inkScanner{img: m}
	f := rasterx.NewFiller(b.Dx(), b.Dy(), s)
	s.color = color.Opaque
	r.trace(f, segs, false)
	f.Draw()
	return m
}

func (r *raster) path(p Path) {
	if !p.Fill.None() {
		r.fill.Clear()
		r.ink.color = r.colour(p.Fill)
		r.trace(r.fill, p.Segs, p.Crisp)
		r.fill.Draw()
	}
	if !p.Stroke.None() && p.Width > 0 {
		r.pen(p.Width, p.Dash, !p.Crisp && len(p.Dash) == 0)
		r.ink.color = r.colour(p.Stroke)
		r.trace(r.stroke, p.Segs, p.Crisp)
		r.stroke.Draw()
	}
}

// pen readies the stroker; it draws onto the shared scanner.
func (r *raster) pen(width float64, dash []float64, round bool) {
	r.stroke.Clear()
	var scaled []float64 // the stroker takes dashes in pixels, the width in 26.6
	for _, d := range dash {
		scaled = append(scaled, d*r.ratio)
	}
	lineCap := rasterx.ButtCap
	if round {
		lineCap = rasterx.RoundCap
	}
	r.stroke.SetStroke(fixed.Int26_6(width*r.ratio*64), 4<<6, lineCap, lineCap, rasterx.RoundGap, rasterx.Round, scaled, 0)
}

func (r *raster) colour(p Paint) color.Color { return rgba(r.scene.Theme.Resolve(p), p.alpha()) }

// trace feeds a path to a filler or stroker, in device pixels.
func (r *raster) trace(to rasterx.Adder, segs []Seg, snap bool) {
	at := func(p Point) fixed.Point26_6 {
		x, y := p.X*r.ratio, p.Y*r.ratio
		if snap {
			x, y = math.Round(x), math.Round(y)
		}
		return fixed.Point26_6{X: fix(x), Y: fix(y)}
	}
	open := false
	for _, s := range segs {
		switch s.Kind {
		case MoveTo:
			if open {
				to.Stop(false)
			}
			to.Start(at(s.P))
			open = true
		case LineTo:
			to.Line(at(s.P))
		case CurveTo:
			to.CubeBezier(at(s.C1), at(s.C2), at(s.P))
		case Close:
			to.Stop(true)
			open = false
		}
	}
	if open {
		to.Stop(false)
	}
}

// fix converts to 26.6 fixed point; far-away coordinates are held where the
// integer cannot overflow.
func fix(v float64) fixed.Int26_6 {
	const far = 1 << 20
	if math.IsNaN(v) {
		return 0
	}
	return fixed.Int26_6(math.Round(math.Max(-far, math.Min(far, v)) * 64))
}

func (r *raster) text(t Text) {
	if t.Halo {
		r.pen(t.Size*haloWidth, nil, true)
		r.ink.color = rgba(r.scene.Theme.Colour(Paper), 1)
		r.glyphs(r.stroke, t)
		r.stroke.Draw()
	}
	r.fill.Clear()
	r.ink.color = r.colour(t.Fill)
	r.glyphs(r.fill, t)
	r.fill.Draw()
}

// glyphs feeds the outlines of a line of text.
func (r *raster) glyphs(to rasterx.Adder, t Text) {
	f := faces()[t.Weight]
	pen := 0.0
	switch t.Anchor {
	case Middle:
		pen = -Width(t.S, t.Weight, t.Size) / 2
	case End:
		pen = -Width(t.S, t.Weight, t.Size)
	}
	for _, c := range t.S {
		segs, em := f.outline(c)
		at := func(p fixed.Point26_6) fixed.Point26_6 {
			x, y := pen+float64(p.X)/64/em*t.Size, float64(p.Y)/64/em*t.Size
			if t.Turned {
				x, y = y, -x
			}
			return fixed.Point26_6{X: fix((t.X + x) * r.ratio), Y: fix((t.Y + y) * r.ratio)}
		}
		open := false
		for _, s := range segs {
			switch s.Op {
			case sfnt.SegmentOpMoveTo:
				if open {
					to.Stop(true)
				}
				to.Start(at(s.Args[0]))
				open = true
			case sfnt.SegmentOpLineTo:
				to.Line(at(s.Args[0]))
			case sfnt.SegmentOpQuadTo:
				to.QuadBezier(at(s.Args[0]), at(s.Args[1]))
			case sfnt.SegmentOpCubeTo:
				to.CubeBezier(at(s.Args[0]), at(s.Args[1]), at(s.Args[2]))
			}
		}
		if open {
			to.Stop(true)
		}
		pen += f.advance(c) * t.Size
	}
}

func rgba(c RGB, alpha float64) color.Color {
	r, g, b := c.parts()
	return color.NRGBA{R: r, G: g, B: b, A: uint8(math.Round(alpha * 255))}
}

// inkScanner is a rasterx.Scanner on the rasteriser of golang.org/x/image
// that works on the box of one path, not on the whole picture: a 4K figure
// of a thousand marks stays quick.
type inkScanner struct {
	img   draw.Image
	mask  *image.Alpha // coverage of the clip; nil is none
	color color.Color

	pts    []fixed.Point26_6
	starts []int
	r      vector.Rasterizer
}

var _ rasterx.Scanner = (*inkScanner)(nil)

func (s *inkScanner) Start(a fixed.Point26_6) {
	s.starts = append(s.starts, len(s.pts))
	s.pts = append(s.pts, a)
}

func (s *inkScanner) Line(b fixed.Point26_6) { s.pts = append(s.pts, b) }

func (s *inkScanner) GetPathExtent() fixed.Rectangle26_6 {
	if len(s.pts) == 0 {
		return fixed.Rectangle26_6{}
	}
	e := fixed.Rectangle26_6{Min: s.pts[0], Max: s.pts[0]}
	for _, p := range s.pts[1:] {
		e.Min.X, e.Min.Y = min(e.Min.X, p.X), min(e.Min.Y, p.Y)
		e.Max.X, e.Max.Y = max(e.Max.X, p.X), max(e.Max.Y, p.Y)
	}
	return e
}

func (s *inkScanner) Clear() { s.pts, s.starts = s.pts[:0], s.starts[:0] }

// Draw paints the collected outlines and forgets them.
func (s *inkScanner) Draw() {
	defer s.Clear()
	e := s.GetPathExtent()
	box := image.Rect(e.Min.X.Floor(), e.Min.Y.Floor(), e.Max.X.Ceil()+1, e.Max.Y.Ceil()+1).Intersect(s.img.Bounds())
	if box.Empty() {
		return
	}
	s.r.Reset(box.Dx(), box.Dy())
	s.r.DrawOp = draw.Over
	at := func(p fixed.Point26_6) (float32, float32) {
		return float32(p.X)/64 - float32(box.Min.X), float32(p.Y)/64 - float32(box.Min.Y)
	}
	for i, from := range s.starts {
		to := len(s.pts)
		if i+1 < len(s.starts) {
			to = s.starts[i+1]
		}
		s.r.MoveTo(at(s.pts[from]))
		for _, p := range s.pts[from+1 : to] {
			s.r.LineTo(at(p))
		}
		// Not closed: the stroker hands over both edges of a line in turn,
		// as fragments that close only together.
	}
	src := image.NewUniform(s.color)
	if s.mask == nil {
		s.r.Draw(s.img, box, src, image.Point{})
		return
	}
	ink := image.NewAlpha(box)
	s.r.Draw(ink, box, image.Opaque, image.Point{})
	for y := box.Min.Y; y < box.Max.Y; y++ {
		for x := box.Min.X; x < box.Max.X; x++ {
			a := uint16(ink.AlphaAt(x, y).A) * uint16(s.mask.AlphaAt(x, y).A) / 255
			ink.SetAlpha(x, y, color.Alpha{A: uint8(a)})
		}
	}
	draw.DrawMask(s.img, box, src, image.Point{}, ink, box.Min, draw.Over)
}

func (s *inkScanner) SetBounds(int, int)        {}
func (s *inkScanner) SetColor(c any)            {}
func (s *inkScanner) SetWinding(bool)           {}
func (s *inkScanner) SetClip(r image.Rectangle) {}
