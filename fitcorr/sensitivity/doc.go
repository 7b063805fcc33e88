// Package sensitivity says how much a model's response depends on how it sits:
// variance components between listeners, between seatings and on the fixture
// (package varcomp), the summary figure, a ranking of models, and the panel that
// a wanted interval needs (docs/sensitivity.md). It works on levels and must not
// know positions in mm.
package sensitivity
