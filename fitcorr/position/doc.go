// Package position makes a Model of a survey: the scatter about it, what its own
// held-out rows say of its errors, the mark that ties two surveys, and with it where
// each of the fixture's own seatings sits (package placing). It must not know how
// people differ; package panel does.
package position
