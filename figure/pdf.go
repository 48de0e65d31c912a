package figure

import (
	"fmt"
	"io"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// pt is points per CSS pixel: 72/96.
const pt = 0.75

// WritePDF writes the scene as a one-page PDF with the typeface embedded as
// Unicode, so that its text can be searched and copied. The file carries no
// date: the same scene gives the same bytes.
func (s *Scene) WritePDF(w io.Writer) error {
	doc := fpdf.NewCustom(&fpdf.InitType{
		UnitStr: "pt",
		Size:    fpdf.SizeType{Wd: s.Size.W * pt, Ht: s.Size.H * pt},
	})
	epoch := time.Unix(0, 0).UTC()
	doc.SetCreationDate(epoch)
	doc.SetModificationDate(epoch)
	doc.SetCatalogSort(true)
	doc.SetTitle(s.Title, true)
	doc.SetSubject(s.Desc, true)
	doc.SetLang("en")
	doc.SetAutoPageBreak(false, 0)
	doc.SetMargins(0, 0, 0)
	for i, style := range pdfStyles {
		doc.AddUTF8FontFromBytes(fontFamily, style, fontData[i])
	}
	doc.AddPage()
	p := &pdfWriter{doc: doc, theme: s.Theme, alpha: 1}
	if s.Theme.Name == Dark.Name {
		p.path(Path{Segs: Box{0, 0, s.Size.W, s.Size.H}.Path(), Fill: Of(Paper)})
	}
	p.nodes(s.Root.Nodes)
	if err := doc.Output(w); err != nil {
		return fmt.Errorf("writing the figure as PDF: %w", err)
	}
	return nil
}

var pdfStyles = [3]string{Regular: "", Bold: "B", Italic: "I"}

type pdfWriter struct {
	doc   *fpdf.Fpdf
	theme Theme
	alpha float64
}

func (p *pdfWriter) nodes(nodes []Node) {
	for _, n := range nodes {
		switch n := n.(type) {
		case Path:
			p.path(n)
		case Text:
			p.text(n)
		case *Group:
			if len(n.Clip) > 0 {
				p.doc.ClipPolygon(flatten(n.Clip), false)
				p.nodes(n.Nodes)
				p.doc.ClipEnd()
				continue
			}
			p.nodes(n.Nodes)
		}
	}
}

// flatten turns a closed outline into a polygon in points, eight chords to a
// curve.
func flatten(segs []Seg) []fpdf.PointType {
	var out []fpdf.PointType
	var at Point
	add := func(q Point) { out = append(out, fpdf.PointType{X: q.X * pt, Y: q.Y * pt}); at = q }
	for _, s := range segs {
		switch s.Kind {
		case MoveTo, LineTo:
			add(s.P)
		case CurveTo:
			from := at
			for i := 1; i <= 8; i++ {
				t := float64(i) / 8
				u := 1 - t
				b := [4]float64{u * u * u, 3 * u * u * t, 3 * u * t * t, t * t * t}
				add(Point{
					b[0]*from.X + b[1]*s.C1.X + b[2]*s.C2.X + b[3]*s.P.X,
					b[0]*from.Y + b[1]*s.C1.Y + b[2]*s.C2.Y + b[3]*s.P.Y,
				})
			}
		}
	}
	return out
}

func (p *pdfWriter) setAlpha(a float64) {
	if a != p.alpha {
		p.doc.SetAlpha(a, "Normal")
		p.alpha = a
	}
}

func (p *pdfWriter) path(n Path) {
	if !n.Fill.None() {
		r, g, b := p.theme.Resolve(n.Fill).parts()
		p.doc.SetFillColor(int(r), int(g), int(b))
		p.setAlpha(n.Fill.alpha())
		p.trace(n.Segs)
		p.doc.DrawPath("F")
	}
	if n.Stroke.None() || n.Width <= 0 {
		return
	}
	r, g, b := p.theme.Resolve(n.Stroke).parts()
	p.doc.SetDrawColor(int(r), int(g), int(b))
	p.setAlpha(n.Stroke.alpha())
	p.doc.SetLineWidth(n.Width * pt)
	lineCap := "round"
	if len(n.Dash) > 0 || n.Crisp {
		lineCap = "butt"
	}
	p.doc.SetLineCapStyle(lineCap)
	p.doc.SetLineJoinStyle("round")
	dash := make([]float64, len(n.Dash))
	for i, d := range n.Dash {
		dash[i] = d * pt
	}
	p.doc.SetDashPattern(dash, 0)
	p.trace(n.Segs)
	p.doc.DrawPath("D")
}

func (p *pdfWriter) trace(segs []Seg) {
	for _, s := range segs {
		switch s.Kind {
		case MoveTo:
			p.doc.MoveTo(s.P.X*pt, s.P.Y*pt)
		case LineTo:
			p.doc.LineTo(s.P.X*pt, s.P.Y*pt)
		case CurveTo:
			p.doc.CurveBezierCubicTo(s.C1.X*pt, s.C1.Y*pt, s.C2.X*pt, s.C2.Y*pt, s.P.X*pt, s.P.Y*pt)
		case Close:
			p.doc.ClosePath()
		}
	}
}

func (p *pdfWriter) text(t Text) {
	x := t.X
	y := t.Y
	w := Width(t.S, t.Weight, t.Size)
	switch t.Anchor {
	case Middle:
		x -= w / 2
	case End:
		x -= w
	}
	if t.Turned {
		p.doc.TransformBegin()
		p.doc.TransformRotate(90, t.X*pt, t.Y*pt)
		defer p.doc.TransformEnd()
	}
	p.doc.SetFont(fontFamily, pdfStyles[t.Weight], t.Size*pt)
	if t.Halo {
		r, g, b := p.theme.Colour(Paper).parts()
		p.doc.SetDrawColor(int(r), int(g), int(b))
		p.doc.SetLineWidth(t.Size * haloWidth * pt)
		p.doc.SetLineJoinStyle("round")
		p.doc.SetDashPattern(nil, 0)
		p.setAlpha(1)
		p.doc.SetTextRenderingMode(1)
		p.doc.Text(x*pt, y*pt, t.S)
		p.doc.SetTextRenderingMode(0)
	}
	r, g, b := p.theme.Resolve(t.Fill).parts()
	p.doc.SetTextColor(int(r), int(g), int(b))
	p.setAlpha(t.Fill.alpha())
	p.doc.Text(x*pt, y*pt, t.S)
}
