package studydir

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"asworn/capture"
	"asworn/cmd/internal/cache"
)

// Files that are in no row are listed, those that serve something are not; the
// same bytes under two names are found among rows and beside them.
func TestStraysAndTwins(t *testing.T) {
	dir := t.TempDir()
	for name, content := range map[string]string{
		"recordings/a.wav": "one", "recordings/b.wav": "two", "recordings/c.wav": "one",
		"recordings/A copy.WAV": "two", "recordings/new.wav": "six", "recordings/notes.txt": "two", "recordings/.take-d.wav": "two",
		"sweep.wav": "two", "played.wav": "two", "cal.wav": "two", "calibration/x.wav": "two", "results/y.wav": "two", "retakes/a-take-1.wav": "two",
	} {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(content), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	st := &capture.Study{Excitation: "played.wav", NotRecorded: []capture.Seating{{File: "recordings/d.wav"}}}
	st.Microphones[0].Calibrator = "cal.wav"
	var responses []cache.Key
	for _, f := range []string{"a", "b", "c"} {
		st.Seatings = append(st.Seatings, capture.Seating{File: "recordings/" + f + ".wav"})
		key, err := cache.FileKey(filepath.Join(dir, "recordings", f+".wav"))
		if err != nil {
			t.Fatal(err)
		}
		responses = append(responses, key)
	}
	stray := Strays(dir, st)
	if want := []string{"recordings/A copy.WAV", "recordings/new.wav"}; !slices.Equal(stray, want) {
		t.Errorf("strays %q, want %q", stray, want)
	}
	got, err := FindTwins(dir, st.Seatings, responses, stray)
	want := []Twins{{"recordings/a.wav", "recordings/c.wav"}, {"recordings/b.wav", "recordings/A copy.WAV"}}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("%v, twins %v, want %v", err, got, want)
	}
}
