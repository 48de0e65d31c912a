package figure

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// RatePoint is one criterion: how often "yes" came where it is wrong and
// where it is right, 0–1.
type RatePoint struct {
	FalseAlarm, Hit float64
}

// SurenessCurve is the signal-detection curve of answers given with sureness:
// the rates at each criterion, with the curve of a normal model through them,
// against the diagonal of guessing.
type SurenessCurve struct {
	Head
	Yes    string      // the answer counted, such as "not A"; "" prints yes
	Points []RatePoint // from (0,0) to (1,1)
	// Distance between the two normal distributions, in spreads of the one
	// where yes is wrong, and Spread of the other over that; Spread 0 or a
	// Distance that is not finite draws no curve.
	Distance, Spread float64
	Area, AreaSE     float64 // under the points; not finite says none
}

var _ Figure = SurenessCurve{}

func (f SurenessCurve) check() error {
	if len(f.Points) < 2 {
		return errEmpty("the sureness curve", "give answers with sureness")
	}
	for _, p := range f.Points {
		for _, v := range []float64{p.FalseAlarm, p.Hit} {
			if !(v >= 0 && v <= 1) {
				return errInput("Points", fmt.Sprint(v), "a rate of the sureness curve is not between 0 and 1")
			}
		}
	}
	return nil
}

func (f SurenessCurve) yes() string {
	if f.Yes == "" {
		return "yes"
	}
	return "“" + f.Yes + "”"
}

func (f SurenessCurve) fitted() bool { return finite(f.Distance) && f.Spread > 0 && finite(f.Spread) }

// hit is the fitted rate where yes is right, Φ((d + Φ⁻¹(false alarm)) / σ).
func (f SurenessCurve) hit(falseAlarm float64) float64 {
	n := distuv.UnitNormal
	return n.CDF((f.Distance + n.Quantile(falseAlarm)) / f.Spread)
}

// Scene lays the figure out.
func (f SurenessCurve) Scene(size Size, theme Theme) (*Scene, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	return fitted(size, func(size Size) (*Scene, float64, float64, error) {
		s := newSheet(f.orNote("A curve above the diagonal tells the two kinds of sample apart; the further above, the better. From left to right the points count ever less sure answers as well."), f.Alt(), size, theme)
		limit := s.body.Bottom()
		g := &s.Root
		keys := []entry{{label: "each grade of sureness", style: StyleOf(0), point: true}}
		if f.fitted() {
			keys = append(keys, entry{label: "normal model fitted", style: StyleOf(0), line: true})
		}
		keys = append(keys, entry{label: "guessing", style: Style{Role: Muted, Dash: []float64{3, 3}}, line: true})
		// Beside the plot where there is room, above it on a phone.
		words := func(x, y, w float64) float64 {
			y = s.legend(g, keys, x, y, w)
			if text := f.areaText(); text != "" {
				y = s.paragraph(g, text, x, y+4*s.u, w, s.em, Regular, Ink)
			}
			return y
		}
		y := s.body.Y
		if size.Compact {
			y = words(s.body.X, y, s.body.W)
		}
		y = s.paragraph(g, f.yes()+" where it is right, %", s.body.X, y+4*s.u, s.body.W, s.small, Regular, Muted) + 6*s.u
		heading := f.yes() + " where it is wrong, %"
		h := math.Min(300*s.u, s.body.W*0.85)
		if s.body.H > 0 {
			h = math.Max(120*s.u, limit-y-s.xAxisHeight(heading, s.body.W))
		}
		ya := axis{m: Measure{Kind: Percent}, lo: 0, hi: 100, from: y + h, to: y}
		ticks := s.yTicks(ya)
		left := s.labelWidth(ticks) + 10*s.u
		plot := Box{s.body.X + left, y, math.Min(s.body.W-left-4*s.u, h*1.25), h}
		if !size.Compact {
			x := plot.Right() + 30*s.u
			words(x, plot.Y, s.body.Right()-x)
		}
		xa := axis{m: Measure{Kind: Percent}, lo: 0, hi: 100, from: plot.X, to: plot.Right()}
		at := func(x, y float64) Point { return Point{xa.at(100 * x), ya.at(100 * y)} }
		s.yAxis(g, ya, ticks, plot)
		a, b := at(0, 0), at(1, 1)
		g.Line(a.X, a.Y, b.X, b.Y, Of(Muted), 1.4*s.u, 4*s.u, 4*s.u)
		if f.fitted() {
			pts := []Point{}
			for i := range 201 {
				// Even steps of the quantile keep both ends of the curve round.
				fa := distuv.UnitNormal.CDF(-4 + 8*float64(i)/200)
				pts = append(pts, at(fa, f.hit(fa)))
			}
			g.Sub("the fitted curve").Add(Path{Segs: Polyline(pts...), Stroke: Of(S1), Width: 2.2 * s.u})
		}
		for _, p := range f.Points {
			if p == (RatePoint{}) || p == (RatePoint{1, 1}) {
				continue // every curve has its ends
			}
			g.Sub(fmt.Sprintf("%s: %.0f %% where right, %.0f %% where wrong", f.yes(), 100*p.Hit, 100*p.FalseAlarm)).
				Add(StyleOf(0).Marker(at(p.FalseAlarm, p.Hit), 5*s.u))
		}
		y = s.xAxis(g, xa, s.xTicks(xa), plot, heading)
		return s.done(y), y, limit, nil
	})
}

func (f SurenessCurve) areaText() string {
	switch {
	case !finite(f.Area):
		return ""
	case f.AreaSE > 0 && finite(f.AreaSE):
		return "Area under the points: " + Measure{}.PlusMinus(f.Area, f.AreaSE) + " (standard error); 0.5 is guessing."
	}
	return "Area under the points: " + decimal(f.Area, 3, false) + "; 0.5 is guessing."
}

// Table gives the rates at each criterion.
func (f SurenessCurve) Table() Table {
	t := Table{Caption: f.Title, Columns: []string{f.yes() + " where wrong, %", f.yes() + " where right, %", "fitted, %"}}
	if f.check() != nil {
		return t
	}
	for _, p := range f.Points {
		fit := math.NaN()
		if f.fitted() && p.FalseAlarm > 0 && p.FalseAlarm < 1 {
			fit = 100 * f.hit(p.FalseAlarm)
		}
		t.Rows = append(t.Rows, []string{cell(100 * p.FalseAlarm), cell(100 * p.Hit), cell(fit)})
	}
	return t
}

// Alt says the area and where the curve passes.
func (f SurenessCurve) Alt() string {
	if f.check() != nil {
		return "No answers with sureness to show."
	}
	out := fmt.Sprintf("Signal-detection curve with %s.", plural(max(0, len(f.Points)-2), "inner point"))
	if text := f.areaText(); text != "" {
		out += " " + text
	}
	return out
}
