package pipeline

import "asworn/capture"

// compare adds to every response what only a comparison with the others of the
// study shows. It is done anew in each run: it depends on all of them.
func compare(setup capture.Setup, rows []capture.Seating, responses []response) {
	recs := make([]capture.Recording, len(responses))
	for i, r := range responses {
		recs[i] = r.Recording
	}
	for i, found := range capture.CompareSeatings(setup, rows, recs) {
		responses[i].Recording.AddFindings(found...)
	}
}
