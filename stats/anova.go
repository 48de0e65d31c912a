package stats

import "math"

// ANOVARow is one line of an analysis of variance. F and P are NaN on the
// last line, the residual.
type ANOVARow struct {
	Source string
	DF     float64
	SumSq  float64
	MeanSq float64
	F      float64
	P      float64
}

// ANOVA is an analysis of variance whose sums of squares add up: each term
// explains what those above it left ("type I").
type ANOVA struct{ Rows []ANOVARow }

// ANOVA returns the sequential table of the fixed effects by least squares,
// blocks first, the residual last. For a model with random groupings it
// describes the fixed part only; test its terms by [Model.Test].
func (m *Model) ANOVA() ANOVA {
	ms := m.rss / float64(m.DFResidual)
	row := func(source string, df, ss float64) ANOVARow {
		r := ANOVARow{Source: source, DF: df, SumSq: ss, MeanSq: ss / df}
		r.F = r.MeanSq / ms
		r.P = fUpper(r.F, df, float64(m.DFResidual))
		return r
	}
	var out ANOVA
	if len(m.basis.groups.levels) > 1 {
		out.Rows = append(out.Rows, row("blocks", float64(len(m.basis.groups.levels)-1), m.ssB))
	}
	for _, t := range m.coding.terms {
		df, ss := 0.0, 0.0
		for k, j := range m.basis.qr.kept {
			if j >= t.first && j < t.past {
				df++
				ss += m.seqSS[k]
			}
		}
		if df > 0 {
			out.Rows = append(out.Rows, row(t.name, df, ss))
		}
	}
	out.Rows = append(out.Rows, ANOVARow{Source: "residual", DF: float64(m.DFResidual), SumSq: m.rss, MeanSq: ms, F: math.NaN(), P: math.NaN()})
	return out
}
