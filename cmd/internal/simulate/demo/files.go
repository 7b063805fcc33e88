package demo

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/capture/wavfile"
	"asworn/cmd/internal/simulate"
	"asworn/docs"
)

const studyTOML = `title = "Demo: two closed-back models and one open-back model, invented"

[sweep]
kind = "exponential"
start_hz = %g
stop_hz = %g
seconds = %g
repeats = %d
gap_seconds = %g
lead_seconds = %g
rate_hz = %g

[channels]
left = 1
right = 2
loopback = 3

[drive]
volts_rms = %g

[microphone.left]
correction = "calibration/mic-left.csv"
calibrator = "calibration/cal-left.wav"
calibrator_db_spl = 94.0

[microphone.right]
correction = "calibration/mic-right.csv"
calibrator = "calibration/cal-right.wav"
calibrator_db_spl = 94.0

[fixture]
name = "%s"
coupler = "invented"
reference = "calibration/diffuse-field.csv"
slope_db_per_octave = 0.0
mark_mm = %g
`

const fixtureName = "fixture 1"

const readme = `# Demo study

Everything here is invented: the laboratory, the headphone models, the
listeners L01, L02 … and their ears. The sound was computed (see
docs/developing/simulation.md in the asworn sources), not recorded.

Some things are wrong on purpose: seatings on the fixture that are off, whose cups
are displaced in opposite directions, or that leak,
a cough, a clipped recording, exchanged cables, mains hum, a recorder's clock.
truth/truth.json says which; asworn never reads it.

The fixture was surveyed twice about one mark: with microphones at the blocked
entrance, as on people, and with its own ear simulator. In between the headphone came
off, so the two have seating numbers of their own. Some listeners wear glasses, under
which the cushions of closed headphones leak.

Two people also looked where each headphone sat, left and right: readings.csv. Those
readings err like a person's.

cautions.md is to be read before anybody wears a headphone for a measurement.
`

func writeText(dir string, s *simulate.Study, t Truth) error {
	sheet, err := sheetOf(s)
	if err != nil {
		return err
	}
	x := played
	files := map[string][]byte{
		"study.toml":                    fmt.Appendf(nil, studyTOML, x.start, x.stop, x.seconds, x.repeats, x.gap, x.lead, x.rate, driveVoltsRMS, fixtureName, markMM),
		"seatings.csv":                  sheet,
		"README.md":                     []byte(readme),
		"cautions.md":                   []byte(docs.Cautions()),
		"calibration/mic-left.csv":      []byte(microphones[0].csv()),
		"calibration/mic-right.csv":     []byte(microphones[1].csv()),
		"calibration/diffuse-field.csv": []byte(diffuseField(s)),
	}
	if len(s.Readings) > 0 {
		var readings bytes.Buffer
		if err := study.WriteReadings(&readings, s.Readings, nil); err != nil {
			return err
		}
		files[study.ReadingsFile] = readings.Bytes()
	}
	for name, b := range files {
		if err := writeFile(filepath.Join(dir, name), b); err != nil {
			return err
		}
	}
	for _, e := range capture.Ears {
		c := calibrator(e, t.Seed)
		if err := writeWAV(filepath.Join(dir, "calibration", "cal-"+e.String()+".wav"), c[:]); err != nil {
			return err
		}
	}
	if err := os.MkdirAll(filepath.Join(dir, "recordings"), 0o755); err != nil {
		return err
	}
	return writeJSON(filepath.Join(dir, TruthFile), t)
}

// sheetOf is seatings.csv.
func sheetOf(s *simulate.Study) ([]byte, error) {
	var b bytes.Buffer
	rows := make([]capture.Seating, len(s.Rows))
	for i, r := range s.Rows {
		rows[i] = r.Seating
	}
	err := study.WriteSheet(&b, rows)
	return b.Bytes(), err
}

// diffuseField is the fixture's response at the drum in a diffuse field.
func diffuseField(s *simulate.Study) string {
	w, ok := s.World.(interface {
		Diffuse(subject int, g *simulate.Grid) []float64
	})
	if !ok {
		return ""
	}
	g := &simulate.Grid{StepHz: simulate.CoarseStepHz, Coarse: int(24000/simulate.CoarseStepHz) + 3}
	for f := 20.0; f < 20001; f *= math.Pow(2, 1.0/12) {
		g.Hz = append(g.Hz, f)
	}
	out := "# fixture: " + fixtureName + "\nfrequency_hz,level_db\n"
	for i, l := range w.Diffuse(s.Design.Listeners, g) {
		out += fmt.Sprintf("%.2f,%.3f\n", g.Hz[i], l)
	}
	return out
}

// writeWAV writes a 24-bit WAV file of the demo's rate.
func writeWAV(path string, channels [][]float64) error {
	f := wavfile.Format{RateHz: int(played.rate), Channels: len(channels), Bits: 24}
	return wavfile.Write(path, f, channels)
}
