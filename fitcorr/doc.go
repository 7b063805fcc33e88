// Package fitcorr matches worn and fixture seatings: it models how the
// response moves when the headphone moves, estimates by how much each seating
// is off, judges fixture seatings against the worn ones, corrects what cannot
// be redone and says how sensitive a model is to its fit.
//
// Analyse estimates a whole study; Frozen.Check judges one more fixture seating
// against it. This package only wires its rooms together, and imports go one
// way:
//
//	stats        quantiles, degrees of freedom, matrices
//	seat         a seating, its curves, an estimate, the options of a study
//	reading      readings with a ruler: one estimate per placement
//	leak, seal   the leak circuit; leaks and the seal of a model
//	survey       how the response moves on the fixture when the headphone moves
//	placing      the posterior of where one seating sits
//	position     a surveyed model, and where the fixture's own seatings sit
//	effects, displaced, linear
//	             how ears and positions differ from person to person; listeners displaced
//	             on purpose; a response surface made straight
//	panel        where people wear a model, from everybody's seatings
//	verdict      a fixture seating against the worn mean
//	standout     seatings unlike their group
//	correct      corrections to the worn mean, final curves
//	varcomp, sensitivity
//	             variance components; fit sensitivity, ranking, plans
//	earlier      what a study knows of its panel for later ones
//	between      several fixtures against each other and against people
//
// Everywhere an axis is forward (mm, toward the nose), up (mm, toward the crown), rotation
// (degrees, the headband's top toward the nose), ear 0 is the left one, and levels are over
// the kept bands of package band unless said otherwise.
//
// It must not know files, WAV or tables.
package fitcorr
