package measure

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"
)

// coverage is the level of expanded uncertainties: the share of a normal
// distribution within two standard deviations, so that k is 2 where the
// degrees of freedom are many (JCGM 100:2008, 6.3.3).
const coverage = 0.954499736103642

// BudgetLine is one line of an uncertainty budget as a table shows it.
type BudgetLine struct {
	Source
	Nu    float64 // degrees of freedom; +Inf where it is known from elsewhere
	Share float64 // of the variance, 0–1
}

// Table is the budget with shares of the variance, the largest first.
func (r Response) Table() []BudgetLine {
	var out []BudgetLine
	total := 0.0
	for _, s := range r.Budget {
		total += s.StdU * s.StdU
	}
	for _, s := range r.Budget {
		l := BudgetLine{Source: s, Nu: math.Inf(1)}
		if nu, ok := r.nu[s.Name]; ok {
			l.Nu = nu
		}
		if total > 0 {
			l.Share = s.StdU * s.StdU / total
		}
		out = append(out, l)
	}
	slices.SortStableFunc(out, func(a, b BudgetLine) int { return cmp.Compare(b.Share, a.Share) })
	return out
}

// EffectiveNu is the effective degrees of freedom of a combined uncertainty,
// ν = u⁴ / Σ (u_i⁴/ν_i), +Inf where every source is known from elsewhere (the
// Welch–Satterthwaite formula: JCGM 100:2008, G.4.1).
func EffectiveNu(lines []BudgetLine) float64 {
	var u2, sum float64
	for _, l := range lines {
		u2 += l.StdU * l.StdU
		if !math.IsInf(l.Nu, 1) && l.Nu > 0 {
			sum += math.Pow(l.StdU, 4) / l.Nu
		}
	}
	if sum == 0 {
		return math.Inf(1)
	}
	return u2 * u2 / sum
}

// CoverageFactor is k for a level of confidence and effective degrees of
// freedom, rounded down to a whole number (JCGM 100:2008, G.4.1 note 1):
// Student's t, the normal quantile for +Inf.
func CoverageFactor(level, nu float64) float64 {
	// What rounds to a whole number in three figures is that number.
	if nu = math.Floor(nu + 0.02); nu > 1e4 || math.IsInf(nu, 1) {
		// Beyond its own figures the quantile shows only how it was computed.
		return math.Round(1e9*distuv.UnitNormal.Quantile(0.5+level/2)) / 1e9
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: max(nu, 1)}.Quantile(0.5 + level/2)
}

// Expanded is the expanded uncertainty U = k u at 95.45 %, and its k.
func (r Response) Expanded() (expanded, k float64) {
	k = CoverageFactor(coverage, EffectiveNu(r.Table()))
	return k * r.StdU, k
}

// Interval holds the value at 95.45 %: the value ± U, or where distributions
// were propagated their central interval (JCGM 101:2008, 7.7), which need not
// be even.
func (r Response) Interval() (low, high float64) {
	u, _ := r.Expanded()
	low, high = r.Value-u, r.Value+u
	if r.draws.n > 0 && r.StdU > 0 {
		// The other sources are joined to the drawn ones in quadrature.
		rest := max(0, r.StdU*r.StdU-r.draws.sd*r.draws.sd)
		low = r.Value - math.Hypot(r.draws.low, 2*math.Sqrt(rest))
		high = r.Value + math.Hypot(r.draws.top, 2*math.Sqrt(rest))
	}
	return low, high
}

// Halving says what would halve the uncertainty: how far the dominating
// source must come down, or that none alone can, and how that is done.
func (r Response) Halving() string {
	t := r.Table()
	if len(t) == 0 || r.StdU == 0 {
		return ""
	}
	top := t[0]
	var b strings.Builder
	if top.Share > 0.75 {
		f := math.Sqrt(1 - 0.75/top.Share)
		if f < 0.05 {
			fmt.Fprintf(&b, "without “%s” the uncertainty would halve", top.Name)
		} else {
			fmt.Fprintf(&b, "“%s” brought down to %.0f %% of itself would halve the uncertainty", top.Name, 100*f)
		}
	} else {
		fmt.Fprintf(&b, "no single source halves it: without “%s” it would be %.0f %% of itself", top.Name, 100*math.Sqrt(1-top.Share))
	}
	if how := remedy(top.Name); how != "" {
		b.WriteString("; " + how)
	}
	return b.String()
}

// remedy says how a source is made smaller.
func remedy(source string) string {
	for _, r := range []struct{ begins, how string }{
		{"sensors on the faces, class", "check the sensors on the faces at the ice point and note what they read"},
		{"sensor, class", "check the sensor at the ice point and note what it reads"},
		{"sensor, checked", "repeat the check, in stirred slush, and average"},
		{"sensors against each other", "check all sensors together in stirred water"},
		{"fit of the profile", "use more sensors along the probe, or measure how deep it went in"},
		{"probe within", "use a probe with three sensors or more"},
		{"resolution of the log", "set the logger to finer steps"},
		{"sampling interval", "log more often"},
		{"weighing", "use a scale with finer steps, and weigh twice"},
		{"scatter of repeats", "repeat the reading more often inside the piece"},
		{"scatter of the mass curve", "log the scale for longer, out of draughts"},
		{"mass rate", "log the scale for longer, out of draughts"},
		{"flatness of the peak", "log in finer steps, and more often"},
		{"noise about the peak", "log in finer steps, and more often"},
		{"correction for the sensor's lag", "use a thinner sensor, or measure its time constant in the food"},
		{"correction for heat along the stem", "push the probe in further along an isotherm"},
		{"depth of the sensors", "measure where the sensors sit"},
		{"thickness", "measure the thickness at more points"},
		{"latent heat, surface temperature assumed", "put a sensor on the surface"},
		{"sensor, slope", "check the sensor where water boils, too, and write boil and altitude"},
		{"contact of the sensor", "fix the sensor to the surface"},
		{"clocks of the marks", "mark more events on both clocks, or log both on one device"},
	} {
		if strings.HasPrefix(source, r.begins) {
			return r.how
		}
	}
	return ""
}

// withNu notes the degrees of freedom of a source.
func (r *Response) withNu(source string, nu float64) {
	if r.nu == nil {
		r.nu = map[string]float64{}
	}
	r.nu[source] = max(nu, 1)
}

// responseJSON is a response as it is written: with its expanded uncertainty,
// its interval and the degrees of freedom that cannot be told from the rest.
type responseJSON struct {
	plainResponse
	NuEff     *float64           `json:"nu_eff,omitempty"`
	K         float64            `json:"k,omitempty"`
	ExpandedU float64            `json:"expanded_u,omitempty"`
	Low       *float64           `json:"low,omitempty"`
	High      *float64           `json:"high,omitempty"`
	Nu        map[string]float64 `json:"nu,omitempty"`
	Drawn     *drawnJSON         `json:"drawn,omitempty"`
}

type plainResponse Response

type drawnJSON struct {
	N   int     `json:"n"`
	SD  float64 `json:"sd"`
	Low float64 `json:"low"`
	Top float64 `json:"high"`
}

// MarshalJSON adds the expanded uncertainty to the fields.
func (r Response) MarshalJSON() ([]byte, error) {
	out := responseJSON{plainResponse: plainResponse(r), Nu: r.nu}
	if r.StdU > 0 {
		out.ExpandedU, out.K = r.Expanded()
		low, high := r.Interval()
		out.Low, out.High = &low, &high
		if nu := EffectiveNu(r.Table()); !math.IsInf(nu, 1) {
			out.NuEff = &nu
		}
	}
	if r.draws.n > 0 {
		out.Drawn = &drawnJSON{r.draws.n, r.draws.sd, r.draws.low, r.draws.top}
	}
	return json.Marshal(out)
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (r *Response) UnmarshalJSON(b []byte) error {
	var in responseJSON
	if err := json.Unmarshal(b, &in); err != nil {
		return err
	}
	*r = Response(in.plainResponse)
	r.nu = in.Nu
	if d := in.Drawn; d != nil {
		r.draws = drawn{d.N, d.SD, d.Low, d.Top}
	}
	return nil
}
