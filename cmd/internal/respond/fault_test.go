package respond

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/capture/textfile"
	"asworn/capture/wavfile"
	"asworn/capture/workers"
)

// TestGuard: a panic, also one of a worker of the estimators, is an error that
// names the place.
func TestGuard(t *testing.T) {
	var empty []int
	for _, f := range []func(){
		func() { empty[len(os.Args)] = 1 },
		func() { _ = workers.All(context.Background(), 3, 2, func(i int) { empty[i] = 1 }) },
	} {
		err := Guard(func() error { f(); return nil })
		var failed *fault
		if !errors.As(err, &failed) || !strings.Contains(err.Error(), "fault_test.go:") || !strings.Contains(err.Error(), "index out of range") {
			t.Errorf("%v", err)
		}
	}
	if err := Guard(func() error { return os.ErrExist }); err != os.ErrExist {
		t.Errorf("%v", err)
	}
}

// TestFaultIsOfItsRecording: a processor that fails gives a refused recording
// with a line that asks for the file, and is not used again.
func TestFaultIsOfItsRecording(t *testing.T) {
	file := filepath.Join(t.TempDir(), "take.wav")
	if err := wavfile.Write(file, wavfile.Format{RateHz: 48000, Channels: 1, Bits: 24}, [][]float64{make([]float64, 48000)}); err != nil {
		t.Fatal(err)
	}
	p := new(capture.Processor) // without what NewProcessor makes: every use fails
	rec, err := Process(&p, file, study.HoldsRecording)
	if err != nil || p != nil || rec.Quality.Usable() {
		t.Fatalf("%v, processor %v, usable %v", err, p, rec.Quality.Usable())
	}
	if f := rec.Quality.Findings[0]; f.Code != finding.Unreadable || f.Mend != FaultMend || !strings.Contains(f.Message, ".go:") {
		t.Errorf("%+v", f)
	}
}

// A curve that cannot be read says which line, and what to do there.
func TestCurveThatCannotBeRead(t *testing.T) {
	err := error(textfile.Errors{{File: "a-L.txt", Line: 3, Message: "frequency -5", Mend: "frequencies are in Hz, above 0"}, {File: "a-L.txt", Line: 4}})
	f := refused(fmt.Errorf("left ear: %w", err)).Quality.Findings[0]
	if f.Message != "a-L.txt:3: frequency -5 (and 1 more like it)" || f.Mend != "frequencies are in Hz, above 0" {
		t.Errorf("%+v", f)
	}
}

func TestPlausible(t *testing.T) {
	good := func() capture.Recording {
		rec := refused(os.ErrInvalid)
		for e := range rec.Ears {
			for i := range band.Count {
				rec.Ears[e].LevelDB[i], rec.Ears[e].Valid[i] = 90, true
			}
			rec.Ears[e].Impulse = []float64{1, 0}
		}
		return rec
	}
	if err := plausible(good()); err != nil {
		t.Error(err)
	}
	for _, spoil := range []func(r *capture.Recording){
		func(r *capture.Recording) { r.Ears[0].LevelDB[3] = math.NaN() },
		func(r *capture.Recording) { r.Ears[1].StdErrDB[3] = math.Inf(1) },
		func(r *capture.Recording) { r.Ears[1].LevelDB[3] = 1e38 },
		func(r *capture.Recording) { r.Ears[1].Delay = math.NaN() },
		func(r *capture.Recording) { r.Ears[1].Impulse[1] = math.Inf(-1) },
		func(r *capture.Recording) { r.DriftPPM = math.NaN() },
	} {
		rec := good()
		spoil(&rec)
		err := plausible(rec)
		if !errors.Is(err, errNotFinite) {
			t.Errorf("%v", err)
		}
		if f := refused(err).Quality.Findings[0]; f.Code != finding.NotFinite {
			t.Errorf("%+v", f)
		}
	}
}
