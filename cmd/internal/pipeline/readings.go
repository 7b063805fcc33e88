package pipeline

import (
	"fmt"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/fitcorr/reading"
	"asworn/fitcorr/seat"
)

// combineReadings is what the study's readings.csv comes to.
func combineReadings(study *capture.Study) reading.Result {
	return reading.Combine(study.Readings, seat.ReadingOr(study.Reading))
}

// placeReadings gives each seating that readings.csv holds readings of their estimate.
func placeReadings(ss []fitcorr.Seating, r reading.Result) {
	for i := range ss {
		s := &ss[i]
		if e, ok := r.At[reading.Placement{Head: s.Subject, Model: s.Model, Number: s.Number}]; ok {
			e.Give(s)
		}
	}
}

// readingFindings says what the readings show of themselves, and names slips.
func readingFindings(r reading.Result) (out []string) {
	for _, s := range r.Slips {
		out = append(out, fmt.Sprintf("Row %d of readings.csv (%s on %s, seating %d) lies %.0f mm from the other readings of that placement and hardly counts: check the entry.",
			s.Row, s.Model, s.Subject, s.Number, s.MM))
	}
	if len(r.At) == 0 {
		return out
	}
	if len(r.Readers) == 1 {
		out = append(out, "One person read all positions: what that person misreads alike cancels between heads, and what differs between readers is not known.")
	}
	if r.ApartMM > 0.25 {
		out = append(out, fmt.Sprintf("Others read the fixture than the listeners: what readers differ by makes every difference of the two uncertain by %.1f mm (standard uncertainty); "+
			"some placements read by both would tell.", r.ApartMM))
	}
	return out
}
