package convert

import (
	"fmt"
	"math"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/calibrator"
	"asworn/capture/finding"
	"asworn/fitcorr/reading"
)

// referenceDB is the fixture's own reference per kept band with the study's
// slope added about 1 kHz; nil without a reference.
func referenceDB(st *capture.Study) ([]float64, error) {
	c, err := st.Reference()
	if err != nil || len(c.Hz) == 0 {
		return nil, err
	}
	out := make([]float64, band.Count)
	for i, b := range band.All() {
		out[i] = c.LevelDB(b.Mid) + st.Fixture.SlopeDBPerOctave*octaves(b.Mid)
	}
	return out, nil
}

// limits tells in plain words what a study cannot answer for want of
// something that was not recorded or not given.
func limits(st *capture.Study) (out []string) {
	var worn, fixture, blocked, drum bool
	for _, row := range st.Seatings {
		if row.Model == "" {
			continue
		}
		worn = worn || !row.OnFixture()
		fixture = fixture || row.OnFixture()
		blocked = blocked || row.OnFixture() && row.Point == capture.Blocked
		drum = drum || row.Point == capture.Drum
	}
	if !worn {
		out = append(out, "No listener wore a headphone: whether the fixture's seatings sit as people wear it is not known.")
	}
	if !fixture {
		out = append(out, "No headphone was seated on the fixture: there is nothing to judge against the worn seatings.")
	}
	if fixture && !blocked {
		out = append(out, "The fixture's seatings were recorded at the drum reference point alone: positions are judged at the blocked ear-canal entrance, where people's ears and the fixture's can be compared.")
	}
	if drum && st.Fixture.Reference == "" {
		out = append(out, "No reference of this fixture is given: curves at the drum reference point are shown as they are, not compared with one.")
	}
	for _, ear := range capture.Ears {
		if channel := [2]int{st.Channels.Left, st.Channels.Right}[ear]; channel > 0 && st.Microphones[ear].Calibrator == "" {
			out = append(out, fmt.Sprintf("No calibrator recording for the %s microphone: its levels are relative, and sound exposure is not known.", ear))
		}
	}
	if st.Sweep.Repeats == 1 {
		out = append(out, "The excitation was played once per recording: a disturbance cannot be told from the response by comparing repeats.")
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
		text := finding.Text("The second calibration of the %s microphone gives %+.2f dB against the first; levels are by the mean of both.", e, drift)
		if math.Abs(drift) > calibrator.MostDriftDB {
			text += fmt.Sprintf(" That is more than %g dB: a gain, a cable or the microphone changed during the study, and levels are no surer than that.", calibrator.MostDriftDB)
		}
		out = append(out, text)
	}
	return out, nil
}

// octaves is how many octaves f lies above the reference frequency.
func octaves(f float64) float64 { return math.Log2(f / band.ReferenceHz) }

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
