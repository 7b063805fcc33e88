package main

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/capture/wavfile"
	"asworn/cmd/internal/console"
)

// writeTestWAV writes a 24-bit PCM file of a quiet 1 kHz tone:
//
//	wav NAME rate=48000 channels=3 seconds=4
func writeTestWAV(ts *testscript.TestScript, _ bool, args []string) {
	rate, channels, seconds := 48000, 2, 1.0
	for _, a := range args[1:] {
		key, value, _ := strings.Cut(a, "=")
		v, err := strconv.ParseFloat(value, 64)
		ts.Check(err)
		switch key {
		case "rate":
			rate = int(v)
		case "channels":
			channels = int(v)
		case "seconds":
			seconds = v
		default:
			ts.Fatalf("wav: unknown %q", a)
		}
	}
	signal := make([][]float64, channels)
	for c := range signal {
		signal[c] = make([]float64, int(seconds*float64(rate)))
		for i := range signal[c] {
			signal[c][i] = 0.1 * math.Sin(2*math.Pi*1000*float64(i)/float64(rate))
		}
	}
	name := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(filepath.Dir(name), 0o777))
	ts.Check(wavfile.Write(name, wavfile.Format{RateHz: rate, Channels: channels, Bits: 24}, signal))
}

// truncate FILE BYTES cuts a file; FILE is made a file of its own first, so
// that a shared recording behind a link stays as it is.
func truncate(ts *testscript.TestScript, _ bool, args []string) {
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	name := ts.MkAbs(args[0])
	content, err := os.ReadFile(name)
	ts.Check(err)
	ts.Check(os.Remove(name))
	ts.Check(os.WriteFile(name, content[:n], 0o666))
}

// sums DIR FILE writes one line per WAV file under DIR: hash and name.
func sums(ts *testscript.TestScript, _ bool, args []string) {
	var b strings.Builder
	root := ts.MkAbs(args[0])
	ts.Check(filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil || filepath.Ext(p) != ".wav" {
			return err
		}
		content, err := os.ReadFile(p)
		rel, _ := filepath.Rel(root, p)
		if !strings.HasPrefix(rel, "results") {
			fmt.Fprintf(&b, "%x %s\n", sha256.Sum256(content), rel)
		}
		return err
	}))
	if b.Len() == 0 {
		ts.Fatalf("no WAV file under %s", args[0])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(b.String()), 0o666))
}

// json FILE wants one JSON value and nothing behind it; FILE may be stdout.
func wantJSON(ts *testscript.TestScript, _ bool, args []string) {
	var v any
	if err := json.Unmarshal([]byte(ts.ReadFile(args[0])), &v); err != nil {
		ts.Fatalf("%s is not one JSON value: %v", args[0], err)
	}
}

// linkStudy SRC DST [MODEL...] makes a study of its own out of a shared one:
// texts are copied, recordings are hard links. Nothing may write into a
// recording. Rows of other models than those named are left out of the sheets.
func linkStudy(ts *testscript.TestScript, _ bool, args []string) {
	ts.Check(linked(ts.MkAbs(args[0]), ts.MkAbs(args[1]), args[2:]...))
}

func linked(src, dst string, models ...string) error {
	return filepath.WalkDir(src, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(src, p)
		if err != nil {
			return err
		}
		to := filepath.Join(dst, rel)
		switch {
		case d.IsDir():
			return os.MkdirAll(to, 0o777)
		case filepath.Ext(p) == ".wav":
			if os.Link(p, to) == nil {
				return nil
			}
		}
		content, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		if (rel == capture.SheetFile || rel == study.ReadingsFile) && len(models) > 0 { // the model is their second column
			var kept []string
			for i, line := range strings.SplitAfter(string(content), "\n") {
				if model := strings.Split(line+",", ",")[1]; i == 0 || model == "" || slices.Contains(models, model) {
					kept = append(kept, line)
				}
			}
			content = []byte(strings.Join(kept, ""))
		}
		return os.WriteFile(to, content, 0o666)
	})
}

// interrupt DIR N runs a study, waits until N responses are kept, interrupts
// the run and wants exit code 1.
func interrupt(ts *testscript.TestScript, _ bool, args []string) {
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	exe, err := exec.LookPath("asworn")
	ts.Check(err)
	var stderr strings.Builder
	cmd := exec.Command(exe, "run", "--jobs", "1", args[0])
	cmd.Dir, cmd.Stderr = ts.MkAbs("."), &stderr
	ts.Check(cmd.Start())
	kept := filepath.Join(ts.MkAbs(args[0]), "results", "cache", "responses", "*.gob")
	for {
		files, err := filepath.Glob(kept)
		ts.Check(err)
		if len(files) >= n {
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	ts.Check(cmd.Process.Signal(os.Interrupt))
	err = cmd.Wait()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.ExitCode() != console.Failed {
		ts.Fatalf("interrupted run: %v, want exit code %d", err, console.Failed)
	}
	if !strings.Contains(stderr.String(), "interrupted") {
		ts.Fatalf("interrupted run says %q", stderr.String())
	}
}

// edit FILE OLD NEW replaces text that must be there once.
func edit(ts *testscript.TestScript, _ bool, args []string) {
	content := ts.ReadFile(args[0])
	if n := strings.Count(content, args[1]); n != 1 {
		ts.Fatalf("%q is %d times in %s, want once", args[1], n, args[0])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(strings.Replace(content, args[1], args[2], 1)), 0o666))
}

// replace FILE BY puts a copy of BY in the place of FILE, which may be a link.
func replace(ts *testscript.TestScript, _ bool, args []string) {
	content, err := os.ReadFile(ts.MkAbs(args[1]))
	ts.Check(err)
	ts.Check(os.Remove(ts.MkAbs(args[0])))
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), content, 0o666))
}

// twoFixtures DIR declares two fixtures in a study: every row of the only one
// stands for both, each with files of its own, and a reference of its own: +1 dB
// for the old one, -1.5 dB for the new one.
func twoFixtures(ts *testscript.TestScript, _ bool, args []string) {
	dir := ts.MkAbs(args[0])
	name := filepath.Join(dir, capture.SheetFile)
	content, err := os.ReadFile(name)
	ts.Check(err)
	var out []string
	for _, line := range strings.SplitAfter(string(content), "\n") {
		f := strings.Split(line, ",")
		if len(f) < 5 || f[3] != capture.FixtureSubject {
			out = append(out, line)
			continue
		}
		for _, fixture := range []string{"old", "new"} {
			to := strings.TrimSuffix(f[0], ".wav") + "-" + fixture + ".wav"
			ts.Check(os.Link(filepath.Join(dir, f[0]), filepath.Join(dir, to)))
			out = append(out, strings.Join(append([]string{to, f[1], f[2], fixture}, f[4:]...), ","))
		}
		ts.Check(os.Remove(filepath.Join(dir, f[0])))
	}
	ts.Check(os.WriteFile(name, []byte(strings.Join(out, "")), 0o666))
	name = filepath.Join(dir, study.ReadingsFile)
	content, err = os.ReadFile(name)
	ts.Check(err)
	out = nil
	for _, line := range strings.SplitAfter(string(content), "\n") {
		if reading, ok := strings.CutPrefix(line, capture.FixtureSubject+","); ok {
			out = append(out, "old,"+reading, "new,"+reading)
		} else {
			out = append(out, line)
		}
	}
	ts.Check(os.WriteFile(name, []byte(strings.Join(out, "")), 0o666))
	name = filepath.Join(dir, capture.StudyFile)
	content, err = os.ReadFile(name)
	ts.Check(err)
	before, _, ok := strings.Cut(string(content), "[fixture]")
	if !ok {
		ts.Fatalf("%s has no [fixture]", name)
	}
	for _, f := range []struct {
		name  string
		level float64
	}{{"old", 1}, {"new", -1.5}} {
		reference := "calibration/" + f.name + ".csv"
		before += fmt.Sprintf("[fixtures.%s]\ncoupler = \"IEC 60318-4\"\nreference = %q\n", f.name, reference)
		ts.Check(os.WriteFile(filepath.Join(dir, reference), fmt.Appendf(nil, "frequency_hz,level_db\n20,%g\n20000,%[1]g\n", f.level), 0o666))
	}
	ts.Check(os.WriteFile(name, []byte(before), 0o666))
}
