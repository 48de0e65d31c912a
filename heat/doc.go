// Package heat predicts how a piece of food warms, browns dry, loses water
// and rests: a slab through its thickness or a disc with a rim, under any
// sequence of faces (pan, air, bath, spooned fat, board, …), turns and rests.
//
// Start with [Simulate]:
//
//	spec := &heat.Spec{
//		Piece: heat.Piece{Shape: heat.Slab, ThicknessM: 0.030, StartC: 5, Food: "pork loin, lean"},
//		Moisture: heat.Moisture{On: true},
//		Legs: []heat.Leg{{
//			Name:   "pan",
//			Bottom: heat.Pan{TempC: 200},
//			Top:    heat.Air{TempC: 25},
//			Turn:   &heat.TurnRule{EveryS: 60},
//			Ends:   heat.EndRule{CoreC: new(55.0)},
//		}},
//	}
//	res, err := heat.Simulate(spec, heat.Options{})
//
// # Model
//
// Every cell keeps its enthalpy, water and dry solids. Heat is conducted with
// properties from the composition; water is released as proteins lose their
// hold on it, drips off, diffuses, evaporates from faces and boils at the
// local boiling point, leaving a dry crust whose front is tracked inside the
// cell. The equations stand beside the code: properties.go, water.go,
// boundary.go, front.go. Time steps are adaptive (tr-bdf2, step.go) and the
// energy ledger closes to round-off.
//
// A [Solver] keeps its working memory: use one per goroutine for many cooks.
//
// # What it leaves out
//
// Melting and loss of fat, frozen food, gas pores, flow of juice along the
// fibres, rewetting of a crust, and shrinkage other than through the
// thickness. Its predictions are estimates of a model, not a measurement, and
// say nothing about whether food is safe.
package heat
