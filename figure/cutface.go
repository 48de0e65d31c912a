package figure

import (
	"fmt"
	"math"

	"trivet/doneness"
	"trivet/quantity"
)

// CutFace draws the sections of pieces to one scale in the colour heat has
// given them, with lines of equal peak temperature: one panel a moment, the
// pieces side by side. A strip beside each section shows the temperature
// through its middle at that moment.
//
// [doneness.ColourCaution] is always printed with it.
type CutFace struct {
	Title      string
	Pieces     []CutPiece
	LevelsC    []float64 // lines of equal peak temperature; nil takes round ones
	Fahrenheit bool
	Inch       bool     // lengths in inches
	Cautions   []string // further sentences printed under the picture
}

// CutPiece is one cook's sections, in order of time.
type CutPiece struct {
	Name     string
	Sections []Section
}

// Section is a cut through a piece at one moment. Rows run from the face that
// lies down at that moment upwards.
type Section struct {
	At                  string // the moment, e.g. "at the pull, 6 min 30 s"
	Says                string // what it is like, e.g. "core 34 °C, firmed"
	ThicknessM          float64
	DiameterM           float64          // of a disc; 0 draws a slab, its ends cut off
	HeightM             []float64        // of the rows above the lower face, rising
	RadiusM             []float64        // of the columns from the axis, rising; nil for a slab
	Colour              [][]doneness.Lab // [row][column]
	PeakC               [][]float64      // [row][column], highest temperature so far
	NowC                []float64        // temperature on the axis, by row
	BottomSide, TopSide string           // names of the faces, e.g. "A", "B"; may be empty

	drawnM float64 // width a slab is drawn at, 0 before it is laid out
}

// Lines are drawn at round temperatures of the scale shown.
var (
	roundC = []float64{30, 40, 50, 60, 70, 80, 100, 150}
	roundF = []float64{90, 110, 130, 150, 170, 190, 212, 300}
)

func (f CutFace) levels() []float64 {
	if f.LevelsC != nil {
		return f.LevelsC
	}
	if !f.Fahrenheit {
		return roundC
	}
	out := make([]float64, len(roundF))
	for i, v := range roundF {
		out[i] = (v - 32) / 1.8
	}
	return out
}

// degrees prints a temperature to a whole degree of the scale shown.
func (f CutFace) degrees(c float64, unit bool) string {
	v, u := c, " °C"
	if f.Fahrenheit {
		v, u = quantity.Celsius(c).F(), " °F"
	}
	if !unit {
		u = "°"
	}
	return fmt.Sprintf("%.0f%s", v, u)
}

func (f CutFace) check() error {
	n := 0
	for _, p := range f.Pieces {
		for _, s := range p.Sections {
			n++
			cols := len(s.RadiusM)
			if s.DiameterM == 0 {
				cols = 1
			}
			switch {
			case !(s.ThicknessM > 0):
				return errInput("ThicknessM", fmt.Sprint(s.ThicknessM), "the section of %s has no thickness", p.Name)
			case len(s.HeightM) == 0 || len(s.Colour) != len(s.HeightM) || len(s.PeakC) != len(s.HeightM) || len(s.NowC) != len(s.HeightM):
				return errInput("HeightM", fmt.Sprint(len(s.HeightM)), "the rows of the section of %s disagree", p.Name)
			case cols == 0:
				return errInput("RadiusM", "0", "the section of %s is a disc without columns", p.Name)
			}
			for r := range s.HeightM {
				if len(s.Colour[r]) != cols || len(s.PeakC[r]) != cols {
					return errInput("Colour", fmt.Sprint(len(s.Colour[r])), "row %d of the section of %s has not %d columns", r+1, p.Name, cols)
				}
			}
		}
	}
	if n == 0 {
		return errEmpty("a cut face", "give at least one section")
	}
	return nil
}

func (s Section) width() float64 {
	if s.DiameterM > 0 {
		return s.DiameterM
	}
	if s.drawnM > 0 {
		return s.drawnM
	}
	return slabAspect * s.ThicknessM
}

// Alt says in a sentence or two what the figure shows.
func (f CutFace) Alt() string {
	text := f.Title
	if text != "" {
		text += ". "
	}
	text += "Sections through the pieces in the colour heat has given them, with lines of equal peak temperature."
	for _, p := range f.Pieces {
		for _, s := range p.Sections {
			lo, hi := span(s.NowC)
			text += fmt.Sprintf(" %s, %s: %s; %s to %s through the middle.", p.Name, s.At, s.Says, f.degrees(lo, true), f.degrees(hi, true))
		}
	}
	return text + " " + doneness.ColourCaution
}

// Table gives the temperatures drawn, by piece, moment and height.
func (f CutFace) Table() Table {
	unit, conv := "c", func(c float64) float64 { return c }
	if f.Fahrenheit {
		unit, conv = "f", func(c float64) float64 { return quantity.Celsius(c).F() }
	}
	height, lengthOf := "height_mm", func(m float64) string { return fmt.Sprintf("%.2f", m*1e3) }
	if f.Inch {
		height, lengthOf = "height_in", func(m float64) string { return fmt.Sprintf("%.3f", quantity.Metres(m).In()) }
	}
	t := Table{
		Caption: f.Title + ": temperature now and highest so far on the axis. " + doneness.ColourCaution,
		Columns: []string{"piece", "moment", height, "now_" + unit, "peak_" + unit, "colour"},
	}
	for _, p := range f.Pieces {
		for _, s := range p.Sections {
			for r, h := range s.HeightM {
				t.Rows = append(t.Rows, []string{p.Name, s.At, lengthOf(h),
					fmt.Sprintf("%.1f", conv(s.NowC[r])), fmt.Sprintf("%.1f", conv(s.PeakC[r][0])), labPaint(s.Colour[r][0]).Fixed.String()})
			}
		}
	}
	return t
}

// Scene lays the figure out.
func (f CutFace) Scene(size Size, theme Theme) (*Scene, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	sc := &Scene{Title: f.Title, Desc: f.Alt(), Size: size, Theme: theme}
	em := size.TextPx
	small := em * 0.8
	margin := em
	y := margin
	if f.Title != "" {
		for _, line := range Wrap(f.Title, Bold, em*1.15, size.W-2*margin) {
			y += em * 1.15
			sc.Root.Add(Text{X: margin, Y: y, S: line, Size: em * 1.15, Weight: Bold, Fill: Of(Ink)})
			y += em * 0.25
		}
		y += em * 0.4
	}

	// Panels: pieces across and moments down; a single piece, moments across.
	lo, hi := f.nowSpan()
	stripW := em * 0.7
	m := cutMeasures{size: size, em: em, small: small, y: y, foot: f.footHeight(size, em, small),
		side: Width(f.degrees(hi, false), Regular, small) + em*0.5 + stripW + em*1.6}
	l := f.layOut(m)
	perM := l.perM
	cols, sum := 0, 0.0
	for r, row := range l.cells {
		cols = max(cols, len(row))
		sum += l.thickest[r]
	}
	colW := (size.W - 2*margin) / float64(cols)
	head := f.head(l.cells, colW, m)
	if l.headW > 0 {
		head = 0
	}
	if size.H > 0 { // what is left over goes around the panels
		y += math.Max(0, size.H-y-m.foot-float64(len(l.cells))*(head+m.gap())-perM*sum) * 0.4
	}
	for r, row := range l.cells {
		for c, cell := range row {
			x := margin + float64(c)*colW
			g := sc.Root.Sub(cell.name + ", " + cell.s.At)
			at, headW := Point{x, y + head}, colW
			if l.headW > 0 {
				at.X, headW = x+l.headW, l.headW
			}
			f.drawHeading(g, cell, x, y, headW, head, l.headW > 0, m)
			f.section(g, cell.s, at, perM, em, small, stripW, lo, hi)
		}
		y += head + l.thickest[r]*perM + m.gap()
	}
	y = f.footer(&sc.Root, size, y, em, small, lo, hi, perM)
	if sc.Size.H == 0 {
		sc.Size.H = math.Ceil(y + margin)
	}
	return sc, nil
}

type cutCell struct {
	name string
	s    Section
}

// arrange returns the panels by row, at most so many moments of a single piece
// in each.
func (f CutFace) arrange(compact bool, most int) [][]cutCell {
	var all []cutCell
	deepest := 0
	for _, p := range f.Pieces {
		deepest = max(deepest, len(p.Sections))
		for _, s := range p.Sections {
			all = append(all, cutCell{p.Name, s})
		}
	}
	if compact {
		rows := make([][]cutCell, len(all))
		for i, c := range all {
			rows[i] = []cutCell{c}
		}
		return rows
	}
	if len(f.Pieces) == 1 {
		var rows [][]cutCell
		for len(all) > 0 {
			n := min(most, len(all))
			rows, all = append(rows, all[:n]), all[n:]
		}
		return rows
	}
	rows := make([][]cutCell, deepest)
	for _, p := range f.Pieces {
		for i, s := range p.Sections {
			rows[i] = append(rows[i], cutCell{p.Name, s})
		}
	}
	return rows
}

func (f CutFace) nowSpan() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, p := range f.Pieces {
		for _, s := range p.Sections {
			a, b := span(s.NowC)
			lo, hi = math.Min(lo, a), math.Max(hi, b)
		}
	}
	if hi-lo < 1 {
		lo, hi = lo-0.5, hi+0.5
	}
	return lo, hi
}

func span(v []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, x := range v {
		if finite(x) {
			lo, hi = math.Min(lo, x), math.Max(hi, x)
		}
	}
	return lo, hi
}

// section draws one section with its lines and its strip; at is the upper
// left corner.
func (f CutFace) section(g *Group, s Section, at Point, perM, em, small, stripW, lo, hi float64) {
	w, h := s.width()*perM, s.ThicknessM*perM
	box := Box{at.X, at.Y, w, h}
	bottom := box.Bottom()
	peak, colour := s.fields()

	// Colour: equal bands up, and across for a disc, merged where they match.
	bands := min(96, max(24, int(h/2)))
	across := 1
	if s.DiameterM > 0 {
		across = min(max(2*len(s.RadiusM)+1, int(w/em*2.5)), 81)
	}
	paint := g.Sub("colour of the cut face")
	for r := range bands {
		y := bottom - h*float64(r+1)/float64(bands)
		from := 0
		tone := func(c int) RGB {
			x := (float64(c)+0.5)/float64(across)*s.width() - s.width()/2
			z := (float64(r) + 0.5) / float64(bands) * s.ThicknessM
			return rgb(doneness.Lab{L: colour[0].sample(x, z), A: colour[1].sample(x, z), B: colour[2].sample(x, z)})
		}
		now := tone(0)
		for c := 1; c <= across; c++ {
			var next RGB
			if c < across {
				if next = tone(c); next == now {
					continue
				}
			}
			x0, x1 := at.X+w*float64(from)/float64(across), at.X+w*float64(c)/float64(across)
			paint.Add(Path{Segs: Box{x0, y, x1 - x0, h / float64(bands)}.Path(), Fill: Hex(now), Crisp: true})
			from, now = c, next
		}
	}

	// Lines of equal peak temperature, with their labels where they fit.
	lines := g.Sub("lines of equal peak temperature")
	var labels []Text
	place := func(p Point) Point {
		return Point{at.X + w/2 + p.X*perM, bottom - p.Y*perM}
	}
	for i, level := range f.levels() {
		for _, line := range joined(peak.isolines(level)) {
			pts := make([]Point, len(line))
			for i, p := range line {
				pts[i] = place(p)
			}
			lines.Add(Path{Segs: Polyline(pts...), Stroke: Of(Paper).Fade(0.55), Width: em * 0.13},
				Path{Segs: Polyline(pts...), Stroke: Of(Ink), Width: em * 0.05})
		}
		labels = append(labels, f.levelLabels(peak, level, i, s, place, small)...)
	}
	var put []Box
	for _, t := range labels {
		b := t.Box()
		ok := b.Y > box.Y+1 && b.Bottom() < bottom-1 && b.X >= box.X && b.Right() <= box.Right()
		air := small * 0.12
		for _, o := range put {
			if b.X-air < o.Right() && o.X-air < b.Right() && b.Y-air < o.Bottom() && o.Y-air < b.Bottom() {
				ok = false
			}
		}
		if ok {
			put = append(put, b)
			lines.Add(t)
		}
	}

	// Outline: a slab goes on beyond its drawn ends.
	edge := Of(Ink)
	g.Line(box.X, box.Y, box.Right(), box.Y, edge, em*0.06)
	g.Line(box.X, bottom, box.Right(), bottom, edge, em*0.06)
	if s.DiameterM > 0 {
		g.Line(box.X, box.Y, box.X, bottom, edge, em*0.06)
		g.Line(box.Right(), box.Y, box.Right(), bottom, edge, em*0.06)
	}
	for _, side := range []struct {
		name string
		y    float64
	}{{s.TopSide, box.Y + small*1.05}, {s.BottomSide, bottom - small*0.4}} {
		if side.name != "" && h > small*5 {
			g.Add(Text{X: box.X + small*0.4, Y: side.y, S: side.name, Size: small, Weight: Bold, Fill: Of(Ink), Halo: true})
		}
	}

	f.strip(g, s, Box{box.Right() + em*0.4, box.Y, stripW, h}, em, small, lo, hi)
}

// levelLabels returns the labels of one level wherever an upright crosses it;
// neighbouring levels are labelled beside each other, so that close lines
// keep their labels.
func (f CutFace) levelLabels(peak field, level float64, nth int, s Section, place func(Point) Point, small float64) []Text {
	x := s.width() * 0.16 * float64(nth%3-1)
	var out []Text
	const steps = 240
	was := peak.sample(x, 0)
	for i := 1; i <= steps; i++ {
		y := s.ThicknessM * float64(i) / steps
		v := peak.sample(x, y)
		if finite(v) && finite(was) && (was < level) != (v < level) {
			p := place(Point{x, y - s.ThicknessM/steps/2})
			out = append(out, Text{X: p.X, Y: p.Y + small*0.36, S: f.degrees(level, false), Size: small, Anchor: Middle, Fill: Of(Ink), Halo: true})
		}
		was = v
	}
	return out
}

// fields returns the peak temperature and the three colour channels on a grid
// centred on the axis and reaching to the faces.
func (s Section) fields() (peak field, colour [3]field) {
	half := s.width() / 2
	xs, col := []float64{-half, half}, []int{0, 0}
	if s.DiameterM > 0 {
		xs, col = nil, nil
		n := len(s.RadiusM)
		for i := n - 1; i >= 0; i-- {
			xs, col = append(xs, -s.RadiusM[i]), append(col, i)
		}
		for i := range n {
			if s.RadiusM[i] > 0 {
				xs, col = append(xs, s.RadiusM[i]), append(col, i)
			}
		}
		xs, col = edged(xs, col, -half, half)
	}
	row := make([]int, len(s.HeightM))
	for i := range row {
		row[i] = i
	}
	ys, row := edged(append([]float64(nil), s.HeightM...), row, 0, s.ThicknessM)
	pick := func(get func(r, c int) float64) field {
		v := make([][]float64, len(ys))
		for i, r := range row {
			v[i] = make([]float64, len(xs))
			for j, c := range col {
				v[i][j] = get(r, c)
			}
		}
		return field{xs, ys, v}
	}
	peak = pick(func(r, c int) float64 { return s.PeakC[r][c] })
	colour[0] = pick(func(r, c int) float64 { return s.Colour[r][c].L })
	colour[1] = pick(func(r, c int) float64 { return s.Colour[r][c].A })
	colour[2] = pick(func(r, c int) float64 { return s.Colour[r][c].B })
	return peak, colour
}

// edged carries the first and last values of a grid line out to lo and hi.
func edged(p []float64, idx []int, lo, hi float64) ([]float64, []int) {
	if p[0] > lo {
		p, idx = append([]float64{lo}, p...), append([]int{idx[0]}, idx...)
	}
	if last := len(p) - 1; p[last] < hi {
		p, idx = append(p, hi), append(idx, idx[last])
	}
	return p, idx
}

// strip draws the temperature through the middle, with its extremes.
func (f CutFace) strip(g *Group, s Section, b Box, em, small, lo, hi float64) {
	sub := g.Sub("temperature through the middle")
	n := min(64, max(16, int(b.H/3)))
	col := field{[]float64{0}, s.HeightM, column(s.NowC)}
	for i := range n {
		v := col.sample(0, (float64(i)+0.5)/float64(n)*s.ThicknessM)
		y := b.Bottom() - b.H*float64(i+1)/float64(n)
		sub.Add(Path{Segs: Box{b.X, y, b.W, b.H / float64(n)}.Path(), Fill: Hex(heatTone((v - lo) / (hi - lo))), Crisp: true})
	}
	sub.Add(Path{Segs: b.Path(), Stroke: Of(Muted), Width: em * 0.04})
	tx := b.Right() + em*0.25
	put := func(y float64, v float64) {
		sub.Add(Text{X: tx, Y: y, S: f.degrees(v, false), Size: small, Fill: Of(Ink)})
	}
	put(b.Y+small*0.74, s.NowC[len(s.NowC)-1])
	if b.H > small*3.6 {
		put(b.Y+b.H/2+small*0.37, col.sample(0, s.ThicknessM/2))
	}
	if b.H > small*2 {
		put(b.Bottom(), s.NowC[0])
	}
}

func column(v []float64) [][]float64 {
	out := make([][]float64, len(v))
	for i := range v {
		out[i] = v[i : i+1]
	}
	return out
}

const cutLegend = "Strip: temperature through the middle at that moment. Lines: highest temperature reached so far. " +
	"Colours are modelled between chosen ends."

func (f CutFace) footLines(size Size, small float64) []string {
	lines := Wrap(doneness.ColourCaution, Regular, small, size.W-2*size.TextPx)
	lines = append(lines, Wrap(cutLegend, Regular, small, size.W-2*size.TextPx)...)
	for _, c := range f.Cautions {
		lines = append(lines, Wrap(c, Regular, small, size.W-2*size.TextPx)...)
	}
	return lines
}

func (f CutFace) footHeight(size Size, em, small float64) float64 {
	return em*0.6 + em*0.9 + small*1.5 + float64(len(f.footLines(size, small)))*small*leading + em
}

// footer draws the scale of the strips, a length bar and the sentences.
func (f CutFace) footer(g *Group, size Size, y, em, small, lo, hi, perM float64) float64 {
	y += em * 0.3
	// Length: 10 mm or half an inch.
	l, name := 0.01, "10 mm"
	if f.Inch {
		l, name = 0.0127, "½ in"
	}
	x := em
	g.Line(x, y+em*0.45, x+l*perM, y+em*0.45, Of(Ink), em*0.1)
	g.Add(Text{X: x, Y: y + em*0.9 + small, S: name, Size: small, Fill: Of(Ink)})
	// Temperature scale.
	x += math.Max(l*perM, Width(name, Regular, small)) + em*1.5
	w := math.Min(size.W-x-em*2, em*22)
	const n = 96
	scale := g.Sub("temperature scale of the strips")
	for i := range n {
		scale.Add(Path{Segs: Box{x + w*float64(i)/n, y, w / n, em * 0.8}.Path(), Fill: Hex(heatTone((float64(i) + 0.5) / n)), Crisp: true})
	}
	scale.Add(Path{Segs: Box{x, y, w, em * 0.8}.Path(), Stroke: Of(Muted), Width: em * 0.04})
	step := scaleStep(hi-lo, f.Fahrenheit)
	from := lo
	if f.Fahrenheit {
		from = quantity.Celsius(lo).F()
		from = (math.Ceil(from/step.shown)*step.shown - 32) / 1.8
	} else {
		from = math.Ceil(lo/step.shown) * step.shown
	}
	for v := from; v <= hi+1e-9; v += step.k {
		tx := x + w*(v-lo)/(hi-lo)
		scale.Line(tx, y, tx, y+em*0.95, Of(Ink), em*0.04)
		scale.Add(Text{X: tx, Y: y + em*0.9 + small, S: f.degrees(v, true), Size: small, Anchor: Middle, Fill: Of(Ink)})
	}
	y += em*0.9 + small*1.5
	for i, line := range f.footLines(size, small) {
		y += small * leading
		fill := Of(Muted)
		if i == 0 { // the caution
			fill = Of(Ink)
		}
		g.Add(Text{X: em, Y: y, S: line, Size: small, Fill: fill})
	}
	return y
}

type tickStep struct{ shown, k float64 }

// scaleStep returns a round step that gives at most five marks.
func scaleStep(spanK float64, fahrenheit bool) tickStep {
	per := 1.0
	if fahrenheit {
		per = 1.8
	}
	for _, s := range []float64{1, 2, 5, 10, 20, 25, 50, 100, 200} {
		if spanK*per/s <= 5 {
			return tickStep{s, s / per}
		}
	}
	return tickStep{500, 500 / per}
}

// heatTone is a scale from deep blue to pale yellow whose lightness rises
// evenly, so that it reads without colour too.
func heatTone(share float64) RGB {
	x := math.Max(0, math.Min(1, share))
	if math.IsNaN(share) {
		x = 0
	}
	return rgb(doneness.Lab{L: 25 + 67*x, A: 12 * math.Sin(math.Pi*x), B: -38 + 90*x})
}

func rgb(c doneness.Lab) RGB {
	v := c.RGB()
	return RGB(uint32(v.R)<<16 | uint32(v.G)<<8 | uint32(v.B))
}

func labPaint(c doneness.Lab) Paint { return Hex(rgb(c)) }
