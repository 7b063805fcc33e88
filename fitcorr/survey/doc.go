// Package survey holds the position survey of a model on the fixture: a
// response surface over displacement, a Gaussian process per kept band whose
// kernel is chosen by held-out prediction, and the bands on which positions are
// told. It must not know where a seating sits, nor anything of listeners.
package survey
