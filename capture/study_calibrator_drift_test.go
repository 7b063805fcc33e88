package capture_test

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"asworn/capture/study"
	"asworn/capture/wavfile"
)

// TestCalibrationDrift calibrates before and after a study and lets the gain
// change in between.
func TestCalibrationDrift(t *testing.T) {
	for _, change := range []float64{0, 0.1, -0.5} {
		dir := t.TempDir()
		if err := os.Mkdir(filepath.Join(dir, "calibration"), 0o777); err != nil {
			t.Fatal(err)
		}
		for i, name := range []string{"before", "after"} {
			x := make([]float64, 3*48000)
			for j := range x {
				x[j] = 0.1 * math.Pow(10, float64(i)*change/20) * math.Sin(2*math.Pi*1000*float64(j)/48000)
			}
			if err := wavfile.Write(filepath.Join(dir, "calibration", name+".wav"), wavfile.Format{RateHz: 48000, Channels: 1, Bits: 24}, [][]float64{x}); err != nil {
				t.Fatal(err)
			}
		}
		s := study.Default()
		s.Dir = dir
		s.Microphones[0] = study.MicrophoneFiles{Calibrator: "calibration/before.wav", CalibratorAfter: "calibration/after.wav", CalibratorDBSPL: 94}
		got, err := s.CalibrationDrift(study.Left)
		if err != nil || math.Abs(got+change) > 0.001 {
			t.Errorf("gain changed by %g dB: drift of the calibration %g dB (%v), want %g", change, got, err, -change)
		}
		setup, err := s.Setup()
		first, _ := s.Calibration(study.Left)
		if want := first.PaPerUnit * math.Pow(10, -change/40); err != nil || math.Abs(setup.Microphones[0].PaPerUnit/want-1) > 1e-4 {
			t.Errorf("%g Pa per unit (%v), want the mean in decibels, %g", setup.Microphones[0].PaPerUnit, err, want)
		}
		var text strings.Builder
		if err := study.WriteSettings(&text, s); err != nil || !strings.Contains(text.String(), `calibrator_after = "calibration/after.wav"`) && !strings.Contains(text.String(), `calibrator_after = 'calibration/after.wav'`) {
			t.Error(fmt.Sprint(err), text.String())
		}
	}
}

// TestCalibratorElsewhere calibrates a microphone whose channel is named wrongly: the error
// says which channel of the file holds a calibrator.
func TestCalibratorElsewhere(t *testing.T) {
	tone, silence := make([]float64, 3*48000), make([]float64, 3*48000)
	for j := range tone {
		tone[j] = 0.1 * math.Sin(2*math.Pi*1000*float64(j)/48000)
	}
	for _, c := range []struct {
		channels [][]float64
		want     string
	}{
		{[][]float64{silence, tone, silence}, "cal.wav, channel 3: silence; record the calibrator on this channel. Channel 2 of the file holds a calibrator: if that is the right microphone's, set right = 2 under [channels] of study.toml"},
		{[][]float64{silence, silence, silence}, "cal.wav, channel 3: silence; record the calibrator on this channel"},
		{[][]float64{silence, silence, tone}, ""},
	} {
		s := study.Default()
		s.Dir, s.Channels = t.TempDir(), study.Channels{Left: 1, Right: 3}
		s.Microphones[study.Right] = study.MicrophoneFiles{Calibrator: "cal.wav", CalibratorDBSPL: 94}
		if err := wavfile.Write(filepath.Join(s.Dir, "cal.wav"), wavfile.Format{RateHz: 48000, Channels: 3, Bits: 24}, c.channels); err != nil {
			t.Fatal(err)
		}
		got := ""
		if _, err := s.Calibration(study.Right); err != nil {
			got = strings.TrimPrefix(err.Error(), s.Dir+string(filepath.Separator))
		}
		if got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
