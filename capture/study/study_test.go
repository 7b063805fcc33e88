package study

import (
	"bytes"
	"errors"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"asworn/capture/sweep"
	"asworn/capture/textfile"
	"asworn/capture/wavfile"
)

const goodTOML = `title = "Good"
[sweep]
kind = "exponential"
start_hz = 10.0
stop_hz = 20000.0
seconds = 1.0
repeats = 2
gap_seconds = 0.5
lead_seconds = 0.5
rate_hz = 48000
[channels]
left = 1
right = 2
loopback = 3
[drive]
volts_rms = 0.1
[microphone.left]
correction = "calibration/mic.csv"
calibrator = "calibration/cal.wav"
[fixture]
name = "fixture 1"
coupler = "invented"
reference = "calibration/reference.csv"
slope_db_per_octave = -1
`

const goodSheet = `file,model,unit,subject,point,seating,forward_mm,up_mm,rotation_deg,seal,notes
recordings/a.wav,Model A,1,fixture,blocked,1,,,,,
recordings/b.wav,Model A,1,fixture,drum,1,,,,,"a note, with a comma"
recordings/c.wav,Model A,1,fixture,blocked,2,4,-2.5,,shim 1 mm,
recordings/d.wav,,,L01,blocked,1,,,,,
`

// tone is a calibrator recording.
func tone(hz, level, seconds float64) []float64 {
	x := make([]float64, int(seconds*48000))
	for i := range x {
		x[i] = level * math.Sin(2*math.Pi*hz/48000*float64(i))
	}
	return x
}

// wavBytes returns a short WAV file.
func wavBytes(t testing.TB, f wavfile.Format, x ...[]float64) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x.wav")
	if err := wavfile.Write(path, f, x); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func silence(channels int) [][]float64 {
	x := make([][]float64, channels)
	for i := range x {
		x[i] = make([]float64, 100)
	}
	return x
}

// goodStudy returns the files of a study without fault.
func goodStudy(t testing.TB) map[string]string {
	three := string(wavBytes(t, wavfile.Format{RateHz: 48000, Channels: 3, Bits: 24}, silence(3)...))
	return map[string]string{
		SettingsFile: goodTOML, SheetFile: goodSheet,
		"recordings/a.wav": three, "recordings/b.wav": three, "recordings/c.wav": three, "recordings/d.wav": three,
		"calibration/mic.csv":       "frequency_hz,level_db\n20,-0.5\n1000,0\n20000,2\n",
		"calibration/reference.csv": "# fixture: fixture 1\nfrequency_hz;level_db;phase_deg\n20;-0,5;0\n1000;0;10\n",
		"calibration/cal.wav":       string(wavBytes(t, wavfile.Format{RateHz: 48000, Channels: 1, Bits: 24}, tone(1000, 0.1, 1))),
	}
}

func writeStudy(t testing.TB, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, content := range files {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func TestLoadStudy(t *testing.T) {
	dir := writeStudy(t, goodStudy(t))
	got, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	want := &Study{
		Dir: dir, Title: "Good",
		Sweep:    sweep.Design{StartHz: 10, StopHz: 20000, Seconds: 1, Repeats: 2, GapSeconds: .5, LeadSeconds: .5, RateHz: 48000},
		Channels: Channels{1, 2, 3}, DriveVoltsRMS: 0.1,
		Microphones: [2]MicrophoneFiles{{Correction: "calibration/mic.csv", Calibrator: "calibration/cal.wav", CalibratorDBSPL: 94}, {CalibratorDBSPL: 94}},
		Fixture:     Fixture{"", "fixture 1", "invented", "calibration/reference.csv", -1, 0.5},
		Limits:      Limits{3, 0.95},
		Reading:     ReadingUncertainty{1, 0.7, 0.5},
		Seatings: []Seating{
			{Row: 2, File: "recordings/a.wav", Model: "Model A", Unit: "1", Subject: "fixture", Point: Blocked, Number: 1},
			{Row: 3, File: "recordings/b.wav", Model: "Model A", Unit: "1", Subject: "fixture", Point: Drum, Number: 1, Notes: "a note, with a comma"},
			{Row: 4, File: "recordings/c.wav", Model: "Model A", Unit: "1", Subject: "fixture", Point: Blocked, Number: 2, Survey: &Displacement{ForwardMM: 4, UpMM: -2.5}, Seal: "shim 1 mm"},
			{Row: 5, File: "recordings/d.wav", Subject: "L01", Point: Blocked, Number: 1},
		},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	setup, err := got.Setup()
	if err != nil {
		t.Fatal(err)
	}
	// 94 dB SPL is 1.0024 Pa; the tone's RMS is 0.1/√2.
	if pa := setup.Microphones[Left].PaPerUnit; math.Abs(pa/(20e-6*math.Pow(10, 94./20)/(0.1/math.Sqrt2))-1) > 1e-5 {
		t.Errorf("%g Pa per unit", pa)
	}
	if n := len(setup.Microphones[Left].Response.Hz); n != 3 || setup.Loopback != 3 || setup.DriveVoltsRMS != 0.1 {
		t.Errorf("setup %+v", setup)
	}
	reference, err := got.Reference()
	if err != nil || reference.DB[0] != -0.5 || reference.PhaseDeg[1] != 10 {
		t.Errorf("reference %v, %v", reference, err)
	}
}

// The text of one fault, and the line that must come of it.
func TestStudyErrors(t *testing.T) {
	mono := string(wavBytes(t, wavfile.Format{RateHz: 48000, Channels: 1, Bits: 24}, silence(1)...))
	slow := string(wavBytes(t, wavfile.Format{RateHz: 44100, Channels: 3, Bits: 24}, silence(3)...))
	three := goodStudy(t)["recordings/a.wav"]
	cases := []struct {
		name           string
		file, old, new string // replaced within file; old == "" replaces all of it
		want           string
	}{
		{"unknown key", SettingsFile, "rate_hz", "rate_hertz", `study.toml:10: unknown key rate_hertz in [sweep]; did you mean rate_hz?`},
		{"unknown table", SettingsFile, "[fixture]", "[fixtures]", `study.toml:20: unknown key fixtures; did you mean fixture?`},
		{"key of another table", SettingsFile, "left = 1", "left = 1\nvolts_rms = 1", `study.toml:13: unknown key volts_rms in [channels]; it belongs in [drive]`},
		{"unlike any", SettingsFile, "left = 1", "left = 1\nzzzzzzz = 1", `study.toml:13: unknown key zzzzzzz in [channels]; known here: left, right, loopback`},
		{"unknown microphone", SettingsFile, "[microphone.left]", "[microphone.lefft]", `study.toml:17: unknown key lefft in [microphone]; did you mean left?`},
		{"text for a number", SettingsFile, "48000", `"48 kHz"`, `study.toml:10: sweep.rate_hz must be a number, without quotes`},
		{"fraction of a repeat", SettingsFile, "repeats = 2", "repeats = 2.5", `study.toml:7: sweep.repeats must be a whole number`},
		{"number for a table", SettingsFile, "title =", "limits = 3 #", `study.toml:1: limits must be a table`},
		{"inline table", SettingsFile, "[drive]\nvolts_rms = 0.1", "[limits]\nconfidence={}", `study.toml:16: limits.confidence must be a number`},
		{"no TOML", SettingsFile, "left = 1", "left 1", `study.toml:12: not TOML: `},
		{"Latin-1", SettingsFile, "invented", "k\xfcnstlich", `study.toml:22: the text is not UTF-8`},
		{"not text at all", SettingsFile, "", strings.Repeat("x", 1<<20), `study.toml: larger than 64 KiB`},
		{"NaN", SettingsFile, "slope_db_per_octave = -1", "slope_db_per_octave = nan", `study.toml:24: fixture.slope_db_per_octave is NaN: impossible`},
		{"huge", SettingsFile, "volts_rms = 0.1", "volts_rms = 1e9", `study.toml:16: drive.volts_rms is 1e+09: impossible; write a number`},
		{"negative", SettingsFile, "gap_seconds = 0.5", "gap_seconds = -1", `study.toml:8: sweep.gap_seconds is -1`},
		{"beyond half the rate", SettingsFile, "stop_hz = 20000.0", "stop_hz = 24000.0", `study.toml:5: sweep.stop_hz is 24000`},
		{"no repeats", SettingsFile, "repeats = 2", "repeats = 0", `study.toml:7: sweep.repeats is 0: impossible`},
		{"confidence", SettingsFile, "[drive]", "[limits]\nconfidence = 95\n[drive]", `study.toml:16: limits.confidence is 95: impossible; write a number, 0.6 to 0.9999`},
		{"confidence of a coin", SettingsFile, "[drive]", "[limits]\nconfidence = 0.5\n[drive]", `study.toml:16: limits.confidence is 0.5: impossible; write a number, 0.6 to 0.9999`},
		{"mark", SettingsFile, "slope_db_per_octave = -1", "mark_mm = 0", `study.toml:24: fixture.mark_mm is 0: impossible; write a number, 0.05 to 20 mm`},
		{"key with a point", SettingsFile, "[drive]", "\"limits.confidence\" = 0.9\n[drive]", `study.toml:15: unknown key limits.confidence in [channels]`},
		{"too much to hold", SettingsFile, "seconds = 1.0", "seconds = 110.0", `study.toml:6: sweep.seconds is 110, and lead, 2 sweeps and gaps come to 10632000 samples; shorten them`},
		{"kind", SettingsFile, `"exponential"`, `"linear"`, `study.toml:3: sweep.kind is "linear"; write exponential`},
		{"calibration", SettingsFile, "[drive]", "[calibration]\nuncertainty_db = -0.3\n[drive]", `study.toml:16: calibration.uncertainty_db is -0.3: impossible; write a number, 0 to 5`},
		{"reading unknown key", SettingsFile, "[drive]", "[reading]\nlandmarks_mm = 1\n[drive]", `study.toml:16: unknown key landmarks_mm in [reading]; did you mean landmark_mm?`},
		{"reading table", SettingsFile, "[drive]", "[readings]\nlandmark_mm = 1\n[drive]", `study.toml:15: unknown key readings; did you mean reading?`},
		{"reading home", SettingsFile, "[drive]", "[drive]\nfixture_landmark_mm = 1", `study.toml:16: unknown key fixture_landmark_mm in [drive]; it belongs in [reading]`},
		{"reading too good", SettingsFile, "[drive]", "[reading]\nuncertainty_mm = 0\n[drive]", `study.toml:16: reading.uncertainty_mm is 0: impossible; write a number, 0.05 to 20`},
		{"reading too bad", SettingsFile, "[drive]", "[reading]\nlandmark_mm = 21\n[drive]", `study.toml:16: reading.landmark_mm is 21: impossible`},
		{"reading NaN", SettingsFile, "[drive]", "[reading]\nfixture_landmark_mm = nan\n[drive]", `study.toml:16: reading.fixture_landmark_mm is NaN: impossible`},
		{"reading text", SettingsFile, "[drive]", "[reading]\nlandmark_mm = \"1 mm\"\n[drive]", `study.toml:16: reading.landmark_mm must be a number, without quotes`},
		{"channel 0", SettingsFile, "left = 1", "left = 0", `study.toml:12: channels.left is 0: impossible; write a number, 1 to 128`},
		{"one channel twice", SettingsFile, "loopback = 3", "loopback = 2", `study.toml:14: channels.right and channels.loopback are both 2`},
		{"no ear", SettingsFile, "left = 1\nright = 2", "", `study.toml:11: no ear has a channel`},
		{"correction outside", SettingsFile, "calibration/mic.csv", "../mic.csv", `study.toml:18: microphone.left.correction is "../mic.csv", which is not below the study folder`},
		{"correction missing", SettingsFile, "calibration/mic.csv", "calibration/mike.csv", `study.toml:18: calibration/mike.csv: there is no such file`},
		{"calibrator missing", SettingsFile, "calibration/cal.wav", "cal.wav", `study.toml:19: cal.wav: there is no such file`},
		{"calibrator no WAV", "calibration/cal.wav", "", "94 dB", `study.toml:19: calibration/cal.wav: not a WAV file`},
		{"calibrator's rate", "calibration/cal.wav", "", slow, `study.toml:19: calibration/cal.wav has 44100 Hz, the study 48000`},
		{"another fixture's reference", SettingsFile, `name = "fixture 1"`, `name = "fixture 2"`, `study.toml:23: calibration/reference.csv belongs to "fixture 1", and this study was made on "fixture 2"; a reference is never carried`},
		{"excitation and sweep", SettingsFile, `kind = "exponential"`, `file = "recordings/a.wav"`, `study.toml:4: sweep.start_hz describes a sweep, yet sweep.file names an excitation`},
		{"excitation of three channels", SettingsFile, `kind = "exponential"`, `file = "recordings/a.wav"`, `study.toml:3: recordings/a.wav has 3 channels; an excitation has one`},
		{"curve descends", "calibration/mic.csv", "1000,0", "10,0", `mic.csv:3: 10 Hz follows 20 Hz`},
		{"curve of text", "calibration/mic.csv", "1000,0", "1000,flat", `mic.csv:3: level_db is "flat", not a number`},
		{"curve without level", "calibration/mic.csv", "level_db", "gain", `mic.csv:1: there is no column level_db`},
		{"curve empty", "calibration/mic.csv", "", "", `mic.csv: the file is empty`},
		{"curve of one point", "calibration/mic.csv", "1000,0\n20000,2\n", "", `mic.csv: 1 points make no curve`},

		{"unknown column", SheetFile, "rotation_deg", "rotation", `seatings.csv:1: unknown column "rotation"; did you mean rotation_deg?`},
		{"missing column", SheetFile, "subject", "notes2", `seatings.csv:1: there is no column subject`},
		{"column twice", SheetFile, "notes", "seal", `seatings.csv:1: column seal is there twice`},
		{"file missing", SheetFile, "recordings/a.wav", "recordings/z.wav", `seatings.csv:2: recordings/z.wav: there is no such file; record it`},
		{"file twice", SheetFile, "recordings/b.wav", "recordings/./a.wav", `seatings.csv:3: recordings/a.wav is in row 2 already`},
		{"file outside", SheetFile, "recordings/a.wav", "../a.wav", `seatings.csv:2: file is "../a.wav", which is not below the study folder`},
		{"file outside, absolute", SheetFile, "recordings/a.wav", "/a.wav", `seatings.csv:2: file is "/a.wav", which is not below the study folder`},
		{"file outside, from Windows", SheetFile, "recordings/a.wav", `..\a.wav`, `seatings.csv:2: file is "..\\a.wav", which is not below the study folder`},
		{"file a folder", SheetFile, "recordings/a.wav", "recordings", `seatings.csv:2: recordings: not a file`},
		{"no file", SheetFile, "recordings/a.wav", "", `seatings.csv:2: file is empty`},
		{"seating twice", SheetFile, "recordings/b.wav,Model A,1,fixture,drum", "recordings/b.wav,Model A,1,fixture,blocked", `seatings.csv:3: seating 1 of Model A on fixture at the blocked ear-canal entrance is in row 2 already`},
		{"seating negative", SheetFile, "blocked,2", "blocked,-2", `seatings.csv:4: seating is -2: impossible`},
		{"seating text", SheetFile, "blocked,2", "blocked,two", `seatings.csv:4: seating is "two", not a number`},
		{"seating NaN", SheetFile, "blocked,2", "blocked,NaN", `seatings.csv:4: seating is "NaN", not a number`},
		{"seating a half", SheetFile, "blocked,2", "blocked,2.5", `seatings.csv:4: seating is 2.5, not a whole number`},
		{"seating empty", SheetFile, "blocked,2", "blocked,", `seatings.csv:4: seating is empty`},
		{"displacement huge", SheetFile, ",4,-2.5", ",4000,-2.5", `seatings.csv:4: forward_mm is 4000: impossible; write a number, -100 to 100`},
		{"displacement infinite", SheetFile, ",4,-2.5", ",4,inf", `seatings.csv:4: up_mm is inf: impossible`},
		{"decimal comma", SheetFile, ",4,-2.5", `,4,"-2,5"`, `seatings.csv:4: up_mm is "-2,5": a comma inside a number; write it with a point: -2.5`},
		{"too many fields", SheetFile, ",4,-2.5", `,4,-2,5`, `seatings.csv:4: 12 fields under 11 columns`},
		{"point", SheetFile, "drum", "drumm", `seatings.csv:3: point is "drumm"; write blocked or drum`},
		{"drum of a listener", SheetFile, ",,,L01,blocked", ",Model A,,L01,drum", `seatings.csv:5: point is drum for the listener L01`},
		{"drum without model", SheetFile, "Model A,1,fixture,drum", ",,fixture,drum", `seatings.csv:3: model is empty on a drum row`},
		{"displaced bare ear", SheetFile, ",,,L01,blocked,1,", ",,,L01,blocked,1,3", `seatings.csv:5: a displacement on a bare-ear row`},
		{"no subject", SheetFile, "L01", "", `seatings.csv:5: subject is empty`},
		{"spelling", SheetFile, "recordings/c.wav,Model A", "recordings/c.wav,model a", `seatings.csv:4: model "model a" differs from "Model A" only in case or spaces`},
		{"a field short", SheetFile, ",,,,,\nrec", ",,,,\nrec", `seatings.csv:2: 10 fields under 11 columns`},
		{"open quote", SheetFile, `"a note`, `a "note`, `seatings.csv:3: `},
		{"no rows", SheetFile, goodSheet[strings.Index(goodSheet, "\n"):], "", `seatings.csv: the sheet has no rows`},
		{"empty sheet", SheetFile, "", " \n", `seatings.csv: the file is empty`},
		{"UTF-16", SheetFile, "", "\xff\xfef\x00i\x00", `seatings.csv: not plain text (UTF-16, or a spreadsheet's own format)`},
		{"Latin-1 sheet", SheetFile, "a note", "\xfcber", `seatings.csv:3: the text is not UTF-8`},
		{"one channel", "recordings/b.wav", "", mono, `seatings.csv:3: recordings/b.wav: the recording has 1 channel, and study.toml names channel 3`},
		{"no WAV", "recordings/b.wav", "", "ID3 something", `seatings.csv:3: recordings/b.wav: not a WAV file but an MP3 file`},
		{"empty WAV", "recordings/b.wav", "", "", `seatings.csv:3: recordings/b.wav: the file is empty`},
		{"truncated WAV", "recordings/b.wav", "", three[:len(three)-90], `seatings.csv:3: recordings/b.wav: truncated: the header promises 100 frames, the file holds 90`},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			files := goodStudy(t)
			changed := c.new
			if c.old != "" {
				changed = strings.Replace(files[c.file], c.old, c.new, 1)
				if changed == files[c.file] {
					t.Fatalf("%q is not in %s", c.old, c.file)
				}
			}
			files[c.file] = changed
			dir := writeStudy(t, files)
			_, err := Load(dir)
			var all textfile.Errors
			if !errors.As(err, &all) {
				t.Fatalf("%v, want %q", err, c.want)
			}
			for _, p := range all {
				if strings.Contains(p.Error(), c.want) && strings.HasPrefix(p.Error(), dir) && !strings.Contains(p.Error(), "\n") {
					return
				}
			}
			t.Errorf("got\n%v\nwant\n%s", err, c.want)
		})
	}
}

// Several faults in several files make one line each, and all come at once.
func TestAllErrorsAtOnce(t *testing.T) {
	files := goodStudy(t)
	files[SettingsFile] = strings.NewReplacer("repeats = 2", `repeats = "2"`, "seconds = 1.0", `seconds = "1"`, "volts_rms", "volt_rms", "mic.csv", "mike.csv").Replace(files[SettingsFile])
	files[SheetFile] = strings.NewReplacer("blocked,2", "blocked,-2", "recordings/d.wav", "recordings/e.wav").Replace(files[SheetFile])
	files["recordings/a.wav"] = ""
	_, err := Load(writeStudy(t, files))
	var all textfile.Errors
	if !errors.As(err, &all) {
		t.Fatal(err)
	}
	var got []string
	for _, p := range all {
		got = append(got, strings.TrimPrefix(p.Item+": "+p.Message, ": "))
		if p.Mend == "" {
			t.Errorf("no mend: %v", p)
		}
	}
	want := []string{
		"sweep.seconds must be a number, without quotes",
		"sweep.repeats must be a whole number",
		"unknown key volt_rms in [drive]",
		"calibration/mike.csv: there is no such file",
		"recordings/a.wav: the file is empty",
		"seating is -2: impossible",
		"recordings/e.wav: there is no such file",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("%s\n%v", d, err)
	}
	if !errors.Is(err, wavfile.ErrEmpty) || !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the errors underneath are lost: %v", err)
	}
}

// A mistake about the rate or the channels is one line, not one per recording.
func TestNoCascade(t *testing.T) {
	for _, c := range []struct {
		old, new       string
		rate, channels int // of the recordings; not the defaults of the study
	}{
		{"rate_hz = 48000", "rate_hertz = 44100", 44100, 3},
		{"rate_hz = 48000", `rate_hz = "44100"`, 44100, 3},
		{"rate_hz = 48000", "rate_hz = -1", 44100, 3},
		{"[sweep]", "[sweeps]", 44100, 3},
		{"loopback = 3", "loopback = 300", 48000, 3},
		{"left = 1\nright = 2", `left = "1"`, 48000, 1},
		{"left = 1", "left = ", 44100, 1},
	} {
		files := goodStudy(t)
		files[SettingsFile] = strings.Replace(files[SettingsFile], c.old, c.new, 1)
		for _, f := range []string{"a", "b", "c", "d"} {
			files["recordings/"+f+".wav"] = string(wavBytes(t, wavfile.Format{RateHz: c.rate, Channels: c.channels, Bits: 16}, silence(c.channels)...))
		}
		_, err := Load(writeStudy(t, files))
		var all textfile.Errors
		if !errors.As(err, &all) || slices.ContainsFunc(all, func(p textfile.Problem) bool { return strings.HasSuffix(p.File, SheetFile) }) {
			t.Errorf("%s: %v", c.new, err)
		}
	}
}

// A recording of another rate keeps only itself out, when it is processed.
func TestRateOfARecording(t *testing.T) {
	files := goodStudy(t)
	files["recordings/b.wav"] = string(wavBytes(t, wavfile.Format{RateHz: 44100, Channels: 3, Bits: 16}, silence(3)...))
	if s, err := Load(writeStudy(t, files)); err != nil || len(s.Seatings) == 0 {
		t.Errorf("a study with one recording of another rate: %v", err)
	}
}

func TestStudyFolder(t *testing.T) {
	if _, err := Load(filepath.Join(t.TempDir(), "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
	_, err := Load(t.TempDir())
	var all textfile.Errors
	if !errors.As(err, &all) || len(all) != 2 || !strings.Contains(all[0].Error(), "study.toml: there is no such file") || !strings.Contains(all[1].Error(), "seatings.csv: there is no such file") {
		t.Error(err)
	}
}

// A minimal study has every default; an excitation file brings its rate.
func TestDefaults(t *testing.T) {
	files := goodStudy(t)
	two := string(wavBytes(t, wavfile.Format{RateHz: 48000, Channels: 2, Bits: 16}, silence(2)...))
	for _, f := range []string{"a", "b", "c", "d"} {
		files["recordings/"+f+".wav"] = two
	}
	files[SettingsFile] = ""
	dir := writeStudy(t, files)
	got, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	want := Default()
	want.Dir, want.Title = dir, filepath.Base(dir)
	want.Microphones = [2]MicrophoneFiles{{CalibratorDBSPL: 94}, {CalibratorDBSPL: 94}}
	if d := cmp.Diff(&want, got, cmpopts.IgnoreFields(Study{}, "Seatings")); d != "" {
		t.Error(d)
	}

	slow := string(wavBytes(t, wavfile.Format{RateHz: 44100, Channels: 2, Bits: 16}, silence(2)...))
	for _, f := range []string{"a", "b", "c", "d"} {
		files["recordings/"+f+".wav"] = slow
	}
	files["music.wav"] = string(wavBytes(t, wavfile.Format{RateHz: 44100, Channels: 1, Bits: 16}, []float64{0, .5}))
	files[SettingsFile] = "sweep.file = 'music.wav'\nchannels = {left = 2}"
	got, err = Load(writeStudy(t, files))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(sweep.Design{Repeats: 1, RateHz: 44100}, got.Sweep); d != "" || got.Channels != (Channels{Left: 2}) {
		t.Error(d, got.Channels)
	}
	setup, err := got.Setup()
	if err != nil || len(setup.Excitation) != 2 {
		t.Errorf("%v, %v", setup.Excitation, err)
	}
}

func TestLoadPartial(t *testing.T) {
	files := goodStudy(t)
	delete(files, "recordings/b.wav")
	s, err := LoadPartial(writeStudy(t, files))
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Seatings) != 3 || len(s.NotRecorded) != 1 || s.NotRecorded[0].File != "recordings/b.wav" {
		t.Errorf("%v, %v", s.Seatings, s.NotRecorded)
	}
}

// What spreadsheets make of a sheet means the same.
func TestSheetDialects(t *testing.T) {
	want, problems := parseSheet("s", []byte(goodSheet))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	semicolons := strings.NewReplacer(`"a note, with a comma"`, "a note, with a comma", ",", ";").Replace(goodSheet)
	semicolons = strings.ReplaceAll(semicolons, "a note; with a comma", "a note, with a comma")
	dialects := map[string]string{
		"byte order mark":  "\ufeff" + goodSheet,
		"CRLF":             strings.ReplaceAll(goodSheet, "\n", "\r\n"),
		"CR":               strings.ReplaceAll(goodSheet, "\n", "\r"),
		"semicolons":       semicolons,
		"decimal comma":    strings.ReplaceAll(semicolons, "-2.5", "-2,5"),
		"minus sign":       strings.ReplaceAll(goodSheet, "-2.5", "−2.5"),
		"tabs":             strings.ReplaceAll(semicolons, ";", "\t"),
		"spaces":           strings.ReplaceAll(semicolons, ";", " ; "),
		"case":             strings.NewReplacer("file,model", "File, MODEL ", "drum", "Drum", "fixture", "Fixture").Replace(goodSheet),
		"backslashes":      strings.ReplaceAll(goodSheet, "recordings/", `recordings\`),
		"whole number":     strings.ReplaceAll(goodSheet, "blocked,2", "blocked,2.0"),
		"empty rows after": goodSheet + ",,,,,,,,,,\n\n",
		"empty columns":    strings.ReplaceAll(goodSheet, "\n", ",,\n"),
	}
	for name, text := range dialects {
		got, problems := parseSheet("s", []byte(text))
		if d := cmp.Diff(want, got); d != "" || len(problems) > 0 {
			t.Errorf("%s: %v\n%s", name, problems, d)
		}
	}
}

// A study that is written is read as the same.
func TestWriteStudy(t *testing.T) {
	files := goodStudy(t)
	first, err := Load(writeStudy(t, files))
	if err != nil {
		t.Fatal(err)
	}
	first.CalibrationDB = 0.3
	first.Reading = ReadingUncertainty{0.8, 1.2, 0.4}
	first.Window = Window{PreSeconds: 0.01, PostSeconds: 0.1, FadeInSeconds: 0.001, FadeOutSeconds: 0.05}
	again := maps.Clone(files)
	var toml, sheet bytes.Buffer
	if err := errors.Join(WriteSettings(&toml, *first), WriteSheet(&sheet, first.Seatings)); err != nil {
		t.Fatal(err)
	}
	again[SettingsFile], again[SheetFile] = toml.String(), sheet.String()
	second, err := Load(writeStudy(t, again))
	if err != nil {
		t.Fatalf("%v\n%s", err, toml.String())
	}
	if d := cmp.Diff(first, second, cmpopts.IgnoreFields(Study{}, "Dir")); d != "" {
		t.Errorf("%s\n%s", d, toml.String())
	}
	if want := strings.Replace(goodSheet, ",4,-2.5,,", ",4,-2.5,0,", 1); sheet.String() != want {
		t.Errorf("sheet:\n%s", sheet.String())
	}
	if !strings.Contains(toml.String(), "# silence before the first sweep: the noise is estimated there\nlead_seconds = 0.5\n") {
		t.Errorf("no word on the keys:\n%s", toml.String())
	}
}
