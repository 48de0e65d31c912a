package heat

import "fmt"

// DefaultBoardH is the coefficient between a piece and a board, W/(m²·K);
// common practice, no source. A rack is [Air] on the underside.
const DefaultBoardH = 12.0

// Board is a board or plate the piece rests on, q = h·(T_board − T_s);
// nothing evaporates from the face that lies on it.
type Board struct {
	TempC float64
	H     float64 // W/(m²·K); 0 is DefaultBoardH
}

// Describe names the face.
func (f Board) Describe() string { return fmt.Sprintf("board %.4g °C", f.TempC) }

func (f Board) check() error {
	c := checker{}
	c.temperature("board", f.TempC)
	c.atLeast("h", f.H, 0)
	return c.err
}

func (f Board) compile(*environment) boundary {
	return boundary{contactH: orDefault(f.H, DefaultBoardH), contactC: f.TempC}
}

// Foil is a loose wrap in air. The still gap below it (GapH) and the film
// outside it (H, with little radiation from bare metal) act in series and
// nothing evaporates through it:
//
//	q = (T_air − T_s)/(1/h_gap + 1/h).
type Foil struct {
	AirC float64
	H    float64 // outside, W/(m²·K); 0 is 6
	GapH float64 // between food and foil, W/(m²·K); 0 is 10. Both defaults: common practice, no source
}

// Describe names the face.
func (f Foil) Describe() string { return fmt.Sprintf("foil in air %.4g °C", f.AirC) }

func (f Foil) check() error {
	c := checker{}
	c.temperature("air", f.AirC)
	c.atLeast("h", f.H, 0)
	c.atLeast("gap", f.GapH, 0)
	return c.err
}

func (f Foil) compile(*environment) boundary {
	outside, gap := orDefault(f.H, 6), orDefault(f.GapH, 10)
	return boundary{convH: 1 / (1/outside + 1/gap), convC: f.AirC}
}

// Insulated passes no heat and no water.
type Insulated struct{}

// Describe names the face.
func (Insulated) Describe() string              { return "insulated" }
func (Insulated) check() error                  { return nil }
func (Insulated) compile(*environment) boundary { return boundary{} }

// FixedTemperature holds the surface at a temperature (Trace instead of
// TempC when given).
type FixedTemperature struct {
	TempC float64
	Trace *Series
}

// Describe names the face.
func (f FixedTemperature) Describe() string {
	if f.Trace != nil {
		return "surface held on its trace"
	}
	return fmt.Sprintf("surface held at %.4g °C", f.TempC)
}

func (f FixedTemperature) check() error {
	c := checker{}
	c.temperature("temperature", f.TempC)
	c.series("temperature trace", f.Trace)
	return c.err
}

func (f FixedTemperature) compile(*environment) boundary {
	return boundary{fixedH: heldFast, fixedC: f.TempC, airTrace: f.Trace, traceIsFixed: true}
}

// FixedFlux gives the face a heat flux, W/m², positive into the piece.
type FixedFlux struct{ WM2 float64 }

// Describe names the face.
func (f FixedFlux) Describe() string { return fmt.Sprintf("flux %.4g W/m²", f.WM2) }

func (f FixedFlux) check() error {
	c := checker{}
	c.between("flux", f.WM2, -1e6, 1e6)
	return c.err
}

func (f FixedFlux) compile(*environment) boundary { return boundary{flux: f.WM2} }
