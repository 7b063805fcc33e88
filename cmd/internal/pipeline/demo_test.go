package pipeline

import (
	"bytes"
	"context"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"asworn/capture"
	"asworn/capture/wavfile"
	"asworn/cmd/internal/resultdir"
	"asworn/cmd/internal/simulate/demo"
	"asworn/fitcorr"
	"asworn/report"
	"asworn/report/table"
	"asworn/report/view"
)

// scratch is a folder for what the tests share.
var scratch string

func TestMain(m *testing.M) {
	var err error
	if scratch, err = os.MkdirTemp("", "asworn-pipeline-"); err != nil {
		panic(err)
	}
	code := m.Run()
	os.RemoveAll(scratch)
	os.Exit(code)
}

// small returns the closed-back Model A of a reduced demo study, read once by one
// person, which has been run. It is shared: those that change something take a copy by copyStudy.
var small = sync.OnceValues(func() (string, error) {
	dir := filepath.Join(scratch, "demo")
	ctx := context.Background()
	if _, err := demo.Write(ctx, dir, demo.Options{Listeners: 2, Seatings: 2, SurveySize: 5, OneReading: true, Model: "Model A"}); err != nil {
		return "", err
	}
	_, _, err := Run(ctx, dir, Options{})
	return dir, err
})

// whole is the demo study as everybody gets it, run, and what is true of it. It is
// shared by those that only read.
var whole = sync.OnceValues(func() (out struct {
	truth demo.Truth
	found report.Results
}, err error) {
	dir := filepath.Join(scratch, "whole")
	if out.truth, err = demo.Write(context.Background(), dir, demo.Options{}); err == nil {
		out.found, _, err = Run(context.Background(), dir, Options{})
	}
	return out, err
})

func wholeDemo(t *testing.T) (dir string, truth demo.Truth, found report.Results) {
	t.Helper()
	demo, err := whole()
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(scratch, "whole"), demo.truth, demo.found
}

func demoStudy(t testing.TB) string {
	t.Helper()
	dir, err := small()
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// copyStudy copies the demo study with its results.
func copyStudy(t *testing.T) string {
	t.Helper()
	to := t.TempDir()
	if err := os.CopyFS(to, os.DirFS(demoStudy(t))); err != nil {
		t.Fatal(err)
	}
	return to
}

// A recording that cannot be used is kept out of every curve, told with its
// mend, and does not keep the others from being judged.
func TestRefusedRecording(t *testing.T) {
	dir := copyStudy(t)
	const file, swapped = "recordings/l01_model-a_001_blocked.wav", "recordings/l02_model-a_002_blocked.wav"
	path := filepath.Join(dir, file)
	format, channels, err := wavfile.ReadAll(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range channels {
		clear(x)
	}
	if err := wavfile.Write(path, format, channels); err != nil {
		t.Fatal(err)
	}
	r, counts, err := Run(context.Background(), dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if counts.Refused == 0 || counts.Processed != 1 || len(counts.Changed) != 1 || counts.Changed[0] != file {
		t.Errorf("counts %+v: want one recording changed and processed, and it rejected", counts)
	}
	if !view.New(r).NeedsOperator() {
		t.Error("a rejected recording does not need the operator")
	}
	var summary bytes.Buffer
	if err := view.New(r).WriteSummary(&summary, table.Options{}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(summary.String(), file) {
		t.Errorf("the summary does not name the rejected recording:\n%s", summary.String())
	}
	for _, rec := range r.Recordings {
		if rec.File == swapped {
			continue // the demo's own fault, which so small a panel may or may not show
		}
		if (rec.File == file) == rec.Usable {
			t.Errorf("%s: usable %v", rec.File, rec.Usable)
		}
	}
	for _, o := range r.Analysis.Models[0].Offsets {
		if o.ID == file {
			t.Error("the rejected recording was placed")
		}
	}
}

// A check of a recording that the study holds finds what the run found.
func TestCheckAgreesWithRun(t *testing.T) {
	dir := demoStudy(t)
	r, err := resultdir.Last(dir)
	if err != nil {
		t.Fatal(err)
	}
	m := r.Analysis.Models[0]
	if len(m.Verdicts) == 0 {
		t.Fatal("the run judged nothing")
	}
	study, err := OpenFrozen(dir)
	if err != nil {
		t.Fatal(err)
	}
	if study.Stale() {
		t.Error("nothing changed, but the study is stale")
	}
	read := map[string]*capture.Reading{}
	for _, rec := range r.Recordings {
		read[rec.File] = rec.Read
	}
	for _, v := range m.Verdicts {
		if read[v.ID] == nil {
			t.Fatalf("%s: no read position among the results", v.ID)
		}
		got, err := study.Check(context.Background(), filepath.Join(dir, filepath.FromSlash(v.ID)), CheckOptions{Read: read[v.ID]})
		if err != nil {
			t.Fatal(err)
		}
		c := got.Analysis.Models[0].Verdicts[0]
		if c.Outcome != v.Outcome {
			t.Errorf("%s: check says %s, the run %s", v.ID, c.Outcome, v.Outcome)
		}
		for _, axis := range []fitcorr.Axis{fitcorr.Forward, fitcorr.Up} {
			if d := math.Abs(c.Headset.Off.Value[axis] - v.Headset.Off.Value[axis]); d > 0.05 {
				t.Errorf("%s, axis %d: check and run differ by %.3f mm", v.ID, axis, d)
			}
		}
	}
	if _, err := study.Check(context.Background(), "x.wav", CheckOptions{Model: "Model X"}); err == nil || !strings.Contains(err.Error(), "Model A") {
		t.Errorf("unknown model: %v", err)
	}
}

// again is a WAV file as if what it holds had been recorded once more: with other
// noise in its last bits.
func again(wav []byte, seed uint64) []byte {
	out, r := slices.Clone(wav), rand.New(rand.NewPCG(seed, 1))
	width := int(binary.LittleEndian.Uint16(wav[34:])) / 8
	for i := bytes.Index(wav, []byte("data")) + 8; i < len(out); i += width {
		out[i] ^= byte(r.IntN(2))
	}
	return out
}

// The view at the fixture judges a recording as soon as it has landed, in the
// sheet or not.
func TestWatch(t *testing.T) {
	dir := copyStudy(t)
	ctx, stop := context.WithTimeout(context.Background(), 5*time.Minute)
	defer stop()
	w := NewWatch(dir, "", Options{}, func(err error) { t.Error(err) })
	done := make(chan struct{})
	go func() { defer close(done); w.Follow(ctx, 10*time.Millisecond) }()
	await := func(what string, ok func(r report.Results, last string) bool) {
		t.Helper()
		for {
			r, last, err := w.Latest()
			if err != nil {
				t.Fatal(err)
			}
			if ok(r, last) {
				return
			}
			if ctx.Err() != nil {
				t.Fatalf("still waiting for: %s", what)
			}
			time.Sleep(10 * time.Millisecond)
		}
	}
	verdict := func(r report.Results, file string) bool {
		for _, m := range r.Analysis.Models {
			for _, v := range m.Verdicts {
				if v.ID == file {
					return true
				}
			}
		}
		return false
	}
	await("the first results", func(r report.Results, _ string) bool { return len(r.Recordings) > 0 })
	content, err := os.ReadFile(filepath.Join(dir, "recordings", "fixture_model-a_023_drum.wav"))
	if err != nil {
		t.Fatal(err)
	}
	const file = "recordings/new.wav"
	if err := resultdir.WriteFile(filepath.Join(dir, file), again(content, 1)); err != nil {
		t.Fatal(err)
	}
	await("a verdict of the new recording", func(r report.Results, last string) bool { return last == file && verdict(r, file) })

	// Written into the sheet, it becomes part of the study.
	sheet := filepath.Join(dir, capture.SheetFile)
	text, err := os.ReadFile(sheet)
	if err != nil {
		t.Fatal(err)
	}
	if err := resultdir.WriteFile(sheet, append(text, file+",Model A,1,fixture,drum,99,,,,,,,\n"...)); err != nil {
		t.Fatal(err)
	}
	await("the new row", func(r report.Results, _ string) bool {
		last := r.Recordings[len(r.Recordings)-1]
		return last.File == file && last.Number == 99 && verdict(r, file)
	})

	// A row that is there before its recording is judged too, whatever slip of
	// the pen its read position is.
	const later = "recordings/later.wav"
	if text, err = os.ReadFile(sheet); err != nil {
		t.Fatal(err)
	}
	if err := resultdir.WriteFile(sheet, append(text, later+",Model A,1,fixture,drum,98,,,,150,150,,\n"...)); err != nil {
		t.Fatal(err)
	}
	if err := resultdir.WriteFile(filepath.Join(dir, later), again(content, 2)); err != nil {
		t.Fatal(err)
	}
	await("a verdict of the later recording", func(r report.Results, last string) bool { return last == later && verdict(r, later) })
	stop()
	<-done
}

// BenchmarkCheck is everything that asworn check does after the process has
// started: read what the last run left, process the new recording, judge it.
func BenchmarkCheck(b *testing.B) {
	dir := demoStudy(b)
	file := filepath.Join(dir, "recordings", "fixture_model-a_023_drum.wav")
	for b.Loop() {
		study, err := OpenFrozen(dir)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := study.Check(context.Background(), file, CheckOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkRunAgain is a run in which nothing has changed.
func BenchmarkRunAgain(b *testing.B) {
	dir := demoStudy(b)
	for b.Loop() {
		if _, counts, err := Run(context.Background(), dir, Options{}); err != nil || counts.Processed > 0 || counts.Estimated {
			b.Fatal(err, counts)
		}
	}
}
