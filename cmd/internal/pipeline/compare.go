package pipeline

import (
	"fmt"
	"math"

	"asworn/capture"
	"asworn/capture/compare"
	"asworn/capture/study"
)

// compareAll adds to every response what only a comparison with the others of the
// study shows. It is done anew in each run: it depends on all of them.
// It returns the traits of all, those that are refused now marked so.
func compareAll(setup capture.Setup, rows []capture.Seating, responses []response) []compare.Traits {
	recs := make([]capture.Recording, len(responses))
	traits := make([]compare.Traits, len(responses))
	for i, r := range responses {
		recs[i] = r.Recording
		traits[i] = compare.TraitsOf(setup, r.Recording)
	}
	for i, found := range compare.Seatings(setup, rows, recs) {
		responses[i].Recording.AddFindings(found...)
		traits[i].Usable = responses[i].Recording.Quality.Usable()
	}
	return traits
}

// calibrationDrifts tells how the two calibrations of each microphone differ.
func calibrationDrifts(st *capture.Study) (out []string, err error) {
	for _, e := range capture.Ears {
		if st.Microphones[e].CalibratorAfter == "" {
			continue
		}
		drift, err := st.CalibrationDrift(e)
		if err != nil {
			return nil, err
		}
		text := fmt.Sprintf("The second calibration of the %s microphone gives %+.2f dB against the first; levels are by the mean of both.", e, drift)
		if math.Abs(drift) > study.CalibrationDriftDB {
			text += fmt.Sprintf(" That is more than %g dB: a gain, a cable or the microphone changed during the study, and levels are no surer than that.", study.CalibrationDriftDB)
		}
		out = append(out, text)
	}
	return out, nil
}
