package figure

import "math"

// barRow is one named quantity with a bar for each series.
type barRow struct {
	label string
	bars  []bar
}

type bar struct {
	value float64 // along the axis; not finite draws none
	text  string  // printed at the end of the bar
	style Style
}

// barRows draws labelled horizontal bars from y down and returns the y below
// them. Each bar's text stands at its end, or inside the sheet's edge where
// the bar reaches too far.
func (s *sheet) barRows(g *Group, rows []barRow, ax axis, y, thick float64) float64 {
	for _, r := range rows {
		rg := g.Sub(r.label)
		y = s.paragraph(rg, r.label, s.body.X, y, s.body.W, s.em, Regular, Ink)
		for _, b := range r.bars {
			mid := y + thick/2
			if !finite(b.value) {
				rg.Add(Text{X: ax.at(0), Y: mid + s.small*0.35, S: "unknown", Size: s.small, Weight: Italic, Fill: Of(Muted)})
				y += thick + 3*s.u
				continue
			}
			x0, x1 := ax.at(0), ax.at(b.value)
			rg.Add(Path{Segs: Box{math.Min(x0, x1), y, math.Max(math.Abs(x1-x0), s.u), thick}.Path(), Fill: Of(b.style.Role).Fade(0.8)})
			rg.Add(b.style.Marker(Point{x1, mid}, math.Min(4*s.u, thick*0.45)))
			w := Width(b.text, Regular, s.small)
			tx := math.Max(x0, x1) + 8*s.u
			if tx+w > s.body.Right() {
				tx = s.body.Right() - w
			}
			rg.Add(Text{X: tx, Y: mid + s.small*0.35, S: b.text, Size: s.small, Fill: Of(Ink), Halo: true})
			y += thick + 3*s.u
		}
		y += 6 * s.u
	}
	return y
}
