// Package tasting plans, serves and scores blind sensory tests.
//
// Start with [Lookup] for a method and [Size] for the number of assessors:
//
//	m, _ := tasting.Lookup("triangle")
//	plan, _ := tasting.Size(m, tasting.Goal{Alpha: 0.05, Beta: 0.10, Discriminators: 0.30})
//
// then [Deal] draws orders and codes into a [Key], [LockKey] publishes its
// hash, a [Session] takes the ballots, and [Score] or a method's own scorer
// turns the opened session into a result. Each method stands in one file and
// states what its result may and may not claim.
//
// # Notation
//
// n assessments, x correct, g the guess probability, pc the probability of a
// correct answer, pd = (pc−g)/(1−g) the share of discriminators, d′ the
// distance of the two products in standard deviations of a perceived
// intensity (equal variances, independent, normal). A method's psychometric
// function gives pc from d′. pd depends on the method; d′ may be compared
// between methods.
//
// Values are not safe for concurrent use; a server holds one lock around a
// [Session].
//
// Randomness and time are always passed in. Nothing here reads a clock, a
// file or a global source.
package tasting
