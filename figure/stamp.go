package figure

// MarkInvented makes sure that the scene says its data are invented: a figure
// that does not say so itself gets a boxed line below, or in the lower right
// corner of a sheet of fixed height.
func (s *Scene) MarkInvented(fixedHeight bool) {
	said := false
	s.Texts(func(t Text, _ Box) { said = said || t.S == InventedText })
	if said {
		return
	}
	px := s.Size.TextPx * 0.9
	u := s.Size.TextPx / 14
	w, h := Width(InventedText, Bold, px)+12*u, px*1.25+4*u
	box := Box{14 * u, s.Size.H, w, h}
	if fixedHeight {
		box.X, box.Y = s.Size.W-w-10*u, s.Size.H-h-10*u
	} else {
		s.Size.H += h + 12*u
	}
	s.Root.Add(
		Path{Segs: box.Path(), Fill: Of(Band), Stroke: Of(Ink), Width: u},
		Text{X: box.X + 6*u, Y: box.Y + px + 2*u, S: InventedText, Size: px, Weight: Bold, Fill: Of(Ink)},
	)
}
