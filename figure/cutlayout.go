package figure

import "math"

// cutLayout is how the panels of a cut face stand.
type cutLayout struct {
	cells    [][]cutCell
	headW    float64 // width of headings beside the sections; 0 when they stand above
	perM     float64 // pixels per metre of the piece, one scale for all
	thickest []float64
}

// cutMeasures are the lengths a layout must keep clear.
type cutMeasures struct {
	size      Size
	em, small float64
	y, foot   float64 // what is taken above and below the panels
	side      float64 // strip, its labels and air, beside each section
}

// Slabs go on beyond what is drawn, so they are drawn as wide as their column
// allows, within these multiples of the thickness.
const (
	slabAspect      = 2.2 // where the sheet grows
	slabAspectLeast = 1.6 // on a sheet of fixed height
	slabAspectMost  = 4.0
)

// head is the height of headings above a row of sections: a line for the
// title, or two where one of them is long, and one for what it says.
func (f CutFace) head(cells [][]cutCell, colW float64, m cutMeasures) float64 {
	lines := 1
	for _, row := range cells {
		for _, c := range row {
			if t := f.titleLines(c, colW, m); len(t) > lines {
				lines = len(t)
			}
		}
	}
	return m.em*(1.05+1.25*float64(lines)) + m.em*0.7
}

// titleLines is the title over a section, the piece and the moment on lines
// of their own where they do not fit on one.
func (f CutFace) titleLines(c cutCell, colW float64, m cutMeasures) []string {
	title, _ := f.heading(c)
	w := colW - m.em*0.6
	if Width(title, Bold, m.em) <= w || c.name == "" || len(f.Pieces) == 1 {
		return []string{Fit(title, Bold, m.em, w)}
	}
	return []string{Fit(c.name, Bold, m.em, w), Fit(c.s.At, Bold, m.em, w)}
}

func (m cutMeasures) gap() float64 { return m.em * 0.9 }

// layOut picks the arrangement that draws the pieces largest. Only a sheet of
// fixed height leaves a choice; elsewhere the sheet grows.
func (f CutFace) layOut(m cutMeasures) cutLayout {
	best := f.scaled(f.arrange(m.size.Compact, 3), 0, m)
	if m.size.H == 0 || m.size.Compact {
		return best
	}
	for cols := 1; cols <= 4; cols++ {
		cells := f.arrange(false, cols)
		for _, headW := range []float64{0, 8 * m.em, 6.5 * m.em} {
			// Another arrangement must be worth it.
			if l := f.scaled(cells, headW, m); l.perM > 1.08*best.perM {
				best = l
			}
		}
		if len(f.Pieces) > 1 {
			break // pieces stand side by side, whatever their number
		}
	}
	return best
}

// scaled finds the scale of an arrangement: as large as the widest and, at a
// fixed height, the thickest allow. 0 where a heading beside does not fit.
func (f CutFace) scaled(cells [][]cutCell, headW float64, m cutMeasures) cutLayout {
	l := cutLayout{cells: cells, headW: headW, perM: math.Inf(1), thickest: make([]float64, len(cells))}
	cols, sum := 0, 0.0
	for _, row := range cells {
		cols = max(cols, len(row))
	}
	room := (m.size.W-2*m.em)/float64(cols) - m.side - headW
	for r, row := range cells {
		for _, c := range row {
			w := c.s.width()
			if c.s.DiameterM == 0 && m.size.H > 0 {
				w = slabAspectLeast * c.s.ThicknessM
			}
			l.perM = math.Min(l.perM, math.Max(room, 1)/w)
			l.thickest[r] = math.Max(l.thickest[r], c.s.ThicknessM)
		}
		sum += l.thickest[r]
	}
	if m.size.H > 0 {
		each := m.gap()
		if headW == 0 {
			each += f.head(cells, (m.size.W-2*m.em)/float64(cols), m)
		}
		high := m.size.H - m.y - m.foot - float64(len(cells))*each
		l.perM = math.Min(l.perM, math.Max(high, m.em)/sum)
	}
	if headW > 0 {
		for r, row := range cells {
			for _, c := range row {
				if high, fits := f.headBlock(c, headW, m); !fits || high > l.thickest[r]*l.perM {
					l.perM = 0
				}
			}
		}
	}
	// Slabs take the width that is left.
	for _, row := range l.cells {
		for i := range row {
			if s := &row[i].s; s.DiameterM == 0 && l.perM > 0 {
				s.drawnM = math.Min(room/l.perM, slabAspectMost*s.ThicknessM)
			}
		}
	}
	return l
}

// heading returns the two texts over a section.
func (f CutFace) heading(c cutCell) (title, says string) {
	title = c.name
	if len(f.Pieces) == 1 || title == "" {
		title = c.s.At
	} else {
		title += " · " + c.s.At
	}
	return title, c.s.Says
}

// headBlock is the height of a heading wrapped beside its section; fits is
// false where a word is too long for the width.
func (f CutFace) headBlock(c cutCell, headW float64, m cutMeasures) (high float64, fits bool) {
	title, says := f.heading(c)
	w := headW - m.em*0.6
	fits = true
	for _, line := range Wrap(title, Bold, m.em, w) {
		fits = fits && Width(line, Bold, m.em) <= w
		high += m.em * 1.2
	}
	for _, line := range Wrap(says, Regular, m.small, w) {
		fits = fits && Width(line, Regular, m.small) <= w
		high += m.small * leading
	}
	return high, fits
}

// drawHeading writes the heading of a section whose panel starts at x, y and
// is as wide as w; head is the height kept for it above the section.
func (f CutFace) drawHeading(g *Group, c cutCell, x, y, w, head float64, beside bool, m cutMeasures) {
	title, says := f.heading(c)
	if !beside {
		lines := f.titleLines(c, w, m)
		w -= m.em * 0.6
		y += head - m.em*1.75 - m.em*1.25*float64(len(lines)) // the last lines stand level
		for _, line := range lines {
			y += m.em * 1.25
			g.Add(Text{X: x, Y: y - m.em*0.25, S: line, Size: m.em, Weight: Bold, Fill: Of(Ink)})
		}
		g.Add(Text{X: x, Y: y + m.em*0.9, S: Fit(says, Regular, m.small, w), Size: m.small, Fill: Of(Muted)})
		return
	}
	w -= m.em * 0.6
	y += m.em * 0.8
	for i, line := range Wrap(title, Bold, m.em, w) {
		if i > 0 {
			y += m.em * 1.2
		}
		g.Add(Text{X: x, Y: y, S: Fit(line, Bold, m.em, w), Size: m.em, Weight: Bold, Fill: Of(Ink)})
	}
	y += m.em * 0.15
	for _, line := range Wrap(says, Regular, m.small, w) {
		y += m.small * leading
		g.Add(Text{X: x, Y: y, S: Fit(line, Regular, m.small, w), Size: m.small, Fill: Of(Muted)})
	}
}
