package study

import (
	"io"

	"github.com/pelletier/go-toml/v2"
)

const studyHead = `# A study of seatings. Every key and its default: docs/study-format.md.
# Paths are relative to this folder. Recordings are only ever read.

`

// WriteSettings writes a study.toml that Load reads as the same study,
// with a word on each key that may need one. The rows are WriteSheet's.
func WriteSettings(w io.Writer, s Study) error {
	d := s.Sweep
	k := studyKeys{
		Title:    &s.Title,
		Sweep:    &sweepKeys{Repeats: given(d.Repeats), GapSeconds: &d.GapSeconds, LeadSeconds: &d.LeadSeconds, RateHz: &d.RateHz},
		Channels: &channelKeys{Left: given(s.Channels.Left), Right: given(s.Channels.Right), Loopback: given(s.Channels.Loopback)},
		Fixture: &fixtureKeys{Name: &s.Fixture.Name, Coupler: given(s.Fixture.Coupler), Reference: given(s.Fixture.Reference),
			Slope: &s.Fixture.SlopeDBPerOctave},
		Limits:  &limitKeys{MaxOffsetMM: &s.Limits.MaxOffsetMM, Confidence: &s.Limits.Confidence},
		Reading: &readingKeys{&s.Reading.OneMM, &s.Reading.LandmarkMM, &s.Reading.FixtureLandmarkMM},
	}
	if s.Excitation != "" {
		k.Sweep.File = &s.Excitation
	} else {
		kind := "exponential"
		k.Sweep.Kind, k.Sweep.StartHz, k.Sweep.StopHz, k.Sweep.Seconds = &kind, &d.StartHz, &d.StopHz, &d.Seconds
		k.Sweep.Amplitude, k.Sweep.FadeIn, k.Sweep.FadeOut = given(d.Amplitude), given(d.FadeInSeconds), given(d.FadeOutSeconds)
	}
	if w := s.Window; w != (Window{}) {
		k.Window = &windowKeys{given(w.PreSeconds), given(w.PostSeconds), given(w.FadeInSeconds), given(w.FadeOutSeconds)}
	}
	if s.DriveVoltsRMS > 0 {
		k.Drive = &driveKeys{VoltsRMS: &s.DriveVoltsRMS}
	}
	if l, r := earOf(s.Microphones[Left]), earOf(s.Microphones[Right]); l != nil || r != nil {
		k.Microphone = &microphoneKeys{Left: l, Right: r}
	}
	if s.CalibrationDB > 0 {
		k.Calibration = &calibrationKeys{UncertaintyDB: &s.CalibrationDB}
	}
	if _, err := io.WriteString(w, studyHead); err != nil {
		return err
	}
	return toml.NewEncoder(w).Encode(k)
}

func earOf(m MicrophoneFiles) *earKeys {
	if m.Correction == "" && m.Calibrator == "" {
		return nil
	}
	k := &earKeys{Correction: given(m.Correction), Calibrator: given(m.Calibrator)}
	k.CalibratorAfter = given(m.CalibratorAfter)
	if m.Calibrator != "" {
		k.CalibratorDBSPL = given(m.CalibratorDBSPL)
	}
	return k
}

// given is a pointer to v, or nil for a zero, whose key is then not written.
func given[T comparable](v T) *T {
	var zero T
	if v == zero {
		return nil
	}
	return &v
}
