// Package design deals treatments to pieces: which piece gets what, in which
// order, on which burner and under which code.
//
// The first thing to call is [Make]: it takes a [Request] (a kind of design,
// the treatments, the number of blocks, a seed) and returns a [Plan] with one
// [Slot] a cook, what the design is worth and what it cannot tell apart, in
// words. A design that cannot be made says which count would work next.
//
// Every draw comes from the seed alone (package stats, ChaCha8), with one
// stream for each purpose, so a plan is the same on any machine and a change
// of one draw, say of burners, leaves the others as they were. Version is
// written beside the seed; it changes when the same seed would deal
// otherwise.
package design
