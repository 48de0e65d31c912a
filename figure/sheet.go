package figure

import "math"

// Head is what every figure carries above and below its plot.
type Head struct {
	Title    string // the finding, or what is shown
	Subtitle string
	Note     string // below the plot; "" prints how to read the figure
	Invented bool   // the data are invented; the figure says so
}

// InventedText is printed on every figure of invented data.
const InventedText = "Invented data"

// orNote returns the head with a note on how to read the figure, unless it
// has a note of its own.
func (h Head) orNote(text string) Head {
	if h.Note == "" {
		h.Note = text
	}
	return h
}

// sheet is a scene being laid out: header and note are placed, the body is
// left to the figure.
type sheet struct {
	*Scene
	u     float64 // px per unit of stroke and gap: 1 at 14 px text
	em    float64 // body text, px
	small float64 // tick labels and notes, px
	body  Box     // H 0 when the figure chooses its height
	notes []string
}

func newSheet(h Head, alt string, size Size, theme Theme) *sheet {
	s := &sheet{Scene: &Scene{Title: h.Title, Desc: alt, Size: size, Theme: theme}}
	s.em = size.TextPx
	s.u = s.em / 14
	s.small = s.em * 0.88
	if size.Compact {
		s.small = s.em * 0.92
	}
	pad := 14 * s.u
	if size.H > 0 {
		pad = 40 * s.u / 2.4 * 1.6
	}
	x, w := pad, size.W-2*pad
	y := pad
	g := &s.Root
	if h.Invented {
		tw := Width(InventedText, Bold, s.small)
		box := Box{x, y, tw + 12*s.u, s.small*1.25 + 4*s.u}
		g.Add(Path{Segs: box.Path(), Fill: Of(Band), Stroke: Of(Ink), Width: s.u})
		g.Add(Text{X: x + 6*s.u, Y: y + s.small + 2*s.u, S: InventedText, Size: s.small, Weight: Bold, Fill: Of(Ink)})
		y = box.Bottom() + 8*s.u
	}
	big := s.em * 1.2
	if h.Title != "" {
		y = s.paragraph(g, h.Title, x, y, w, big, Bold, Ink) + 2*s.u
	}
	if h.Subtitle != "" {
		y = s.paragraph(g, h.Subtitle, x, y, w, s.em, Regular, Muted) + 2*s.u
	}
	y += 6 * s.u
	s.body = Box{X: x, Y: y, W: w}
	if h.Note != "" {
		s.notes = Wrap(h.Note, Regular, s.small, w)
	}
	if size.H > 0 {
		s.body.H = size.H - pad - s.noteHeight() - y
	}
	return s
}

func (s *sheet) noteHeight() float64 {
	if len(s.notes) == 0 {
		return 0
	}
	return float64(len(s.notes))*s.small*leading + 8*s.u
}

// paragraph sets wrapped text with its top at y and returns the y below it.
func (s *sheet) paragraph(g *Group, text string, x, y, w, px float64, weight Weight, role Role) float64 {
	for _, line := range Wrap(text, weight, px, w) {
		g.Add(Text{X: x, Y: y + px*0.95, S: line, Size: px, Weight: weight, Fill: Of(role)})
		y += px * leading
	}
	return y
}

// height returns the body height: the fixed one, or what the figure asks for.
func (s *sheet) height(natural float64) float64 {
	if s.body.H > 0 {
		return s.body.H
	}
	return natural
}

// done places the note below bottom and fixes the height of the scene.
func (s *sheet) done(bottom float64) *Scene {
	pad := s.body.X
	y := bottom + 8*s.u
	if s.Size.H > 0 {
		y = s.Size.H - pad - float64(len(s.notes))*s.small*leading
	}
	for _, line := range s.notes {
		s.Root.Add(Text{X: s.body.X, Y: y + s.small*0.95, S: line, Size: s.small, Fill: Of(Muted)})
		y += s.small * leading
	}
	if s.Size.H == 0 {
		if len(s.notes) == 0 {
			y = bottom
		}
		s.Size.H = math.Ceil(y + pad*0.7)
	}
	return s.Scene
}

// entry is one line of a legend.
type entry struct {
	label string
	style Style
	line  bool // a stroke with its dash
	point bool // a marker
	fill  *Paint
}

// legend sets entries in rows from the top y and returns the y below. Long
// labels wrap inside the width.
func (s *sheet) legend(g *Group, entries []entry, x, y, w float64) float64 {
	key := 26 * s.u
	gap := 16 * s.u
	row := s.em * 1.35
	cx := x
	for i, e := range entries {
		lines := Wrap(e.label, Regular, s.em, w-key-4*s.u)
		width := 0.0
		for _, l := range lines {
			width = math.Max(width, Width(l, Regular, s.em))
		}
		if i > 0 && (cx+key+width > x+w || len(lines) > 1) {
			cx, y = x, y+row
		}
		my := y + row*0.42
		switch {
		case e.fill != nil:
			g.Add(Path{Segs: Box{cx, my - 6*s.u, 18 * s.u, 12 * s.u}.Path(), Fill: *e.fill, Stroke: Of(e.style.Role), Width: 1.2 * s.u})
		default:
			if e.line {
				g.Line(cx, my, cx+22*s.u, my, Of(e.style.Role), 2.2*s.u, e.style.dash(2.2*s.u)...)
			}
			if e.point {
				g.Add(e.style.Marker(Point{cx + 11*s.u, my}, 4.5*s.u))
			}
		}
		for k, l := range lines {
			if k > 0 {
				y += s.em * leading
			}
			g.Add(Text{X: cx + key, Y: y + row*0.42 + s.em*0.35, S: l, Size: s.em, Fill: Of(Ink)})
		}
		cx += key + width + gap
	}
	return y + row
}

// labelWidth returns the widest tick label.
func (s *sheet) labelWidth(ticks []tick) float64 {
	w := 0.0
	for _, t := range ticks {
		w = math.Max(w, Width(t.label, Regular, s.small))
	}
	return w
}

// yTicks returns ticks that stand at least a line and a half apart, and two
// of them where the height allows.
func (s *sheet) yTicks(a axis) []tick {
	span := math.Abs(a.to - a.from)
	n := max(2, min(int(span/(s.small*2.4)), 9))
	ts := a.ticks(n)
	for len(ts) < 2 && n < 12 {
		n++
		more := a.ticks(n)
		if len(more) > 1 && math.Abs(a.at(more[1].v)-a.at(more[0].v)) < s.small*1.5 {
			break
		}
		ts = more
	}
	return ts
}

// xTicks returns ticks whose labels do not touch.
func (s *sheet) xTicks(a axis) []tick {
	span := math.Abs(a.to - a.from)
	for n := 11; n >= 2; n-- {
		ts := a.ticks(n)
		if len(ts) < 2 {
			return ts
		}
		gap := math.Abs(a.at(ts[1].v) - a.at(ts[0].v))
		if s.labelWidth(ts)+s.small*0.9 <= gap && span > 0 {
			return ts
		}
	}
	if ts := a.ticks(2); len(ts) > 0 {
		return ts[:1]
	}
	return nil
}

// yAxis draws grid lines across box and labels at its left.
func (s *sheet) yAxis(g *Group, a axis, ticks []tick, box Box) {
	for _, t := range ticks {
		y := a.at(t.v)
		g.Line(box.X, y, box.Right(), y, Of(Grid), s.u)
		g.Add(Text{X: box.X - 6*s.u, Y: y + s.small*0.35, S: t.label, Size: s.small, Anchor: End, Fill: Of(Muted)})
	}
}

// xAxis draws tick marks and labels below box, then the heading; it returns
// the y below them.
func (s *sheet) xAxis(g *Group, a axis, ticks []tick, box Box, heading string) float64 {
	g.Line(box.X, box.Bottom(), box.Right(), box.Bottom(), Of(Muted), s.u)
	for _, t := range ticks {
		x := a.at(t.v)
		g.Line(x, box.Bottom(), x, box.Bottom()+4*s.u, Of(Muted), s.u)
		s.within(g, t.label, x, box.Bottom()+6*s.u+s.small*0.85, s.small, Muted)
	}
	y := box.Bottom() + 6*s.u + s.small*leading
	if heading != "" {
		y = s.paragraph(g, heading, box.X, y, box.W, s.small, Regular, Muted)
	}
	return y
}

// within sets text centred on x, moved so that it stays on the sheet.
func (s *sheet) within(g *Group, text string, x, y, px float64, role Role) {
	half := Width(text, Regular, px) / 2
	edge := 3 * s.u
	x = math.Max(half+edge, math.Min(s.Size.W-half-edge, x))
	g.Add(Text{X: x, Y: y, S: text, Size: px, Anchor: Middle, Fill: Of(role)})
}

// xAxisHeight is the room xAxis needs below a box.
func (s *sheet) xAxisHeight(heading string, w float64) float64 {
	h := 6*s.u + s.small*leading
	if heading != "" {
		h += float64(len(Wrap(heading, Regular, s.small, w))) * s.small * leading
	}
	return h
}
