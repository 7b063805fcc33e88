// Package fitcorr matches worn and fixture seatings: it models how the
// response moves when the headphone moves, estimates by how much each seating
// is off, judges fixture seatings against the worn ones, corrects what cannot
// be redone and says how sensitive a model is to its fit.
//
// Analyse estimates a whole study; Frozen.Check judges one more fixture seating
// against it. This package only wires its rooms together, and imports go one
// way:
//
//	stats        quantiles, degrees of freedom, matrices, the parallel loop
//	seat         a seating, its curves, an estimate, the options of a study
//	seal         leaks and the seal of a model (leak: the circuit)
//	survey       how the response moves on the fixture when the headphone moves
//	position     where a seating sits on the fixture
//	panel        where people wear a model, from everybody's seatings
//	verdict      a fixture seating against the worn mean
//	standout     seatings unlike their group
//	correct      corrections to the worn mean, final curves
//	sensitivity  fit sensitivity, ranking, plans (varcomp: variance components)
//
// It must not know files, WAV or tables.
package fitcorr
