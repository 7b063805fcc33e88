// Package studydir is the folder of a study beside its results: how one is started,
// which sound files lie there that no row names, and which hold the same bytes. What
// is in study.toml and the sheet is capture/study's.
package studydir

import (
	"io"
	"os"
	"path/filepath"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/capture/sweep"
	"asworn/capture/wavfile"
	"asworn/cmd/internal/resultdir"
	"asworn/docs"
)

// Names of what a new study holds beside study.toml and seatings.csv.
const (
	SweepFile    = "sweep.wav"
	CautionsFile = "cautions.md"
)

// RetakesDir holds what a later take replaced; nothing in it is part of the study.
const RetakesDir = "retakes"

// Setup reads what was played and how it was recorded from a study that
// may still lack recordings.
func Setup(dir string) (capture.Setup, error) {
	st, err := study.LoadPartial(dir)
	if err != nil {
		return capture.Setup{}, err
	}
	return st.Setup()
}

// Start starts a study in dir, which is made: study.toml, the sheet, the
// sweep, the cautions, and the folders that wait for recordings.
func Start(dir, title string, d sweep.Design, rows []capture.Seating, readings []study.ReadingRow) error {
	for _, sub := range []string{"recordings", "calibration"} {
		if err := os.MkdirAll(filepath.Join(dir, sub), 0o777); err != nil {
			return err
		}
	}
	st := study.Default()
	st.Title, st.Sweep = title, d
	err := resultdir.Render(filepath.Join(dir, capture.StudyFile), func(w io.Writer) error { return study.WriteNewSettings(w, st) })
	if err != nil {
		return err
	}
	err = resultdir.Render(filepath.Join(dir, capture.SheetFile), func(w io.Writer) error { return study.WritePlan(w, rows) })
	if err != nil {
		return err
	}
	if len(readings) > 0 {
		err = resultdir.Render(filepath.Join(dir, study.ReadingsFile), func(w io.Writer) error { return study.WriteReadings(w, nil, readings) })
		if err != nil {
			return err
		}
	}
	if err := resultdir.WriteFile(filepath.Join(dir, CautionsFile), []byte(docs.Cautions())); err != nil {
		return err
	}
	return WriteSweep(filepath.Join(dir, SweepFile), d, 24)
}

// WriteSweep writes the excitation as a WAV file of one channel.
func WriteSweep(file string, d sweep.Design, bits int) error {
	return wavfile.Write(file, wavfile.Format{RateHz: int(d.RateHz), Channels: 1, Bits: bits}, [][]float64{d.Signal()})
}
