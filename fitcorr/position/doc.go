// Package position says where a headphone sits from the level at the blocked
// entrance: the survey of a model on the fixture, the response surface made
// from it, and the position of a fixture seating, by its levels and by a reading
// on the head. It must not know how people differ; package panel does.
package position
