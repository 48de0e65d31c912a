package heat

import "fmt"

// DefaultFluidH is the coefficient of a stirred bath and of frying fat,
// W/(m²·K). Stirred baths: 100–200 around bagged food; frying fat at
// 90–110 °C around pork: 188–226 (J. Food Eng., 2006).
const DefaultFluidH = 200.0

// Fluid is a bath or a fryer, q = h·(T_fluid − T_s). Nothing evaporates into
// it; above boiling the piece boils inside.
type Fluid struct {
	TempC float64
	Trace *Series
	H     float64 // W/(m²·K); 0 is DefaultFluidH
}

// Describe names the face.
func (f Fluid) Describe() string {
	if f.Trace != nil {
		return "fluid by its trace"
	}
	return fmt.Sprintf("fluid %.4g °C", f.TempC)
}

func (f Fluid) check() error {
	c := checker{}
	c.temperature("fluid", f.TempC)
	c.atLeast("h", f.H, 0)
	c.series("fluid trace", f.Trace)
	return c.err
}

func (f Fluid) compile(*environment) boundary {
	return boundary{convH: orDefault(f.H, DefaultFluidH), convC: f.TempC, airTrace: f.Trace}
}
