package stats

import (
	"math"

	"trivet/fault"
)

// GradeContrast compares an ordered grade of a treatment with the control
// inside blocks.
type GradeContrast struct {
	// BlockEffect is the mean difference in grades, each step counted as one:
	// the scale of a margin such as "half a grade".
	BlockEffect
	// Ranks is the same on midranks over the whole table; its p-value does not
	// depend on the steps being equal.
	Ranks BlockEffect
	// LogOdds of a higher grade by the cumulative logit model, with its
	// standard error and two-sided p; NaN when no finite value fits.
	LogOdds, LogOddsSE, LogOddsP float64
}

// GradeComparison is the answer of [CompareGrades].
type GradeComparison struct {
	Method string
	Grades []float64 // that occur, ascending
	// Thresholds of the cumulative logit model, between neighbouring grades,
	// and the variance of its random block intercept.
	Thresholds    []float64
	BlockVariance float64
	LogLikelihood float64
	Contrasts     []GradeContrast
	Notes         []fault.Note
}

// CompareGrades compares ordered grades (numbers; larger is more) inside
// blocks: sign flips of the differences in ranks and in grades, and beside
// them a cumulative logit model with a random intercept of block (McCullagh
// 1980, JRSS B 42:109), P(grade ≤ j) = 1/(1+exp(−(θⱼ − xβ − b))).
func CompareGrades(t Table, o Options, seed string) (*GradeComparison, error) {
	b, err := gatherBlocked(t, &o, "graded")
	if err != nil {
		return nil, err
	}
	grades, place := gradeLevels(t.Response)
	if len(grades) < 2 {
		return nil, fault.New("all-equal", "every grade is %g", grades[0]).WithFix("use a finer scale")
	}
	const most = 30
	if len(grades) > most {
		return nil, fault.New("not-grades", "%d different grades look like a measurement", len(grades)).WithFix("compare it as a number instead")
	}
	out := &GradeComparison{Method: "grades inside blocks, sign flips on ranks", Grades: grades, Notes: b.notes}

	ranked := t
	ranked.Response = make([]float64, t.Len())
	for i, r := range doubledMidranks(t.Response, 0) {
		ranked.Response[i] = float64(r) / 2
	}
	rankUnits, err := gather(ranked, &o)
	if err != nil {
		return nil, err
	}
	x, stratum, strata, err := b.rows(t, o)
	if err != nil {
		return nil, err
	}
	var fit *cumulativeLogit
	if !o.DifferencesOnly {
		fit = fitCumulativeLogit(place, len(grades), x, byStratum(stratum, strata))
	}
	switch {
	case o.DifferencesOnly:
		out.BlockVariance, out.LogLikelihood = math.NaN(), math.NaN()
	case fit == nil:
		out.Notes = append(out.Notes, fault.Notef("odds-infinite", "No finite odds ratio fits: some treatment only ever got the lowest or the highest grade."))
		out.BlockVariance, out.LogLikelihood = math.NaN(), math.NaN()
	default:
		out.Thresholds, out.BlockVariance, out.LogLikelihood = fit.thresholds, fit.sigma*fit.sigma, fit.value
		if fit.sigma == 0 {
			out.Notes = append(out.Notes, fault.Notef("block-variance-zero", "The variance between blocks is estimated as zero in the cumulative logit model."))
		}
	}
	if len(b.u.response) < t.Len() {
		out.Notes = append(out.Notes, fault.Notef("odds-of-rows", "The odds ratio counts every row; several rows of a piece make it look surer than it is. The sign flips do not."))
	}
	for k, j := range b.others() {
		c := GradeContrast{LogOdds: math.NaN(), LogOddsSE: math.NaN(), LogOddsP: math.NaN()}
		if c.BlockEffect, err = b.effect(j, b.u.response, seed); err != nil {
			return nil, err
		}
		if c.Ranks, err = b.effect(j, rankUnits.response, seed); err != nil {
			return nil, err
		}
		if fit != nil {
			c.LogOdds, c.LogOddsSE = fit.beta[k], fit.se[k]
			c.LogOddsP = 2 * bigPhi(-math.Abs(c.LogOdds/c.LogOddsSE))
		}
		out.Contrasts = append(out.Contrasts, c)
	}
	return out, nil
}

// gradeLevels sorts the grades and gives the place of each response in them.
func gradeLevels(y []float64) (grades []float64, place []int) {
	labels := make([]string, len(y))
	for i, v := range y {
		labels[i] = formatFloat(v)
	}
	f := newFactor(labels)
	grades = levelScores(f.levels)
	return grades, f.index
}
