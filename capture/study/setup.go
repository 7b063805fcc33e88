package study

import (
	"context"
	"errors"
	"fmt"
	"math"

	"asworn/capture/calibrator"
	"asworn/capture/curve"
	"asworn/capture/sweep"
	"asworn/capture/wavfile"
	"asworn/capture/workers"
)

// Microphone says what is known of one measuring chain.
type Microphone struct {
	// Response is the microphone's own response relative to its sensitivity;
	// it is divided out. Between its points level and phase run linearly over
	// log frequency, beyond them they stay as at the ends.
	Response curve.Curve
	// PaPerUnit is the sound pressure of a sample value of 1 (full scale), in
	// pascals; 0 when the chain is not calibrated.
	PaPerUnit float64
}

// Setup is everything that turns recordings of one study into responses.
type Setup struct {
	// Sweep is what was played. With an Excitation only its Repeats,
	// GapSeconds, LeadSeconds and RateHz count.
	Sweep sweep.Design
	// Excitation is one repeat of any other signal, samples of full scale 1 at
	// Sweep.RateHz; nil for the sweep.
	Excitation []float64

	// Left, Right and Loopback are 1-based channels of the recording; 0 for
	// none. One ear at least must be there.
	Left, Right, Loopback int
	Microphones           [2]Microphone
	// DriveVoltsRMS is the voltage, V, that the sweep's RMS (Design.RMS, or the RMS of
	// Excitation) makes at the headphone; 0 when unknown.
	DriveVoltsRMS float64
	Window        Window
}

// LevelUnit names what the levels of a response are relative to.
type LevelUnit string

// The units of levels.
const (
	RelativeLevel LevelUnit = "dB, relative" // microphones are not calibrated
	PascalLevel   LevelUnit = "dB re 1 Pa"
	PascalPerVolt LevelUnit = "dB re 1 Pa/V"
)

// LevelUnit is the unit of the levels of recordings made with the setup.
func (s Setup) LevelUnit() LevelUnit {
	for e, channel := range [2]int{s.Left, s.Right} {
		if channel > 0 && !(s.Microphones[e].PaPerUnit > 0) {
			return RelativeLevel
		}
	}
	if s.DriveVoltsRMS > 0 {
		return PascalPerVolt
	}
	return PascalLevel
}

// Setup reads the excitation, the microphone corrections and the calibrator recordings,
// and returns all that turns a recording of the study into responses. Its content decides
// every response: with the bytes of a recording it makes the key under which a response
// can be kept. Errors are those of the files, joined: that of wavfile.ReadAll,
// curve.ReadCSV or Calibration.
func (s *Study) Setup() (Setup, error) {
	out := Setup{
		Sweep: s.Sweep,
		Left:  s.Channels.Left, Right: s.Channels.Right, Loopback: s.Channels.Loopback,
		DriveVoltsRMS: s.DriveVoltsRMS,
		Window:        s.Window,
	}
	errs := make([]error, 1+len(s.Microphones))
	if s.Excitation != "" {
		_, x, err := wavfile.ReadAll(s.join(s.Excitation))
		if err != nil {
			errs[0] = err
		} else {
			out.Excitation = x[0]
		}
	}
	_ = workers.All(context.Background(), len(s.Microphones), 0, func(e int) { // ends with its work alone
		out.Microphones[e], errs[1+e] = s.microphone(Ear(e))
	})
	return out, errors.Join(errs...)
}

// microphone reads what is known of the microphone of one ear.
func (s *Study) microphone(e Ear) (mic Microphone, err error) {
	m := s.Microphones[e]
	if m.Correction != "" {
		mic.Response, err = curve.ReadCSV(s.join(m.Correction))
	}
	if m.Calibrator == "" {
		return mic, err
	}
	c, failed := s.Calibration(e)
	mic.PaPerUnit = c.PaPerUnit
	if m.CalibratorAfter != "" && failed == nil {
		var drift float64
		drift, failed = s.driftSince(c, e)
		mic.PaPerUnit *= math.Pow(10, drift/2/20)
	}
	return mic, errors.Join(err, failed)
}

// Calibration measures the calibrator recording of one ear. A study without one gives the
// zero value. Errors name the file, and the channel on which there is no calibrator.
func (s *Study) Calibration(e Ear) (calibrator.Calibration, error) {
	return s.calibration(e, s.Microphones[e].Calibrator)
}

// CalibrationDrift returns by how many decibels the second calibration of one ear gives
// higher sound pressures than the first; 0 without a second. Setup takes the mean of
// both. Errors are those of Calibration.
func (s *Study) CalibrationDrift(e Ear) (float64, error) {
	m := s.Microphones[e]
	if m.Calibrator == "" || m.CalibratorAfter == "" {
		return 0, nil
	}
	first, err := s.Calibration(e)
	if err != nil {
		return 0, err
	}
	return s.driftSince(first, e)
}

// driftSince is CalibrationDrift, the first calibration being known.
func (s *Study) driftSince(first calibrator.Calibration, e Ear) (float64, error) {
	second, err := s.calibration(e, s.Microphones[e].CalibratorAfter)
	if err != nil {
		return 0, err
	}
	return 20 * math.Log10(second.PaPerUnit/first.PaPerUnit), nil
}

func (s *Study) calibration(e Ear, file string) (calibrator.Calibration, error) {
	if file == "" {
		return calibrator.Calibration{}, nil
	}
	m := s.Microphones[e]
	path := s.join(file)
	f, x, err := wavfile.ReadAll(path)
	if err != nil {
		return calibrator.Calibration{}, err
	}
	channel := [2]int{s.Channels.Left, s.Channels.Right}[e]
	if f.Channels == 1 {
		channel = 1
	}
	if channel < 1 || channel > f.Channels {
		return calibrator.Calibration{}, fmt.Errorf("%s: no channel %d for the %s microphone; record it with the channels of the study", path, channel, e)
	}
	c, err := calibrator.Measure(x[channel-1], float64(f.RateHz), m.CalibratorDBSPL)
	if err != nil {
		return c, fmt.Errorf("%s, channel %d: %w%s", path, channel, err, elsewhere(x, float64(f.RateHz), e, m.CalibratorDBSPL))
	}
	return c, nil
}

// elsewhere says which channel holds the calibrator of an ear on whose own there is none:
// the settings may name the wrong one.
func elsewhere(x [][]float64, rateHz float64, e Ear, dbSPL float64) string {
	for i := range x {
		if _, err := calibrator.Measure(x[i], rateHz, dbSPL); err == nil {
			return fmt.Sprintf(". Channel %d of the file holds a calibrator: if that is the %s microphone's, set %[2]s = %[1]d under [channels] of study.toml", i+1, e)
		}
	}
	return ""
}

// Reference reads the fixture's reference curve. A study without one gives a curve
// without points. Errors are those of curve.ReadCSV.
func (s *Study) Reference() (curve.Curve, error) {
	if s.Fixture.Reference == "" {
		return curve.Curve{}, nil
	}
	return curve.ReadCSV(s.join(s.Fixture.Reference))
}
