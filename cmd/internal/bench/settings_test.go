package bench

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// FuzzSettings feeds any text as what was kept of a bench: no panic, and
// settings that are taken are kept and read as the same.
func FuzzSettings(f *testing.F) {
	f.Add([]byte("playback = 'simulated device'\ncapture = 'simulated device'\ngain_db = -20.0\nlimit_db_spl = 80.0\n[inputs]\nleft = 2\nright = 1\n"))
	f.Add([]byte("gain_db = nan\noutputs = [0]"))
	f.Add([]byte("outputs = []\n[[levels]]\ncalibrated = 1"))
	f.Fuzz(func(t *testing.T, text []byte) {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, SettingsFile), text, 0o666); err != nil {
			t.Fatal(err)
		}
		s, err := LoadSettings(dir)
		if err != nil {
			return
		}
		if err := s.Save(dir); err != nil {
			t.Fatal(err)
		}
		back, err := LoadSettings(dir)
		if d := cmp.Diff(s, back, cmpopts.EquateEmpty()); err != nil || d != "" {
			t.Fatalf("%v\n%s", err, d)
		}
	})
}
