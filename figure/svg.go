package figure

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// SVGOptions choose how an SVG is written. The zero value is a file that
// stands alone: paper drawn, own style sheet, following the reader's light
// or dark preference only where Auto is set.
type SVGOptions struct {
	Inline      bool   // part of an HTML page that carries [CSS]: no XML prolog, no style sheet, no paper
	ID          string // prefix of ids, unique in a page; "" means "figure"
	Transparent bool   // no paper
	Auto        bool   // a lone file follows prefers-color-scheme
}

// CSS returns the rules that colour figures in a page: the classes tf-ink (to
// fill) and tk-ink (to stroke), tf-s1 and so on read the custom properties
// --trivet-ink, --trivet-s1 …, whose defaults are the Light theme. A page
// redefines the properties to restyle its figures.
func CSS() string {
	var b strings.Builder
	for r := Paper; r < roleCount; r++ {
		n := roleNames[r]
		fmt.Fprintf(&b, ".tf-%s{fill:var(--trivet-%s,%s)}.tk-%s{stroke:var(--trivet-%s,%s)}\n", n, n, Light.colour[r], n, n, Light.colour[r])
	}
	return b.String()
}

// Properties returns the custom properties of a theme, as CSS declarations.
func (t Theme) Properties() string {
	var b strings.Builder
	for r := Paper; r < roleCount; r++ {
		fmt.Fprintf(&b, "--trivet-%s:%s;", roleNames[r], t.colour[r])
	}
	return b.String()
}

// WriteSVG writes the scene. The picture is one image to assistive software
// (role img, title, description); colours stand both as attributes, for
// programs that do not read CSS, and as classes that follow the page.
func (s *Scene) WriteSVG(w io.Writer, o SVGOptions) error {
	if o.ID == "" {
		o.ID = "figure"
	}
	title := s.Title
	if title == "" {
		title = s.Desc
	}
	x := &svgWriter{w: bufio.NewWriter(w), theme: s.Theme, id: o.ID}
	if !o.Inline {
		x.put(`<?xml version="1.0" encoding="UTF-8"?>` + "\n")
	}
	x.putf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" width="%s" height="%s" role="img" aria-labelledby="%s-title %s-desc" font-family="%s, Helvetica, Arial, sans-serif">`,
		num(s.Size.W), num(s.Size.H), num(s.Size.W), num(s.Size.H), esc(o.ID), esc(o.ID), fontFamily)
	x.putf("\n<title id=\"%s-title\">%s</title>\n<desc id=\"%s-desc\">%s</desc>\n", esc(o.ID), esc(title), esc(o.ID), esc(s.Desc))
	if !o.Inline {
		x.put("<style>")
		if o.Auto {
			x.putf("svg{%s}@media (prefers-color-scheme:dark){svg{%s}}\n%s", Light.Properties(), Dark.Properties(), CSS())
		}
		x.put(fontCSS(s))
		x.put("</style>\n")
		if !o.Transparent {
			x.path(Path{Segs: Box{0, 0, s.Size.W, s.Size.H}.Path(), Fill: Of(Paper)})
		}
	}
	x.nodes(s.Root.Nodes)
	x.put("</svg>\n")
	if x.err != nil {
		return x.err
	}
	return x.w.Flush()
}

type svgWriter struct {
	w     *bufio.Writer
	theme Theme
	id    string
	clips int
	err   error
}

func (x *svgWriter) put(s string) {
	if x.err == nil {
		_, x.err = x.w.WriteString(s)
	}
}

func (x *svgWriter) putf(format string, args ...any) { x.put(fmt.Sprintf(format, args...)) }

func (x *svgWriter) nodes(nodes []Node) {
	for _, n := range nodes {
		switch n := n.(type) {
		case Path:
			x.path(n)
		case Text:
			x.text(n)
		case *Group:
			x.group(n)
		}
	}
}

func (x *svgWriter) group(g *Group) {
	if len(g.Nodes) == 0 {
		return
	}
	clip := ""
	if len(g.Clip) > 0 {
		x.clips++
		id := fmt.Sprintf("%s-clip%d", x.id, x.clips)
		x.putf(`<clipPath id="%s"><path d="%s"/></clipPath>`+"\n", esc(id), pathData(g.Clip))
		clip = fmt.Sprintf(` clip-path="url(#%s)"`, esc(id))
	}
	x.put("<g" + clip + ">")
	if g.Title != "" {
		x.put("<title>" + esc(g.Title) + "</title>")
	}
	if g.Desc != "" {
		x.put("<desc>" + esc(g.Desc) + "</desc>")
	}
	x.put("\n")
	x.nodes(g.Nodes)
	x.put("</g>\n")
}

// paint renders a fill or stroke: its attributes and its class.
func (x *svgWriter) paint(attr, prefix string, p Paint) (attrs, class string) {
	if p.None() {
		return fmt.Sprintf(` %s="none"`, attr), ""
	}
	attrs = fmt.Sprintf(` %s="%s"`, attr, x.theme.Resolve(p))
	if p.alpha() < 1 {
		attrs += fmt.Sprintf(` %s-opacity="%s"`, attr, num(p.alpha()))
	}
	if p.Fixed == nil {
		class = prefix + roleNames[p.Role]
	}
	return attrs, class
}

func (x *svgWriter) path(p Path) {
	if len(p.Segs) == 0 {
		return
	}
	fill, fc := x.paint("fill", "tf-", p.Fill)
	class := fc
	stroke := ""
	if !p.Stroke.None() {
		var sc string
		stroke, sc = x.paint("stroke", "tk-", p.Stroke)
		stroke += fmt.Sprintf(` stroke-width="%s"`, num(p.Width))
		if len(p.Dash) > 0 {
			d := make([]string, len(p.Dash))
			for i, v := range p.Dash {
				d[i] = num(v)
			}
			stroke += fmt.Sprintf(` stroke-dasharray="%s" stroke-linejoin="round"`, strings.Join(d, " "))
		} else if !p.Crisp {
			stroke += ` stroke-linejoin="round" stroke-linecap="round"`
		}
		class = strings.TrimSpace(fc + " " + sc)
	}
	if class != "" {
		class = fmt.Sprintf(` class="%s"`, class)
	}
	crisp := ""
	if p.Crisp {
		crisp = ` shape-rendering="crispEdges"`
	}
	x.putf("<path%s d=\"%s\"%s%s%s/>\n", class, pathData(p.Segs), fill, stroke, crisp)
}

func (x *svgWriter) text(t Text) {
	if t.S == "" {
		return
	}
	fill, class := x.paint("fill", "tf-", t.Fill)
	attrs := ""
	switch t.Anchor {
	case Middle:
		attrs += ` text-anchor="middle"`
	case End:
		attrs += ` text-anchor="end"`
	}
	switch t.Weight {
	case Bold:
		attrs += ` font-weight="bold"`
	case Italic:
		attrs += ` font-style="italic"`
	}
	if t.Turned {
		attrs += fmt.Sprintf(` transform="rotate(-90 %s %s)"`, num(t.X), num(t.Y))
	}
	if t.Halo {
		stroke, sc := x.paint("stroke", "tk-", Of(Paper))
		attrs += stroke + fmt.Sprintf(` stroke-width="%s" stroke-linejoin="round" paint-order="stroke"`, num(t.Size*haloWidth))
		class = strings.TrimSpace(class + " " + sc)
	}
	if class != "" {
		class = fmt.Sprintf(` class="%s"`, class)
	}
	x.putf("<text%s x=\"%s\" y=\"%s\" font-size=\"%s\"%s%s>%s</text>\n", class, num(t.X), num(t.Y), num(t.Size), fill, attrs, esc(t.S))
}

// haloWidth is the stroke of a text's halo, em.
const haloWidth = 0.3

// manyPoints is the length from which a path is written in relative steps of
// a tenth of a pixel, at half the size.
const manyPoints = 24

func pathData(segs []Seg) string {
	var b strings.Builder
	if len(segs) >= manyPoints && !curved(segs) {
		relative(&b, segs)
		return b.String()
	}
	for _, s := range segs {
		switch s.Kind {
		case MoveTo:
			b.WriteString("M" + num(s.P.X) + " " + num(s.P.Y))
		case LineTo:
			b.WriteString("L" + num(s.P.X) + " " + num(s.P.Y))
		case CurveTo:
			b.WriteString("C" + num(s.C1.X) + " " + num(s.C1.Y) + " " + num(s.C2.X) + " " + num(s.C2.Y) + " " + num(s.P.X) + " " + num(s.P.Y))
		case Close:
			b.WriteByte('Z')
		}
	}
	return b.String()
}

func curved(segs []Seg) bool {
	return slices.ContainsFunc(segs, func(s Seg) bool { return s.Kind == CurveTo })
}

// relative writes each step from where the last one was rounded to, so that
// rounding does not add up.
func relative(b *strings.Builder, segs []Seg) {
	var x, y, startX, startY int // tenths of a pixel
	inLine := false
	for _, s := range segs {
		px, py := tenths(s.P.X), tenths(s.P.Y)
		switch s.Kind {
		case MoveTo:
			b.WriteString("M" + tenth(px) + " " + tenth(py))
			startX, startY = px, py
			inLine = false
		case LineTo:
			dx, dy := tenth(px-x), tenth(py-y)
			switch {
			case !inLine:
				b.WriteByte('l')
			case dx[0] != '-':
				b.WriteByte(' ')
			}
			b.WriteString(dx)
			if dy[0] != '-' {
				b.WriteByte(' ')
			}
			b.WriteString(dy)
			inLine = true
		case Close:
			b.WriteByte('Z')
			px, py = startX, startY
			inLine = false
		}
		x, y = px, py
	}
}

func tenths(v float64) int {
	if !finite(v) {
		return 0
	}
	return int(math.Round(math.Max(-1e7, math.Min(1e7, v)) * 10))
}

// tenth renders tenths of a pixel as short as SVG allows: 3, .4, -1.2.
func tenth(v int) string {
	sign := ""
	if v < 0 {
		sign, v = "-", -v
	}
	switch {
	case v%10 == 0:
		return sign + strconv.Itoa(v/10)
	case v < 10:
		return sign + "." + strconv.Itoa(v)
	}
	return sign + strconv.Itoa(v/10) + "." + strconv.Itoa(v%10)
}

// num renders a length to a hundredth of a pixel, so that goldens agree
// across machines; what is not finite becomes 0.
func num(v float64) string {
	if !finite(v) {
		return "0"
	}
	r := math.Round(v*100) / 100
	if r == 0 {
		r = 0 // no minus zero
	}
	return strconv.FormatFloat(r, 'f', -1, 64)
}

var xmlEscaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;")

// esc escapes XML and drops control characters, which XML 1.0 forbids.
func esc(s string) string {
	s = strings.Map(func(r rune) rune {
		if r < 0x20 && r != '\t' && r != '\n' || r == 0xfffe || r == 0xffff {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "�"))
	return xmlEscaper.Replace(s)
}
