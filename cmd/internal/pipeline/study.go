package pipeline

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"asworn/capture"
	"asworn/capture/band"
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

// StudySetup reads what was played and how it was recorded from a study that
// may still lack recordings.
func StudySetup(dir string) (capture.Setup, error) {
	st, err := study.LoadPartial(dir)
	if err != nil {
		return capture.Setup{}, err
	}
	return st.Setup()
}

// WriteStudy starts a study in dir, which is made: study.toml, the sheet, the
// sweep, the cautions, and the folders that wait for recordings.
func WriteStudy(dir, title string, d sweep.Design, rows []capture.Seating, readings []study.ReadingRow) error {
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
		err = resultdir.Render(filepath.Join(dir, study.ReadingsFile), func(w io.Writer) error { return study.WriteReadingPlan(w, readings) })
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
