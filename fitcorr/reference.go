package fitcorr

import (
	"slices"

	"asworn/capture"
	"asworn/fitcorr/placing"
)

// reference is a survey that a recording may be held against.
type reference struct {
	model  string
	point  capture.Point
	placer func() *placing.Placer // made when first asked for
}

// find returns the survey of a model at a point; false without one.
func find(refs []reference, model string, point capture.Point) (reference, bool) {
	i := slices.IndexFunc(refs, func(r reference) bool { return r.model == model && r.point == point })
	if i < 0 {
		return reference{}, false
	}
	return refs[i], true
}
