package figure

import (
	"math"
	"slices"

	"trivet/doneness"
	"trivet/heat"
)

// SectionOf turns a simulated moment into a section: the whole field kept by
// the solver with what heat has done to each cell by then. The piece is drawn
// the way it lies.
func SectionOf(g heat.Grid, snap heat.Snapshot, done heat.DoneMoment, m doneness.Model) Section {
	cols := max(1, g.RadialCells)
	s := Section{ThicknessM: g.ThicknessM, DiameterM: g.DiameterM, TopSide: "B", BottomSide: "A"}
	if g.DiameterM > 0 {
		s.RadiusM = slices.Clone(g.RadiiM)
	}
	for i, d := range g.DepthsM {
		peaks, colours := make([]float64, cols), make([]doneness.Lab, cols)
		for j := range cols {
			c := i*cols + j
			peaks[j] = snap.PeakC[c]
			colours[j] = m.CutColour(done.State[c])
		}
		s.HeightM = append(s.HeightM, d)
		s.PeakC, s.Colour = append(s.PeakC, peaks), append(s.Colour, colours)
		s.NowC = append(s.NowC, snap.TempC[i*cols])
	}
	if !snap.SideADown {
		s.TopSide, s.BottomSide = s.BottomSide, s.TopSide
		slices.Reverse(s.PeakC)
		slices.Reverse(s.Colour)
		slices.Reverse(s.NowC)
		slices.Reverse(s.HeightM)
		for i, h := range s.HeightM {
			s.HeightM[i] = g.ThicknessM - h
		}
	}
	return s
}

// SnapshotAt returns the kept snapshot nearest to a moment.
func SnapshotAt(res *heat.Result, timeS float64) heat.Snapshot {
	best, miss := heat.Snapshot{}, math.Inf(1)
	for _, s := range res.Snapshots {
		if d := math.Abs(s.TimeS - timeS); d < miss {
			best, miss = s, d
		}
	}
	return best
}
