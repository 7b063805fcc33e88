package pipeline

import (
	"fmt"
	"math"

	"asworn/capture"
	"asworn/capture/calibrator"
	"asworn/capture/compare"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/respond"
)

// compared is what the comparison of all recordings of a study shows.
type compared struct {
	Found  [][]capture.Finding // per row
	Traits []compare.Traits    // those that are refused now marked so
}

// compareAll adds to every response what only a comparison with the others of the
// study shows. It returns the traits of all, those that are refused now marked so.
func compareAll(setup capture.Setup, rows []capture.Seating, responses []respond.Response) compared {
	recs := make([]capture.Recording, len(responses))
	out := compared{Traits: make([]compare.Traits, len(responses))}
	for i, r := range responses {
		recs[i] = r.Recording
		out.Traits[i] = compare.TraitsOf(setup, r.Recording)
	}
	out.Found = compare.Seatings(setup, rows, recs)
	out.tell(responses)
	for i, r := range responses {
		out.Traits[i].Usable = r.Recording.Quality.Usable()
	}
	return out
}

// tell adds what was found to the responses.
func (c compared) tell(responses []respond.Response) {
	for i, found := range c.Found {
		responses[i].Recording.AddFindings(found...)
	}
}

// compare is compareAll, or what it was worth when it was done before with the
// same recordings and rows. The key names it.
func (l *line) compare(setup capture.Setup, rows []capture.Seating, responses []respond.Response) ([]compare.Traits, cache.Key, error) {
	key, err := cache.KeyOf("compared", l.responder.Setup, rows, keysOf(responses))
	if err != nil {
		return nil, key, err
	}
	var c compared
	if l.estimates.Get(key, &c) && len(c.Found) == len(responses) && len(c.Traits) == len(responses) {
		c.tell(responses)
		return c.Traits, key, nil
	}
	c = compareAll(setup, rows, responses)
	return c.Traits, key, l.estimates.Put(key, c)
}

func keysOf(responses []respond.Response) []cache.Key {
	out := make([]cache.Key, len(responses))
	for i, r := range responses {
		out[i] = r.Key
	}
	return out
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
		if math.Abs(drift) > calibrator.MostDriftDB {
			text += fmt.Sprintf(" That is more than %g dB: a gain, a cable or the microphone changed during the study, and levels are no surer than that.", calibrator.MostDriftDB)
		}
		out = append(out, text)
	}
	return out, nil
}
