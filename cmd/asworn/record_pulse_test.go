//go:build soundcard && cgo && linux

package main

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"

	"asworn/capture/audio/pulsetest"
	"asworn/capture/study"
	"asworn/capture/wavfile"
)

// room is what lies between the headphone and the inputs of a real sound server: another
// program that hears the sink Headphone, filters it as wearing does, and plays into the
// sink Ears, whose monitor has the right microphone on input 1, the left one on input 2 and
// the loopback on input 3. Nothing of it is known to the program that records.
type room struct {
	mu      sync.Mutex
	fir     [2][]float64 // left and right
	touched int          // input from 0 that is touched; -1 for none
}

func (r *room) set(f func()) { r.mu.Lock(); defer r.mu.Unlock(); f() }

func (r *room) put(forward, up, ear float64) {
	r.set(func() { r.fir = [2][]float64{wearing(forward, up, ear), wearing(forward, up, ear+0.1)} })
}

// newRoom starts a server and the room in it.
func newRoom(t *testing.T) (*room, *pulsetest.Server) {
	t.Helper()
	server := pulsetest.Start(t,
		"module-null-sink sink_name=headphone rate=48000 format=float32le channels=2 sink_properties=device.description=Headphone",
		"module-null-sink sink_name=ears rate=48000 format=float32le channels=3 channel_map=front-left,front-right,front-center sink_properties=device.description=Ears")
	pulsetest.Patient(t, 48000)
	for _, name := range []string{"parec", "pacat"} {
		if _, err := exec.LookPath(name); err != nil {
			t.Skip("needs pulseaudio-utils")
		}
	}
	r := &room{touched: -1}
	r.put(0, 0, 0)
	hear := exec.Command("parec", "--device=headphone.monitor", "--rate=48000", "--format=float32le", "--channels=2", "--raw", "--latency-msec=20")
	play := exec.Command("pacat", "--playback", "--device=ears", "--rate=48000", "--format=float32le", "--channels=3",
		"--channel-map=front-left,front-right,front-center", "--raw", "--latency-msec=120")
	heard, err := hear.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	played, err := play.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	for _, pipe := range []any{heard, played} { // 10 ms and not a fifth of a second each
		if f, ok := pipe.(*os.File); ok {
			_, _, _ = syscall.Syscall(syscall.SYS_FCNTL, f.Fd(), syscall.F_SETPIPE_SZ, 4096)
		}
	}
	if err := play.Start(); err != nil {
		t.Fatal(err)
	}
	// It takes what it plays before anything is heard: what waited meanwhile would be late
	// for good.
	if _, err := played.Write(make([]byte, 12*48000/4)); err != nil {
		t.Fatal(err)
	}
	if err := hear.Start(); err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() { defer close(done); r.carry(heard, played) }()
	t.Cleanup(func() {
		_, _ = hear.Process.Kill(), play.Process.Kill()
		<-done
		_, _ = hear.Wait(), play.Wait()
	})
	return r, server
}

// carry filters what is heard until one of the programs ends.
func (r *room) carry(heard io.Reader, played io.WriteCloser) {
	defer played.Close()
	const block, taps = 480, 64
	in, out := make([]byte, block*8), make([]byte, block*12)
	var past [2][]float64
	for c := range past {
		past[c] = make([]float64, taps+block)
	}
	noise := rand.New(rand.NewPCG(1, 1))
	for frame := 0; ; frame += block {
		if _, err := io.ReadFull(heard, in); err != nil {
			return
		}
		r.mu.Lock()
		fir, touched := r.fir, r.touched
		r.mu.Unlock()
		for c := range past {
			copy(past[c], past[c][block:])
			for i := range block {
				past[c][taps+i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(in[8*i+4*c:])))
			}
		}
		for i := range block {
			var v [3]float64
			for c := range past {
				for k, h := range fir[c] {
					v[1-c] += h * past[c][taps+i-k]
				}
			}
			v[2] = 0.5 * past[0][taps+i]
			for c := range v {
				v[c] += 1e-5 * noise.NormFloat64()
				if c == touched && frame/48000%2 == 0 && frame%48000 < block {
					v[c] += 0.2 * math.Sin(float64(i))
				}
				binary.LittleEndian.PutUint32(out[12*i+4*c:], math.Float32bits(float32(v[c])))
			}
		}
		if _, err := played.Write(out); err != nil {
			return
		}
	}
}

// built is the program as a user builds it. It is built before a server is started, for
// that one has a home of its own.
func built(t *testing.T) string {
	t.Helper()
	exe := filepath.Join(t.TempDir(), "asworn")
	if out, err := exec.Command("go", "build", "-tags", "soundcard", "-o", exe, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return exe
}

// startBuilt is a session of the built program on a pseudo-terminal.
func startBuilt(t *testing.T, exe string, args ...string) (*session, *os.Process) {
	t.Helper()
	cmd := exec.Command(exe, args...)
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

// one waits for the first of several texts and returns which came.
func (s *session) one(texts ...string) string {
	s.t.Helper()
	for range 600 { // 30 s
		s.mu.Lock()
		first, at := "", -1
		for _, text := range texts {
			if i := bytes.Index(s.seen.Bytes(), []byte(text)); i >= 0 && (at < 0 || i < at) {
				first, at = text, i
			}
		}
		if at >= 0 {
			s.seen.Next(at + len(first))
		}
		seen := s.seen.String()
		s.mu.Unlock()
		if at >= 0 {
			return first
		}
		select {
		case code := <-s.code:
			s.t.Fatalf("ended with code %d while one of %q was waited for; the terminal shows\n%s", code, texts, seen)
		case <-time.After(50 * time.Millisecond):
		}
	}
	s.t.Fatalf("none of %q comes; the terminal shows\n%s", texts, s.seen.String())
	return ""
}

// take records the row that is shown until it may be kept, as an operator does: a machine
// that is busy with other tests loses samples now and then, for some seconds at a time, and says so.
func (s *session) take() {
	s.t.Helper()
	for try := range 20 {
		if try >= 5 {
			time.Sleep(time.Second)
		}
		s.types("\r")
		s.wants("ANY KEY STOPS")
		if s.one("KEEP: ", "AGAIN: ") == "KEEP: " {
			return
		}
		time.Sleep(100 * time.Millisecond) // until the whole screen is there
		s.mu.Lock()
		reason, _, _ := strings.Cut(s.seen.String(), "\r\n\r\n")
		s.mu.Unlock()
		s.t.Logf("again: %s", strings.TrimSpace(reason))
		s.types("\r") // ready to record it again
		s.wants("a new take is kept beside the first")
	}
	s.t.Fatalf("twenty takes lost samples: the machine is too busy\n%s", s.seen.String())
}

func runBuilt(t *testing.T, exe string, args ...string) string {
	t.Helper()
	out, err := exec.Command(exe, args...).CombinedOutput()
	if err != nil && !strings.Contains(err.Error(), "exit status 3") {
		t.Fatalf("%v: %v\n%s", args, err, out)
	}
	return string(out)
}

// pulseStudy is a pilot study of short sweeps with a loopback.
func pulseStudy(t *testing.T, exe string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "study")
	runBuilt(t, exe, "new", dir, "--models", "Model A", "--pilot", "--seconds", "0.5", "--gap", "0.6")
	withLoopback(t, dir)
	return dir
}

var pulseDevices = []string{"--playback", "Headphone", "--capture", "Monitor of Ears"}

// setUpPulse writes what a first session finds out.
func setUpPulse(t *testing.T, dir string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, "bench.toml"), []byte("playback = 'Headphone'\ncapture = 'Monitor of Ears'\ngain_db = -20.0\nlimit_db_spl = 80.0\n[inputs]\nleft = 2\nright = 1\nloopback = 3\n"), 0o666); err != nil {
		t.Fatal(err)
	}
}

// The whole way on a real sound server, with the program as it is built: microphones that
// are touched, a loopback that is found by playing, every row of a pilot study under its
// planned name, the run, and one more seating with its verdict.
func TestPulseWholeStudy(t *testing.T) {
	exe := built(t)
	room, _ := newRoom(t)
	dir := pulseStudy(t, exe)
	s, _ := startBuilt(t, exe, append([]string{"record", dir}, pulseDevices...)...)
	for i, side := range []string{"LEFT", "RIGHT"} {
		s.wants(side + " microphone")
		room.set(func() { room.touched = 1 - i })
		for {
			s.types("\r")
			if s.one("microphone is on input", "touch") == "microphone is on input" {
				break
			}
		}
	}
	room.set(func() { room.touched = -1 })
	for {
		s.wants("The LOOPBACK")
		s.types("y")
		if s.one("loopback is on input 3", "no input hears", "about as loud") == "loopback is on input 3" {
			break
		}
	}
	plan, err := study.LoadPartial(dir)
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range plan.NotRecorded {
		s.wants("Row ")
		switch d := row.Survey; {
		case d != nil:
			room.put(d.ForwardMM, d.UpMM, 0)
		case row.OnFixture():
			room.put(0.3, -0.2, 0)
		default:
			room.put(0.5+0.3*float64(row.Number), 0.4, 0.5)
		}
		time.Sleep(300 * time.Millisecond) // until the room sounds so
		if !row.OnFixture() && row.Number == 1 {
			s.types("\r")
			s.wants("y confirms them for this session")
			s.types("y")
			s.wants("Row ")
		}
		s.take()
		f, x, err := wavfile.ReadAll(filepath.Join(dir, filepath.FromSlash(row.File)))
		if err != nil || f.RateHz != 48000 || len(x) != 3 {
			t.Fatalf("row %d: %+v, %d channels, %v", i+2, f, len(x), err)
		}
		s.types("\r")
	}
	s.wants("Every row is recorded")
	s.ends()
	runBuilt(t, exe, "run", dir)
	s, _ = startBuilt(t, exe, "record", dir, "--model", "Model A")
	s.wants("Model A on the fixture, seating 11")
	room.put(5, 0, 0)
	time.Sleep(300 * time.Millisecond)
	s.take()
	s.wants("estimated place, against the sample mean: ")
	s.ends()
	if _, err := os.Stat(filepath.Join(dir, "recordings", "fixture-model-a-11-blocked.wav")); err != nil {
		t.Error(err)
	}
}

// A server that stands still in the middle of a take: what was lost is named and the take
// is to be made again.
func TestPulseDropOutIsNamed(t *testing.T) {
	exe := built(t)
	_, server := newRoom(t)
	dir := pulseStudy(t, exe)
	setUpPulse(t, dir)
	s, _ := startBuilt(t, exe, "record", dir)
	s.wants("Row 1 of 12")
	s.types("\r")
	s.wants("ANY KEY STOPS")
	time.Sleep(time.Second)
	if err := server.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	time.Sleep(1200 * time.Millisecond)
	if err := server.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	s.wants("AGAIN: rejected")
	s.wants("lost samples")
	s.ends()
}

// The built program is killed, as kill -9 does, in every phase of the second take: the
// first one is as it was, no half take has a planned name, and the next session goes on.
func TestPulseKilled(t *testing.T) {
	exe := built(t)
	newRoom(t)
	for _, phase := range []string{"Row 2 of 12", "ANY KEY STOPS", "judging", "KEEP: "} {
		t.Run(phase, func(t *testing.T) {
			dir := pulseStudy(t, exe)
			setUpPulse(t, dir)
			s, process := startBuilt(t, exe, "record", dir)
			s.wants("Row 1 of 12")
			s.take()
			file := filepath.Join(dir, "recordings", "fixture-model-a-01-blocked.wav")
			first, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			s.types("\r")
			s.wants("Row 2 of 12")
			if phase != "Row 2 of 12" {
				s.types("\r")
				s.one(phase, "AGAIN: ") // a take that lost samples is finished as well
			}
			_ = process.Kill()
			<-s.code
			whole := phase == "judging" || phase == "KEEP: "
			second := filepath.Join(dir, "recordings", "fixture-model-a-02-survey-blocked.wav")
			s, _ = startBuilt(t, exe, "record", dir)
			s.wants("Row ")
			s.ends()
			if kept, err := os.ReadFile(file); err != nil || !bytes.Equal(kept, first) {
				t.Errorf("the first take: %v, same %t", err, bytes.Equal(kept, first))
			}
			_, x, err := wavfile.ReadAll(second)
			switch {
			case whole && (err != nil || len(x[0]) < 2*48000):
				t.Errorf("the finished take is not whole: %v", err)
			case !whole && err == nil:
				t.Error("a take that was not finished has a planned name")
			}
		})
	}
}
