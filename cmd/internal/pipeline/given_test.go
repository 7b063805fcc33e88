package pipeline

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/study"
	"asworn/capture/wavfile"
	"asworn/fitcorr"
)

// TestCheckOfResponses makes of a demo study one of impulse responses and one of curves, as another
// program would have exported them. A run places their seatings as it does those of the
// recordings, and a check of a file that is in no row says what the run says of it.
func TestCheckOfResponses(t *testing.T) {
	from := demoStudy(t)
	st, err := study.Load(from)
	if err != nil {
		t.Fatal(err)
	}
	st.Microphones, st.DriveVoltsRMS, st.Fixture.Reference = [2]study.MicrophoneFiles{}, 0, ""
	setup, err := st.Setup()
	if err != nil {
		t.Fatal(err)
	}
	processor, err := capture.NewProcessor(setup)
	if err != nil {
		t.Fatal(err)
	}
	to := map[study.Holds]*study.Study{}
	for _, holds := range []study.Holds{study.HoldsImpulse, study.HoldsCurve} {
		s := *st
		s.Dir, s.Seatings, s.Readings, s.Channels.Loopback = t.TempDir(), nil, nil, 0
		if err := os.Mkdir(filepath.Join(s.Dir, "given"), 0o777); err != nil {
			t.Fatal(err)
		}
		to[holds] = &s
	}
	for _, row := range st.Seatings {
		rec, err := processor.ProcessRow(from, row)
		if err != nil || !rec.Quality.Usable() {
			continue
		}
		name := "given/" + strings.TrimSuffix(filepath.Base(row.File), ".wav")
		for holds, s := range to {
			row := row
			if row.Holds = holds; holds == study.HoldsImpulse {
				row.File = name + ".wav"
				format := wavfile.Format{RateHz: int(rec.Ears[0].RateHz), Channels: 2, Bits: 32, Float: true}
				writeEars(t, filepath.Join(s.Dir, row.File), format, rec)
			} else {
				row.File = name + "-{L|R}.txt"
				for e, f := range row.Files() {
					writeCurve(t, filepath.Join(s.Dir, f), rec.Ears[e])
				}
			}
			s.Seatings = append(s.Seatings, row)
		}
	}
	recorded, _, err := Run(t.Context(), from, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for holds, s := range to {
		t.Run(string(holds), func(t *testing.T) {
			writeStudy(t, s)
			r, _, err := Run(t.Context(), s.Dir, Options{})
			if err != nil {
				t.Fatal(err)
			}
			frozen, err := OpenFrozen(s.Dir)
			if err != nil {
				t.Fatal(err)
			}
			m := r.Analysis.Models[0]
			if len(m.Verdicts) == 0 || len(m.Verdicts) != len(recorded.Analysis.Models[0].Verdicts) {
				t.Fatalf("%d verdicts, %d of recordings", len(m.Verdicts), len(recorded.Analysis.Models[0].Verdicts))
			}
			for i, v := range m.Verdicts {
				var read *capture.Reading
				for _, row := range r.Recordings {
					if row.File == v.ID {
						read = row.Read
					}
				}
				got, err := frozen.Check(t.Context(), filepath.Join(s.Dir, filepath.FromSlash(v.ID)), CheckOptions{Read: read})
				if err != nil {
					t.Fatal(err)
				}
				if len(got.Analysis.Models[0].Verdicts) == 0 {
					t.Fatalf("%s: not judged: %+v", v.ID, got.Recordings[0].Findings)
				}
				c := got.Analysis.Models[0].Verdicts[0]
				for _, axis := range []fitcorr.Axis{fitcorr.Forward, fitcorr.Up} {
					at, run, heard := c.Headset.Off.Value[axis], v.Headset.Off.Value[axis], recorded.Analysis.Models[0].Verdicts[i].Headset.Off.Value[axis]
					if math.Abs(at-run) > 0.05 || math.Abs(run-heard) > 1 {
						t.Errorf("%s, axis %d: check %.2f, run %.2f, run of the recordings %.2f mm", v.ID, axis, at, run, heard)
					}
				}
			}
			// The other way round it is said, and refused.
			said := study.HoldsRecording
			got, err := frozen.Check(t.Context(), filepath.Join(s.Dir, filepath.FromSlash(m.Verdicts[0].ID)), CheckOptions{Holds: &said})
			if err == nil && got.Recordings[0].Usable {
				t.Errorf("%s taken for a recording: usable", m.Verdicts[0].ID)
			}
		})
	}
}

func writeEars(t *testing.T, file string, format wavfile.Format, rec capture.Recording) {
	t.Helper()
	if err := wavfile.Write(file, format, [][]float64{rec.Ears[0].Impulse, rec.Ears[1].Impulse}); err != nil {
		t.Fatal(err)
	}
}

// writeCurve writes the levels of an ear, where they count.
func writeCurve(t *testing.T, file string, ear capture.Response) {
	t.Helper()
	var b strings.Builder
	for i, f := range band.All() {
		if ear.Valid[i] {
			fmt.Fprintf(&b, "%.4f\t%.4f\n", f.Mid, ear.LevelDB[i])
		}
	}
	if err := os.WriteFile(file, []byte(b.String()), 0o666); err != nil {
		t.Fatal(err)
	}
}

func writeStudy(t *testing.T, s *study.Study) {
	t.Helper()
	for name, write := range map[string]func(*os.File) error{
		study.SettingsFile: func(f *os.File) error { return study.WriteSettings(f, *s) },
		study.SheetFile:    func(f *os.File) error { return study.WriteSheet(f, s.Seatings) },
	} {
		f, err := os.Create(filepath.Join(s.Dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := write(f); err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
