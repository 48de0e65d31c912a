package figure

// headed is a figure that carries a [Head].
type headed interface {
	Figure
	withInvented() Figure
}

func (f AnswerLine) withInvented() Figure     { f.Invented = true; return f }
func (f BlockLines) withInvented() Figure     { f.Invented = true; return f }
func (f Traces) withInvented() Figure         { f.Invented = true; return f }
func (f Losses) withInvented() Figure         { f.Invented = true; return f }
func (f Chance) withInvented() Figure         { f.Invented = true; return f }
func (f Power) withInvented() Figure          { f.Invented = true; return f }
func (f Components) withInvented() Figure     { f.Invented = true; return f }
func (f LeaveOneOut) withInvented() Figure    { f.Invented = true; return f }
func (f Ledger) withInvented() Figure         { f.Invented = true; return f }
func (f Ratings) withInvented() Figure        { f.Invented = true; return f }
func (f Ranks) withInvented() Figure          { f.Invented = true; return f }
func (f SurenessCurve) withInvented() Figure  { f.Invented = true; return f }
func (f SequentialPath) withInvented() Figure { f.Invented = true; return f }

// InventedScene lays a figure of invented data out: its head says so, or a
// boxed line below it where the figure has no head of its own.
func InventedScene(f Figure, size Size, theme Theme) (*Scene, error) {
	if h, ok := f.(headed); ok {
		f = h.withInvented()
	}
	s, err := f.Scene(size, theme)
	if err != nil {
		return nil, err
	}
	said := false
	s.Texts(func(t Text, _ Box) { said = said || t.S == InventedText })
	if !said {
		s.stamp(size.H > 0)
	}
	return s, nil
}

// stamp boxes [InventedText] below the scene, or on a sheet of fixed height
// in its upper right corner.
func (s *Scene) stamp(fixedHeight bool) {
	px := s.Size.TextPx * 0.9
	u := s.Size.TextPx / 14
	w, h := Width(InventedText, Bold, px)+12*u, px*1.25+4*u
	box := Box{14 * u, s.Size.H, w, h}
	if fixedHeight {
		box.X, box.Y = s.Size.W-w-6*u, 6*u
	} else {
		s.Size.H += h + 12*u
	}
	s.Root.Add(
		Path{Segs: box.Path(), Fill: Of(Band), Stroke: Of(Ink), Width: u},
		Text{X: box.X + 6*u, Y: box.Y + px + 2*u, S: InventedText, Size: px, Weight: Bold, Fill: Of(Ink)},
	)
}
