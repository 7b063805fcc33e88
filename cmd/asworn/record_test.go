//go:build unix

package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"

	"asworn/capture/audio"
	"asworn/capture/study"
	"asworn/capture/wavfile"
	"asworn/cmd/internal/console"
)

// benchStudy starts a study that is quick to record: short sweeps, one model.
func benchStudy(t *testing.T, args ...string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "study")
	args = append([]string{"new", dir, "--fixture", "1", "--listeners", "1", "--seatings", "1", "--survey=false", "--bare-ear=false", "--drum=false",
		"--seconds", "0.5", "--gap", "0.6"}, args...)
	if code := execute(t.Context(), args, io.Discard, io.Discard); code != console.Done {
		t.Fatalf("new: code %d", code)
	}
	return dir
}

// bench is a simulated bench: microphones on inputs 2 and 1, that is swapped,
// which are touched when the test says so.
type simulatedBench struct {
	audio.Simulated
	mu      sync.Mutex
	touched int           // input, from 0; -1 for none
	played  int64         // frames after which playback ended by itself; 0 where it did not
	slow    chan struct{} // where time stands still until the sound is stopped; nil where it goes on
}

func newSimulatedBench() *simulatedBench {
	b := &simulatedBench{touched: -1}
	b.LatencyFrame, b.NoiseRMS = 700, 1e-5
	b.Paths = []audio.Path{{Output: 0, Input: 1, FIR: []float64{0.5, 0.2}}, {Output: 1, Input: 0, FIR: []float64{0.45, 0.25}}}
	b.Sound = func(input int, frame int64) float64 {
		b.mu.Lock()
		defer b.mu.Unlock()
		if input == b.touched && frame > 48000 && frame < 48500 {
			return 0.2 * math.Sin(float64(frame))
		}
		return 0
	}
	b.Each = func(frame int64) {
		b.mu.Lock()
		slow := b.slow
		b.mu.Unlock()
		if slow != nil && frame > 24000 {
			<-slow
		}
	}
	return b
}

func (b *simulatedBench) set(f func()) { b.mu.Lock(); defer b.mu.Unlock(); f() }

// Open gives every take noise of its own, as every bench does, and time goes on once
// the sound is stopped.
func (b *simulatedBench) Open(cfg audio.Config, call audio.Callbacks) (audio.Stream, error) {
	b.set(func() { b.NoiseSeed++ })
	s, err := b.Simulated.Open(cfg, call)
	return stoppable{s, b}, err
}

// Counters are those of a device that was unplugged, where played says after how many
// frames.
func (s stoppable) Counters() audio.Counters {
	c := s.Stream.Counters()
	s.bench.set(func() {
		if s.bench.played > 0 {
			c.Played = s.bench.played
		}
	})
	return c
}

type stoppable struct {
	audio.Stream
	bench *simulatedBench
}

func (s stoppable) Stop() error {
	s.bench.set(func() {
		if s.bench.slow != nil {
			close(s.bench.slow)
			s.bench.slow = nil
		}
	})
	return s.Stream.Stop()
}

// Devices have two inputs, as an interface would say.
func (b *simulatedBench) Devices() (playback, capture []audio.Device, err error) {
	playback, capture, err = b.Simulated.Devices()
	playback[0].Channels, capture[0].Channels = 2, 2
	return playback, capture, err
}

// session is a command on a pseudo-terminal.
type session struct {
	t    *testing.T
	tty  *os.File
	mu   sync.Mutex
	seen bytes.Buffer
	told bytes.Buffer // on stderr; to be read once the code has come
	code chan int
}

func startSession(t *testing.T, sound audio.System, args ...string) *session {
	t.Helper()
	ours, theirs, err := pty.Open()
	if err != nil {
		t.Skip(err)
	}
	s := &session{t: t, tty: ours, code: make(chan int, 1)}
	go s.watch()
	ctx, stop := context.WithCancel(t.Context())
	t.Cleanup(func() { stop(); ours.Close(); theirs.Close() })
	go func() {
		a := &program{console.Console{In: theirs, Out: theirs, Err: &s.told}, func() (audio.System, error) { return sound, nil }}
		s.code <- a.execute(ctx, args)
	}()
	return s
}

// watch takes down what the terminal shows.
func (s *session) watch() {
	buf := make([]byte, 4096)
	for {
		n, err := s.tty.Read(buf)
		s.mu.Lock()
		s.seen.Write(buf[:n])
		s.mu.Unlock()
		if err != nil {
			return
		}
	}
}

// wants waits until the terminal shows a text after what was wanted before.
func (s *session) wants(text string) {
	s.t.Helper()
	for range 3000 { // 30 s
		s.mu.Lock()
		at := bytes.Index(s.seen.Bytes(), []byte(text))
		if at >= 0 {
			s.seen.Next(at + len(text))
		}
		seen := s.seen.String()
		s.mu.Unlock()
		if at >= 0 {
			return
		}
		select {
		case code := <-s.code:
			s.t.Fatalf("ended with code %d while %q was waited for; the terminal shows\n%s", code, text, seen)
		case <-time.After(10 * time.Millisecond):
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.t.Fatalf("%q does not come; the terminal shows\n%s", text, s.seen.String())
}

// now is what the terminal has shown since what was wanted last.
func (s *session) now() string {
	time.Sleep(300 * time.Millisecond)
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.seen.String()
}

func (s *session) types(keys string) {
	s.t.Helper()
	if _, err := s.tty.WriteString(keys); err != nil {
		s.t.Fatal(err)
	}
}

func (s *session) ends() {
	s.t.Helper()
	s.types("q")
	if code := <-s.code; code != console.Done {
		s.t.Errorf("code %d, want %d", code, console.Done)
	}
}

// The guided session, from the first touch of a microphone to the last row:
// swapped inputs are mapped, a stop keeps nothing, a retake keeps the first, and
// a listener hears nothing before the level is known and the cautions confirmed.
func TestRecordOnATerminal(t *testing.T) {
	dir := benchStudy(t)
	b := newSimulatedBench()
	s := startSession(t, b, "record", dir)
	s.wants("LEFT microphone")
	s.types("\r")
	s.wants("no channel heard a touch")
	b.set(func() { b.touched = 1 })
	s.types("\r")
	s.wants("left microphone is on input 2")
	s.wants("RIGHT microphone")
	s.types("\r")
	s.wants("Input 2 is the other microphone's already")
	b.set(func() { b.touched = 0 })
	s.types("\r")
	s.wants("right microphone is on input 1")
	b.set(func() { b.touched = -1 })

	s.wants("2 rows left")
	s.wants("Row 1 of 2: Model A on the fixture, seating 1")
	// A listener's row, before anything is known.
	s.types("s")
	s.wants("Row 2 of 2: Model A on L01, seating 1")
	s.types("\r")
	s.wants("y confirms them for this session")
	s.types("y")
	s.wants("level not checked")
	s.types("\r")
	s.wants("nobody knows yet how loud Model A is")
	s.types("b")

	// A stop keeps nothing.
	b.set(func() { b.slow = make(chan struct{}) })
	s.types("\r")
	s.wants("ANY KEY STOPS")
	s.wants("  left     █") // by what is recorded, not by the numbers of the device
	s.wants("  right    █")
	s.types("z")
	s.wants("stopped; nothing was kept")
	for range 3 { // in alarm once more, and again
		s.types("\r")
		time.Sleep(200 * time.Millisecond)
	}
	if seen := s.now(); strings.Contains(seen, "ANY KEY STOPS") {
		t.Errorf("a key right after the one that stopped the sound plays again: %s", seen)
	}
	time.Sleep(time.Second)
	file := filepath.Join(dir, "recordings", "fixture-model-a-01-blocked.wav")
	if _, err := os.Stat(file); err == nil {
		t.Error("a stopped take was kept")
	}

	// A take, a retake, a note and a reading.
	s.types("\r")
	s.wants("KEEP: recorded")
	first, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	s.types("a")
	s.wants("a new take is kept beside the first")
	s.types("\r")
	s.wants("KEEP: recorded")
	kept, err := os.ReadFile(filepath.Join(dir, "retakes", "fixture-model-a-01-blocked-take-1.wav"))
	if err != nil || !bytes.Equal(kept, first) {
		t.Errorf("the first take: %v, same %t", err, bytes.Equal(kept, first))
	}
	s.types("nloose cable")
	s.wants("loose cable")
	s.types("\x1b[D") // an arrow neither ends what is typed nor is a letter of it
	s.types("\r")
	s.wants("noted: loose cable")
	s.types("r-31.5 12\r")
	s.wants("read: −31.5 mm forward, 12 mm up")
	s.wants("KEEP: recorded")

	// The listener's row may now be played, low; it is the last.
	s.types("\r")
	s.wants("Row 2 of 2")
	s.types("\r")
	s.wants("KEEP: recorded")
	s.types("\r")
	s.wants("Every row is recorded")
	s.ends()

	st, err := study.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	row := st.Seatings[0]
	if row.Notes != "loose cable" || row.Read == nil || row.Read.ForwardMM != -31.5 || row.Read.UpMM != 12 {
		t.Errorf("the sheet says %+v, %+v", row, row.Read)
	}
	// The next session asks for nothing again and finds nothing to do.
	s = startSession(t, b, "record", dir)
	s.wants("Every row is recorded")
	s.ends()
}

// setUpBench writes what a first session finds out.
func setUpBench(t *testing.T, dir string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, "bench.toml"), []byte("playback = 'simulated device'\ncapture = 'simulated device'\ngain_db = -30.0\nlimit_db_spl = 80.0\n[inputs]\nleft = 2\nright = 1\n"), 0o666); err != nil {
		t.Fatal(err)
	}
}

// Of several fixtures the one on the bench is asked for; its rows and the panel's
// are recorded, and new rows are its own.
func TestRecordOnOneOfSeveralFixtures(t *testing.T) {
	t.Parallel()
	dir := benchStudy(t)
	setUpBench(t, dir)
	change := func(name string, f func(string) string) {
		t.Helper()
		text, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(f(string(text))), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	change("study.toml", func(s string) string {
		at := strings.Index(s, "[fixture]")
		next := at + 1 + strings.Index(s[at+1:], "\n[")
		return s[:at] + "[fixtures.old]\nname = 'first'\n[fixtures.new]\nname = 'second'\n" + s[next:]
	})
	change("seatings.csv", func(s string) string {
		lines := strings.Split(strings.TrimSpace(s), "\n")
		for _, l := range lines {
			if strings.Contains(l, "fixture,") {
				lines = append(lines, strings.ReplaceAll(l, "fixture", "new"))
			}
		}
		return strings.ReplaceAll(strings.Join(lines, "\n"), "fixture", "old") + "\n"
	})
	s := startSession(t, newSimulatedBench(), "record", dir)
	s.wants("1  new")
	s.types("2\r")
	s.wants("Row 1 of 2: Model A on fixture old, seating 1")
	s.types("\r")
	s.wants("KEEP: recorded")
	s.types("r1 2\r")
	s.wants("read: 1 mm forward, 2 mm up")
	s.wants("KEEP: recorded")
	s.types("+")
	s.wants("Model A on fixture old, seating 2")
	s.types("\r")
	s.wants("KEEP: recorded")
	s.ends()
	s = startSession(t, newSimulatedBench(), "record", dir, "--fixture", "new")
	s.wants("Row 1 of 2: Model A on L01, seating 1")
	s.types("s")
	s.wants("Row 2 of 2: Model A on fixture new, seating 1")
	s.types("+")
	s.wants("Model A on fixture new, seating 2")
	s.types("\r")
	s.wants("KEEP: recorded")
	s.ends()
	st, err := study.LoadPartial(dir)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, r := range st.Seatings {
		got = append(got, r.Subject+" "+r.File)
	}
	want := "old recordings/old-model-a-01-blocked.wav\nold recordings/old-model-a-02-blocked.wav\nnew recordings/new-model-a-02-blocked.wav"
	if strings.Join(got, "\n") != want {
		t.Errorf("recorded\n%s\nwant\n%s", strings.Join(got, "\n"), want)
	}
	if r := st.Seatings[0].Read; r == nil || r.ForwardMM != 1 || r.UpMM != 2 {
		t.Errorf("the reading is %+v", r)
	}
	for _, args := range [][]string{{"record", dir, "--page"}, {"record", dir, "--page", "--fixture", "third"}, {"record", dir + "@old", "--page", "--fixture", "new"}, {"serve", dir}} {
		a := &program{console.Console{In: strings.NewReader(""), Out: io.Discard, Err: io.Discard}, func() (audio.System, error) { return newSimulatedBench(), nil }}
		if code := a.execute(t.Context(), args); code == console.Done {
			t.Errorf("%v is taken", args)
		}
	}
}

// Nothing is played where a take could not be kept, nor by two sessions at once, and a
// row that was added is in the sheet at once.
func TestRecordKeepsNoTakeWaiting(t *testing.T) {
	t.Parallel()
	dir := benchStudy(t)
	setUpBench(t, dir)
	s := startSession(t, newSimulatedBench(), "record", dir)
	s.wants("Row 1 of 2")
	a := &program{console.Console{In: strings.NewReader(""), Out: io.Discard, Err: io.Discard}, func() (audio.System, error) { return newSimulatedBench(), nil }}
	if code := a.execute(t.Context(), []string{"record", dir, "--page"}); code != console.Failed {
		t.Errorf("a second session ends with code %d, want %d", code, console.Failed)
	}
	folder := filepath.Join(dir, "recordings")
	if err := os.RemoveAll(folder); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(folder, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	s.types("\r")
	s.wants("nothing is played, for a take could not be kept")
	if err := os.Remove(folder); err != nil {
		t.Fatal(err)
	}
	s.types("\r")
	s.wants("KEEP: recorded")
	s.types("+")
	s.wants("Row 2 of 3: Model A on the fixture, seating 2")
	s.ends()
	s = startSession(t, newSimulatedBench(), "record", dir)
	s.wants("Row 2 of 3: Model A on the fixture, seating 2")
	s.ends()
}

// One more listener gets the rows of the one who has most, once, in an order of their own.
func TestRecordAddsAListener(t *testing.T) {
	dir := benchStudy(t, "--models", "Model A,Model B,Model C", "--seatings", "4", "--bare-ear")
	setUpBench(t, dir)
	s := startSession(t, newSimulatedBench(), "record", dir, "--add-listener", "L02")
	s.wants("30 rows left")
	s.ends()
	st, err := study.LoadPartial(dir)
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string][]string{}
	for _, r := range st.NotRecorded {
		if r.OnFixture() {
			continue
		}
		rows[r.Subject] = append(rows[r.Subject], fmt.Sprint(strings.ReplaceAll(r.File, r.Subject, "L"), r.Model, r.Number, r.Point))
	}
	same := slices.Equal(rows["L01"], rows["L02"])
	slices.Sort(rows["L01"])
	slices.Sort(rows["L02"])
	if len(rows["L01"]) != 13 || same || !slices.Equal(rows["L01"], rows["L02"]) {
		t.Errorf("L01 has %q, L02 %q; in the same order: %t", rows["L01"], rows["L02"], same)
	}
	for _, id := range []string{"L02", "l01", "", "a/../../b"} {
		a := &program{console.Console{In: strings.NewReader(""), Out: io.Discard, Err: io.Discard}, func() (audio.System, error) { return newSimulatedBench(), nil }}
		if code := a.execute(t.Context(), []string{"record", dir, "--page", "--add-listener", id}); code != console.Failed && code != console.Usage {
			t.Errorf("listener %q: code %d", id, code)
		}
	}
}

// A playback device that goes away in the middle of a take is named, and the take is to be
// made again.
func TestRecordPlaybackGone(t *testing.T) {
	dir := benchStudy(t)
	setUpBench(t, dir)
	b := newSimulatedBench()
	b.played = 24000
	s := startSession(t, b, "record", dir)
	s.wants("Row 1 of 2")
	s.types("\r")
	s.wants("AGAIN: rejected")
	s.wants("playback ended after 0.5 s of 2.1: see whether simulated device is still plugged in")
	s.ends()
}

// What a meter read counts until the level is checked again: then it has to be read again
// before anybody hears anything.
func TestRecordLevelIsReadAgain(t *testing.T) {
	t.Parallel()
	dir := benchStudy(t)
	setUpBench(t, dir)
	b := newSimulatedBench()
	b.PPM = 80
	s := startSession(t, b, "record", dir)
	s.wants("Row 1 of 2")
	s.types("ly")
	s.wants("ms after the output")
	s.wants("clock of recording against playback +80.")
	s.wants("type what it says (v)")
	s.types("v101\r")
	s.wants("101 dB(A) at the ear at −30 dB of gain")
	s.types("\r")
	s.wants("above the limit of 80 dB(A): turn the amplifier down by 21 dB")
	s.types("ly")
	s.wants("type what it says (v)")
	s.types("s")
	s.wants("Row 2 of 2: Model A on L01")
	s.types("\ry\r")
	s.wants("read it again while the level check plays (l)")
	s.types("v79\r")
	s.wants("79 dB(A) at the ear at −30 dB of gain")
	s.types("\r")
	s.wants("KEEP: recorded")
	s.ends()
}

// One fixture seating after the other, each with a number and a row of its own.
func TestRecordOneModel(t *testing.T) {
	t.Parallel()
	dir := benchStudy(t)
	b := newSimulatedBench()
	setUpBench(t, dir)
	s := startSession(t, b, "record", dir, "--model", "Model A")
	for _, n := range []string{"2", "3"} {
		s.wants("Model A on the fixture, seating " + n)
		s.types("\r")
		s.wants("KEEP: recorded")
		s.wants("no verdict: ") // which is what this is for
		s.wants("no results yet; run 'asworn run")
		s.types("\r")
	}
	s.wants("seating 4")
	s.ends()
	// What may be kept is not shown as good where there is something to mend.
	quiet := benchStudy(t)
	setUpBench(t, quiet)
	b.Paths = []audio.Path{{Output: 0, Input: 1, FIR: []float64{0.05, 0.02}}, {Output: 1, Input: 0, FIR: []float64{0.045, 0.025}}}
	s = startSession(t, b, "record", quiet)
	s.wants("Row 1 of 2")
	s.types("\r")
	s.wants("KEEP: recorded, with warnings")
	s.wants("raise the recording gain")
	s.ends()
	st, err := study.LoadPartial(dir)
	if err != nil {
		t.Fatal(err)
	}
	var files []string
	for _, r := range st.Seatings {
		files = append(files, r.File)
	}
	if got, want := strings.Join(files, " "), "recordings/fixture-model-a-02-blocked.wav recordings/fixture-model-a-03-blocked.wav"; got != want || len(st.NotRecorded) != 2 {
		t.Errorf("recorded %s, %d rows left; want %s and 2", got, len(st.NotRecorded), want)
	}
	// The first take tells how late the sound arrives; the next waits no longer for it.
	frames := func(n int) int {
		_, x, err := wavfile.ReadAll(filepath.Join(dir, filepath.FromSlash(st.Seatings[n].File)))
		if err != nil {
			t.Fatal(err)
		}
		return len(x[0])
	}
	if first, second := frames(0), frames(1); second > first-48000/5 || second < first-48000/2 {
		t.Errorf("takes of %d and %d frames", first, second)
	}
}

// Files of another recorder become the next rows, in order; originals stay as
// they are, a file is taken once, and the last one can be undone.
func TestRecordFrom(t *testing.T) {
	t.Parallel()
	dir, from := benchStudy(t, "--seatings", "2"), t.TempDir()
	b := newSimulatedBench()
	setup, err := study.LoadPartial(dir)
	if err != nil {
		t.Fatal(err)
	}
	drop := func(name string, noise float64) {
		t.Helper()
		b.NoiseRMS = noise
		x := setup.Sweep.Signal()
		take, err := audio.Record(t.Context(), b, audio.Config{RateHz: 48000, Outputs: 2, Inputs: 2}, audio.Playing{Signal: x, Gain: 0.1, Seconds: float64(len(x))/48000 + 1})
		if err != nil {
			t.Fatal(err)
		}
		if err := wavfile.Write(filepath.Join(from, name), wavfile.Format{RateHz: 48000, Channels: 2, Bits: 24}, take.Samples[:2]); err != nil {
			t.Fatal(err)
		}
	}
	same := func(name, file string) {
		t.Helper()
		original, err1 := os.ReadFile(filepath.Join(from, name))
		kept, err2 := os.ReadFile(filepath.Join(dir, filepath.FromSlash(file)))
		if err1 != nil || err2 != nil || !bytes.Equal(original, kept) {
			t.Errorf("%s and %s: %v, %v, same %t", name, file, err1, err2, bytes.Equal(original, kept))
		}
	}
	touch := func(name string, channel int) {
		t.Helper()
		x := [][]float64{make([]float64, 96000), make([]float64, 96000)}
		for i := range 480 {
			x[channel-1][48000+i] = (0.2 + 0.01*float64(name[3]-'0')) * math.Sin(float64(i))
		}
		if err := wavfile.Write(filepath.Join(from, name), wavfile.Format{RateHz: 48000, Channels: 2, Bits: 24}, x); err != nil {
			t.Fatal(err)
		}
	}
	drop("REC001.WAV", 1e-5)
	s := startSession(t, nil, "record", dir, "--from", from)
	s.wants("Touch the LEFT microphone twice")
	s.wants("REC001.WAV waits")
	s.types("\r")
	s.wants("channels heard it about as loud") // it is a take
	touch("TAP1.WAV", 2)
	s.types("x")
	s.wants("REC001.WAV is left out")
	s.wants("TAP1.WAV waits")
	s.types("\r")
	s.wants("the left microphone is on channel 2 of the recorder's files, study.toml says 1: swap the plugs")
	touch("TAP2.WAV", 1)
	s.wants("Touch the RIGHT microphone twice")
	s.wants("the left microphone is on channel 1, as study.toml says")
	touch("TAP3.WAV", 2)
	s.wants("Row 1 of 3")
	s.wants("the right microphone is on channel 2, as study.toml says")
	s.ends()
	if err := os.Remove(filepath.Join(dir, "retakes", "imports.tsv")); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"TAP1.WAV", "TAP2.WAV", "TAP3.WAV"} {
		if err := os.Remove(filepath.Join(from, name)); err != nil {
			t.Fatal(err)
		}
	}

	s = startSession(t, nil, "record", dir, "--from", from) // which does not ask again
	s.wants("REC001.WAV waits")
	s.types("\r")
	s.wants("KEEP: recorded")
	same("REC001.WAV", "recordings/fixture-model-a-01-blocked.wav")
	drop("REC002.WAV", 1.1e-5) // a listener's: not before the cautions
	s.wants("y confirms them for this session")
	s.types("y\r")
	s.wants("REC002.WAV is recordings/L01-model-a-01.wav")
	same("REC002.WAV", "recordings/L01-model-a-01.wav")
	s.types("u")
	s.wants("REC002.WAV waits")
	same("REC002.WAV", "retakes/L01-model-a-01-take-1.wav")
	s.types("x")
	s.wants("REC002.WAV is left out")
	s.ends()

	drop("REC003.WAV", 1.2e-5)
	s = startSession(t, nil, "record", dir, "--from", from)
	s.wants("Row 2 of 3: Model A on L01, seating 1")
	s.wants("REC003.WAV waits") // what was taken or left out is not offered again
	s.types("s")
	s.wants("Row 3 of 3: Model A on L01, seating 2")
	s.types("\ry\r")
	s.wants("REC003.WAV is recordings/L01-model-a-02.wav")
	same("REC003.WAV", "recordings/L01-model-a-02.wav")
	s.ends()
	if _, err := os.Stat(filepath.Join(dir, "recordings", "L01-model-a-01.wav")); err == nil {
		t.Error("a skipped row has a recording")
	}
	if err := os.Mkdir(filepath.Join(dir, "in"), 0o777); err != nil {
		t.Fatal(err)
	}
	if code := execute(t.Context(), []string{"record", dir, "--from", filepath.Join(dir, "in")}, io.Discard, io.Discard); code == console.Done {
		t.Error("a folder inside the study is taken")
	}
}

// What lies in a recorder's folder beside whole takes: a file that is still being written
// waits; one that goes on after it was taken is taken again for its own row; other formats
// and second copies are named and left alone; a pipe, a folder and a sheet that is changed
// meanwhile do no harm.
func TestRecordFromAnOddFolder(t *testing.T) {
	if testing.Short() {
		t.Skip("left out by -short: the folder is looked at once a second")
	}
	t.Parallel()
	dir, from := benchStudy(t, "--fixture", "4"), t.TempDir()
	setup, err := study.LoadPartial(dir)
	if err != nil {
		t.Fatal(err)
	}
	b := newSimulatedBench()
	take := func(noise float64) []byte {
		t.Helper()
		b.NoiseRMS = noise
		x := setup.Sweep.Signal()
		got, err := audio.Record(t.Context(), b, audio.Config{RateHz: 48000, Outputs: 2, Inputs: 2}, audio.Playing{Signal: x, Gain: 0.1, Seconds: float64(len(x))/48000 + 1})
		if err != nil {
			t.Fatal(err)
		}
		name := filepath.Join(t.TempDir(), "take.wav")
		if err := wavfile.Write(name, wavfile.Format{RateHz: 48000, Channels: 2, Bits: 24}, got.Samples[:2]); err != nil {
			t.Fatal(err)
		}
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	write := func(name string, text []byte) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(from, name), text, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(from, "folder.wav"), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mkfifo(filepath.Join(from, "pipe.wav"), 0o666); err != nil {
		t.Fatal(err)
	}
	s := startSession(t, nil, "record", dir, "--from", from)
	s.wants("Touch the LEFT microphone twice")
	s.types("s")
	s.wants("left and right have not been told")
	s.wants("Row 1 of 5")
	first, second := take(1e-5), take(1.1e-5)
	write("A.wav", first[:len(first)/2])
	s.wants("A.wav is still being written")
	if _, err := os.Stat(filepath.Join(dir, "recordings", "fixture-model-a-01-blocked.wav")); err == nil {
		t.Fatal("half a file was taken")
	}
	write("A.wav", first)
	s.wants("KEEP: recorded")
	write("copy.wav", first)
	s.wants("copy.wav holds the same as the file that became recordings/fixture-model-a-01-blocked.wav")
	write("B.flac", first)
	s.wants("B.flac is no WAV file")

	// One repeat of two, with a header that says no more, as some recorders keep it.
	half := bytes.Clone(second[:44+len(second)*6/10/6*6])
	binary.LittleEndian.PutUint32(half[4:], uint32(len(half)-8))
	binary.LittleEndian.PutUint32(half[40:], uint32(len(half)-44))
	write("C.wav", half)
	s.wants("C.wav is recordings/fixture-model-a-02-blocked.wav")
	write("C.wav", second)
	s.wants("C.wav went on after it had been taken: all of it is recordings/fixture-model-a-02-blocked.wav now")
	if kept, err := os.ReadFile(filepath.Join(dir, "recordings", "fixture-model-a-02-blocked.wav")); err != nil || !bytes.Equal(kept, second) {
		t.Errorf("the recording is not the whole file: %v", err)
	}
	if _, err := os.Stat(filepath.Join(dir, "retakes", "fixture-model-a-02-blocked-take-1.wav")); err != nil {
		t.Error(err)
	}

	// Somebody changes the sheet: what comes next waits until the operator has seen it.
	sheet := filepath.Join(dir, "seatings.csv")
	text, err := os.ReadFile(sheet)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(text), "\n")
	if err := os.WriteFile(sheet, []byte(strings.Join(append(lines[:3], lines[4:]...), "")), 0o666); err != nil {
		t.Fatal(err)
	}
	write("D.wav", take(1.2e-5))
	s.wants("seatings.csv was changed meanwhile: the plan was read again")
	s.wants("D.wav waits")
	s.types("\r")
	s.wants("D.wav is recordings/fixture-model-a-04-blocked.wav")
	s.types("u")
	s.wants("D.wav is no longer recordings/fixture-model-a-04-blocked.wav")
	s.ends()
	for _, name := range []string{"A.wav", "C.wav", "D.wav", "copy.wav", "B.flac"} {
		if _, err := os.Stat(filepath.Join(from, name)); err != nil {
			t.Error(err)
		}
	}
}

// startProcess is a session in a process of its own, which can be killed. Its
// sound takes about a third of its time.
func startProcess(t *testing.T, args ...string) (*session, *os.Process) {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run", "^TestSessionProcess$")
	cmd.Env = append(os.Environ(), "ASWORN_SESSION="+strings.Join(args, "\n"))
	tty, err := pty.Start(cmd)
	if err != nil {
		t.Skip(err)
	}
	s := &session{t: t, tty: tty, code: make(chan int, 1)}
	go s.watch()
	go func() { _ = cmd.Wait(); s.code <- cmd.ProcessState.ExitCode() }()
	t.Cleanup(func() { _ = cmd.Process.Kill(); tty.Close() })
	return s, cmd.Process
}

// TestSessionProcess is that process.
func TestSessionProcess(t *testing.T) {
	args := os.Getenv("ASWORN_SESSION")
	if args == "" {
		t.Skip("no session is asked for")
	}
	b := newSimulatedBench()
	b.Each = func(int64) { time.Sleep(6 * time.Millisecond) }
	a := &program{console.Console{In: os.Stdin, Out: os.Stdout, Err: io.Discard}, func() (audio.System, error) { return b, nil }}
	os.Exit(a.execute(t.Context(), strings.Split(args, "\n")))
}

// A session that is killed in any phase loses no take that was finished, leaves no
// half one, and the next goes on where it stopped.
func TestRecordKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("left out by -short: sound in real time")
	}
	t.Parallel()
	for _, phase := range []string{"y confirms them", "ANY KEY STOPS", "judging", "KEEP: recorded"} {
		t.Run(phase, func(t *testing.T) {
			t.Parallel()
			dir := benchStudy(t, "--seatings", "2")
			setUpBench(t, dir)
			s, process := startProcess(t, "record", dir)
			s.wants("Row 1 of 3")
			s.types("\r")
			s.wants("KEEP: recorded")
			s.types("nfirst\r")
			s.wants("noted: first")
			first, err := os.ReadFile(filepath.Join(dir, "recordings", "fixture-model-a-01-blocked.wav"))
			if err != nil {
				t.Fatal(err)
			}
			s.types("\r")
			s.wants("Row 2 of 3")
			s.types("\r")
			s.wants("y confirms them")
			if phase != "y confirms them" {
				s.types("y\r")
				s.wants(phase)
			}
			_ = process.Kill() // kill -9
			<-s.code
			whole := phase == "judging" || phase == "KEEP: recorded"
			next := "Row 2 of 3"
			if whole {
				next = "Row 3 of 3"
			}
			s, _ = startProcess(t, "record", dir)
			s.wants(next)
			s.types("q")
			<-s.code
			kept, err := os.ReadFile(filepath.Join(dir, "recordings", "fixture-model-a-01-blocked.wav"))
			if err != nil || !bytes.Equal(kept, first) {
				t.Errorf("the first take: %v, same %t", err, bytes.Equal(kept, first))
			}
			st, err := study.LoadPartial(dir)
			if err != nil {
				t.Fatal(err)
			}
			if want := 1 + map[bool]int{true: 1}[whole]; len(st.Seatings) != want || st.Seatings[0].Notes != "first" {
				t.Errorf("%d recordings, want %d; the note is %q", len(st.Seatings), want, st.Seatings[0].Notes)
			}
			if whole {
				_, x, err := wavfile.ReadAll(filepath.Join(dir, "recordings", "L01-model-a-01.wav"))
				if err != nil || len(x) != 2 || float64(len(x[0])) < 2.2*48000 {
					t.Errorf("the take is not whole: %v", err)
				}
			}
		})
	}
}

// A study that goes on another day: the level on the fixture is compared with the
// day before, rows are dropped and repeated without the sheet being edited.
func TestRecordAnotherDay(t *testing.T) {
	t.Parallel()
	dir := benchStudy(t, "--seatings", "2")
	setUpBench(t, dir)
	b := newSimulatedBench()
	s := startSession(t, b, "record", dir)
	s.wants("Row 1 of 3")
	s.types("ly")
	s.wants("level check at −60 dB")
	s.wants("dB(A) re full scale")
	s.wants("type what it says (v)")
	s.ends()
	// A day passes; the gain of an amplifier is turned up by 2 dB on the left.
	bench := filepath.Join(dir, "bench.toml")
	text, err := os.ReadFile(bench)
	if err != nil {
		t.Fatal(err)
	}
	today := time.Now().Format("2006-01-02")
	if !strings.Contains(string(text), today) {
		t.Fatalf("no level of today is kept: %s", text)
	}
	if err := os.WriteFile(bench, []byte(strings.ReplaceAll(string(text), today, "2020-02-02")), 0o666); err != nil {
		t.Fatal(err)
	}
	b.Paths[0].FIR = []float64{0.5 * 1.2589, 0.2 * 1.2589}
	s = startSession(t, b, "record", dir)
	s.wants("Row 1 of 3")
	s.types("\r")
	s.wants("KEEP: recorded")
	s.wants("Model A on the fixture against 2020-02-02: left +2.0 dB right +0.0 dB; a gain, a cable or the seating changed")
	s.types("\r")
	s.wants("Row 2 of 3: Model A on L01, seating 1")
	s.types("x")
	s.wants("Take this row out of the plan? y does")
	s.types("y")
	s.wants("Row 2 of 2: Model A on L01, seating 2")
	s.types("b+")
	s.wants("Row 2 of 3: Model A on the fixture, seating 2")
	s.types("\r")
	s.wants("KEEP: recorded")
	s.ends()
	st, err := study.LoadPartial(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(st.Seatings) != 2 || st.Seatings[1].File != "recordings/fixture-model-a-02-blocked.wav" || len(st.NotRecorded) != 1 || st.NotRecorded[0].File != "recordings/L01-model-a-02.wav" {
		t.Errorf("%+v; not recorded %+v", st.Seatings, st.NotRecorded)
	}
	dropped, err := os.ReadFile(filepath.Join(dir, "retakes", "dropped.csv"))
	if err != nil || !strings.Contains(string(dropped), "recordings/L01-model-a-01.wav") {
		t.Errorf("%v: %s", err, dropped)
	}
}
