package figure

import (
	"testing"

	"trivet/doneness"
	"trivet/heat"
)

// A piece lying on its side B is drawn with B below and its rows turned.
func TestSectionFollowsTheTurn(t *testing.T) {
	g := heat.Grid{Shape: heat.Disc, ThicknessM: 0.03, DiameterM: 0.06, DepthsM: []float64{0.004, 0.015, 0.029}, RadialCells: 2, RadiiM: []float64{0.01, 0.025}}
	snap := heat.Snapshot{TempC: []float64{90, 80, 40, 35, 20, 15}, PeakC: []float64{95, 85, 45, 40, 25, 20}, SideADown: true}
	m := doneness.For(doneness.Beef)
	done := heat.DoneMoment{State: make([]doneness.State, 6)}
	m.Advance(&done.State[0], 90, 90, 600)

	down := SectionOf(g, snap, done, m)
	if down.BottomSide != "A" || down.HeightM[0] != 0.004 || down.NowC[0] != 90 || down.PeakC[0][1] != 85 || len(down.RadiusM) != 2 {
		t.Errorf("lying on A: %+v", down)
	}
	snap.SideADown = false
	up := SectionOf(g, snap, done, m)
	if up.BottomSide != "B" || up.NowC[0] != 20 || up.PeakC[2][0] != 95 || up.Colour[2][0] != down.Colour[0][0] {
		t.Errorf("lying on B: %+v", up)
	}
	for i, want := range []float64{0.001, 0.015, 0.026} {
		if d := up.HeightM[i] - want; d > 1e-12 || d < -1e-12 {
			t.Errorf("row %d at %v, want %v", i, up.HeightM[i], want)
		}
	}
	if g.DepthsM[0] != 0.004 || snap.TempC[0] != 90 {
		t.Error("the solver's field was changed")
	}
	if _, err := (CutFace{Pieces: []CutPiece{{"x", []Section{down, up}}}}).Scene(HD, Dark); err != nil {
		t.Error(err)
	}
}

func TestSnapshotAtTakesTheNearest(t *testing.T) {
	res := &heat.Result{Snapshots: []heat.Snapshot{{TimeS: 10}, {TimeS: 60}, {TimeS: 300}}}
	if got := SnapshotAt(res, 70).TimeS; got != 60 {
		t.Errorf("nearest to 70 s is %v", got)
	}
}
