package figure

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// RankedProduct is a product with the ranks that it was given.
type RankedProduct struct {
	Name  string
	Sum   float64   // of its ranks
	Ranks []float64 // one for each assessor, from 1; tied ranks are halves
}

// Ranks shows the rank sums of a ranking test, each with a bar as long as the
// least significant difference, and how often each rank was given.
type Ranks struct {
	Head
	Products []RankedProduct
	LSD      float64 // least significant difference of two rank sums; 0 none
	Alpha    float64 // at which it was taken
	Shown    bool    // the test over all products shows an order
}

var _ Figure = Ranks{}

func (f Ranks) check() error {
	if len(f.Products) < 2 {
		return errEmpty("the ranks figure", "give at least two products")
	}
	n := len(f.Products[0].Ranks)
	if n == 0 {
		return errEmpty("the ranks figure", "give at least one assessor's ranks")
	}
	for _, p := range f.Products {
		if len(p.Ranks) != n {
			return errInput("Ranks", p.Name, "%s has %d ranks and %s has %d", p.Name, len(p.Ranks), f.Products[0].Name, n)
		}
		if !finite(p.Sum) {
			return errInput("Sum", fmt.Sprint(p.Sum), "the rank sum of %s is no number", p.Name)
		}
		for _, r := range p.Ranks {
			if !(r >= 1 && r <= float64(len(f.Products))) {
				return errInput("Ranks", fmt.Sprint(r), "a rank of %s lies outside 1 to %d", p.Name, len(f.Products))
			}
		}
	}
	return nil
}

// ordered returns the products, first ranked first.
func (f Ranks) ordered() []RankedProduct {
	out := slices.Clone(f.Products)
	slices.SortStableFunc(out, func(a, b RankedProduct) int { return cmp.Compare(a.Sum, b.Sum) })
	return out
}

// given returns the ranks that occur, rising.
func (f Ranks) given() []float64 {
	var out []float64
	for _, p := range f.Products {
		out = append(out, p.Ranks...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func (p RankedProduct) count(rank float64) (n int) {
	for _, r := range p.Ranks {
		if r == rank {
			n++
		}
	}
	return n
}

// Scene lays the figure out.
func (f Ranks) Scene(size Size, theme Theme) (*Scene, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	return fitted(size, func(size Size) (*Scene, float64, float64, error) {
		sc, bottom, limit := f.lay(size, theme)
		return sc, bottom, limit, nil
	})
}

func (f Ranks) lay(size Size, theme Theme) (*Scene, float64, float64) {
	s := newSheet(f.orNote(f.keyNote()), f.Alt(), size, theme)
	limit := s.body.Bottom()
	g := &s.Root
	sums, given := g.Sub("rank sums"), g.Sub("how often each rank was given")
	if size.Compact {
		y := f.sums(s, sums, s.body, 0)
		y = f.strips(s, given, Box{X: s.body.X, Y: y + 14*s.u, W: s.body.W}, 0)
		return s.done(y), y, limit
	}
	gap := 30 * s.u
	left := Box{s.body.X, s.body.Y, (s.body.W - gap) * 0.54, s.body.H}
	right := Box{left.Right() + gap, s.body.Y, s.body.W - gap - left.W, s.body.H}
	// Both panels keep one height of head and of row, so that rows align.
	head := math.Max(f.headHeight(s, left.W, f.sumKeys()), f.headHeight(s, right.W, f.rankKeys()))
	bottom := math.Max(f.sums(s, sums, left, head), f.strips(s, given, right, head))
	return s.done(bottom), bottom, limit
}

// headHeight is the room a legend needs, found by setting it nowhere.
func (f Ranks) headHeight(s *sheet, w float64, keys []entry) float64 {
	return s.legend(&Group{}, keys, 0, 0, w) + 6*s.u
}

func (f Ranks) sumKeys() []entry {
	out := []entry{{label: "rank sum", style: StyleOf(0), point: true}}
	if f.LSD > 0 && finite(f.LSD) {
		out = append(out, entry{label: "as long as the LSD, " + decimal(f.LSD, 1, false), style: f.barStyle(), line: true})
	}
	return out
}

// barStyle is pale and dashed while no pair may be called different.
func (f Ranks) barStyle() Style {
	if f.Shown {
		return Style{Role: S1}
	}
	return Style{Role: Muted, Dash: []float64{2, 2}}
}

func (f Ranks) rankKeys() []entry {
	var out []entry
	for _, r := range f.given() {
		p := f.shade(r)
		out = append(out, entry{label: "rank " + rankText(r), style: Style{Role: S1}, fill: &p})
	}
	return out
}

func (f Ranks) keyNote() string {
	out := "Rank 1 is the first, so a low sum is ranked before a high one."
	switch {
	case f.LSD <= 0 || !finite(f.LSD):
	case f.Shown:
		out += fmt.Sprintf(" Two products whose bars do not meet differ at %s.", percent(f.Alpha))
	default:
		out += " The test over all products shows no order, so no two of them are called different, whether or not their bars meet."
	}
	return out
}

// shade runs from dark for rank 1 to pale for the last.
func (f Ranks) shade(rank float64) Paint {
	return Of(S1).Fade(0.9 - 0.78*(rank-1)/float64(len(f.Products)-1))
}

// grey is how light a colour looks, 0 to 1: the lightness L* of CIE 1976
// from relative luminance, near enough with a gamma of 2.2.
func (c RGB) grey() float64 {
	r, g, b := c.parts()
	lin := func(v uint8) float64 { return math.Pow(float64(v)/255, 2.2) }
	return math.Cbrt(0.2126*lin(r) + 0.7152*lin(g) + 0.0722*lin(b))
}

func (t Theme) grey(r Role) float64 { return t.Colour(r).grey() }

// over is the grey of a paint on the theme's paper.
func (t Theme) over(p Paint) float64 {
	return p.alpha()*t.Resolve(p).grey() + (1-p.alpha())*t.grey(Paper)
}

func rankText(r float64) string { return decimal(r, trimmed(r, 1), false) }

// row is the height of a product's row below its name.
func (f Ranks) row(s *sheet, head float64) float64 {
	h := 26 * s.u
	if s.body.H > 0 {
		free := s.body.H - head - s.xAxisHeight("x", s.body.W)
		h = math.Max(h, math.Min(90*s.u, free/float64(len(f.Products))-s.em*leading))
	}
	return h
}

// sums draws the rank sums and returns the y below them.
func (f Ranks) sums(s *sheet, g *Group, box Box, head float64) float64 {
	head = math.Max(head, f.headHeight(s, box.W, f.sumKeys()))
	s.legend(g, f.sumKeys(), box.X, box.Y, box.W)
	y := box.Y + head
	half := 0.0
	if f.LSD > 0 && finite(f.LSD) {
		half = f.LSD / 2
	}
	sp := newSpread()
	for _, p := range f.Products {
		sp.add(p.Sum-half, p.Sum+half)
	}
	lo, hi := sp.padded(0.06)
	ax := axis{m: Measure{}, lo: lo, hi: hi, from: box.X + 6*s.u, to: box.Right() - 6*s.u}
	row := f.row(s, head)
	top := y
	rows := g.Sub("rank sum of each product")
	for _, p := range f.ordered() {
		y += s.em * leading
		mid := y + row*0.42
		x := ax.at(p.Sum)
		if half > 0 {
			st := f.barStyle()
			rows.Line(ax.at(p.Sum-half), mid, ax.at(p.Sum+half), mid, Of(st.Role), 2.4*s.u, st.dash(2.4*s.u)...)
			for _, e := range []float64{p.Sum - half, p.Sum + half} {
				rows.Line(ax.at(e), mid-5*s.u, ax.at(e), mid+5*s.u, Of(st.Role), 2.4*s.u)
			}
		}
		rows.Add(StyleOf(0).Marker(Point{x, mid}, 5.5*s.u))
		text := "rank sum " + rankText(p.Sum)
		room := box.W - Width(text, Regular, s.small) - 10*s.u
		rows.Add(Text{X: box.X, Y: y - s.em*leading + s.em*0.95, S: Fit(p.Name, Bold, s.em, room), Size: s.em, Weight: Bold, Fill: Of(Ink)})
		rows.Add(Text{X: box.Right(), Y: y - s.em*leading + s.em*0.95, S: text, Size: s.small, Anchor: End, Fill: Of(Ink)})
		y += row
	}
	return s.xAxis(g, ax, s.xTicks(ax), Box{box.X, top, box.W, y - top}, "rank sum")
}

// strips draws, for each product, a strip cut into the ranks it was given.
func (f Ranks) strips(s *sheet, g *Group, box Box, head float64) float64 {
	head = math.Max(head, f.headHeight(s, box.W, f.rankKeys()))
	s.legend(g, f.rankKeys(), box.X, box.Y, box.W)
	y := box.Y + head
	top := y
	n := len(f.Products[0].Ranks)
	ax := axis{m: Measure{}, lo: 0, hi: float64(n), from: box.X + 4*s.u, to: box.Right() - 4*s.u}
	row := f.row(s, head)
	thick := math.Min(row-8*s.u, 34*s.u)
	for _, p := range f.ordered() {
		pg := g.Sub(f.says(p))
		pg.Add(Text{X: box.X, Y: y + s.em*0.95, S: Fit(p.Name, Bold, s.em, box.W), Size: s.em, Weight: Bold, Fill: Of(Ink)})
		y += s.em * leading
		done := 0
		for _, r := range f.given() {
			c := p.count(r)
			if c == 0 {
				continue
			}
			x0, x1 := ax.at(float64(done)), ax.at(float64(done+c))
			done += c
			fill := f.shade(r)
			cut := Box{x0, y + row*0.42 - thick/2, x1 - x0, thick}
			pg.Add(Path{Segs: cut.Path(), Fill: fill, Stroke: Of(Paper), Width: 1.5 * s.u})
			text := fmt.Sprint(c)
			if Width(text, Regular, s.small) > cut.W-4*s.u {
				continue // the table has it
			}
			ink := Of(Ink)
			if on := s.Theme.over(fill); math.Abs(on-s.Theme.grey(Paper)) > math.Abs(on-s.Theme.grey(Ink)) {
				ink = Of(Paper)
			}
			pg.Add(Text{X: (x0 + x1) / 2, Y: cut.Y + thick/2 + s.small*0.35, S: text, Size: s.small, Anchor: Middle, Fill: ink})
		}
		y += row
	}
	return s.xAxis(g, ax, countsOnly(s.xTicks(ax)), Box{box.X, top, box.W, y - top}, "assessors who gave each rank")
}

func (f Ranks) says(p RankedProduct) string {
	var parts []string
	for _, r := range f.given() {
		if c := p.count(r); c > 0 {
			parts = append(parts, fmt.Sprintf("%d × rank %s", c, rankText(r)))
		}
	}
	return p.Name + ": " + strings.Join(parts, ", ")
}

// Table gives the rank sums and the count of each rank.
func (f Ranks) Table() Table {
	t := Table{Caption: f.Title, Columns: []string{"product", "rank sum"}}
	if f.check() != nil {
		return t
	}
	for _, r := range f.given() {
		t.Columns = append(t.Columns, "times rank "+rankText(r))
	}
	for _, p := range f.ordered() {
		row := []string{p.Name, cell(p.Sum)}
		for _, r := range f.given() {
			row = append(row, fmt.Sprint(p.count(r)))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// Alt says the order and the least significant difference.
func (f Ranks) Alt() string {
	if f.check() != nil {
		return "No ranks to show."
	}
	var parts []string
	for _, p := range f.ordered() {
		parts = append(parts, p.Name+" "+rankText(p.Sum))
	}
	out := fmt.Sprintf("Rank sums of %d products by %s, first ranked first: %s.", len(f.Products), plural(len(f.Products[0].Ranks), "assessor"), strings.Join(parts, "; "))
	if f.LSD > 0 && finite(f.LSD) {
		out += fmt.Sprintf(" Least significant difference %s at %s.", decimal(f.LSD, 1, false), percent(f.Alpha))
		if !f.Shown {
			out += " The test over all products shows no order."
		}
	}
	return out
}
