// Package stats compares treatments and says how sure the comparison is.
//
// The first thing to call is [Compare]: it takes a [Table] of one response
// per piece and [Options], picks the analysis the design asks for (blocks as
// fixed effects when the table is complete, a mixed model when runs are
// missing) and returns a [Comparison] of every treatment with the control.
//
// Underneath, and usable alone:
//
//   - [LeastSquares]: linear models by Householder QR;
//   - [FitModel]: fixed treatments with up to two random groupings, by REML,
//     with Satterthwaite degrees of freedom;
//   - [SignFlip], [SignedRank], [Bootstrap], [Comparison.Permutation]: answers
//     that do not lean on the bell curve;
//   - [Comparison.LeaveOneOut], [Outliers], [Describe]: what one block does to
//     the answer, which blocks stand apart, how large the effect is;
//   - [Holm], [Tukey], [Dunnett]: several comparisons at once;
//   - [CompareYesNo], [CompareGrades], [CompareCounts]: responses of other
//     kinds, each with an interval to hold against a margin;
//   - [Sizing], [Layout], [PowerF], [Assurance], [Precision]: how many blocks;
//   - [GroupSequential], [ConfidenceSequenceRadius], [LogEValue]: looking
//     before the end;
//   - [NewStream], [Shuffle], [Bounded]: random numbers that any machine can
//     draw again from the stored seed.
//
// Sums run in a fixed order and nothing iterates over a map, so a result is
// the same bit for bit however many workers computed it. Functions return
// errors of type *fault.Error; they read no clock and no global randomness.
package stats
