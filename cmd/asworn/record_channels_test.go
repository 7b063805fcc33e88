//go:build unix

package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"asworn/capture/audio"
	"asworn/capture/study"
	"asworn/capture/wavfile"
	"asworn/cmd/internal/console"
)

// threeInputs is a simulated bench with a third input.
type threeInputs struct{ *simulatedBench }

func (b threeInputs) Devices() (playback, capture []audio.Device, err error) {
	playback, capture, err = b.simulatedBench.Devices()
	capture[0].Channels = 3
	return playback, capture, err
}

// withLoopback has a study record one in its third channel.
func withLoopback(t *testing.T, dir string) {
	t.Helper()
	name := filepath.Join(dir, "study.toml")
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	after := strings.Replace(string(text), "# loopback = 3", "loopback = 3", 1)
	if after == string(text) {
		t.Fatal("study.toml offers no loopback")
	}
	if err := os.WriteFile(name, []byte(after), 0o666); err != nil {
		t.Fatal(err)
	}
}

// The loopback is found by playing, on whatever input it is, with the microphones left
// out, which hear the sound too and louder; where the cable is not plugged in that is
// told, and it is asked for again. Every file then has it in the study's channel.
func TestRecordFindsTheLoopback(t *testing.T) {
	t.Parallel()
	dir := benchStudy(t)
	withLoopback(t, dir)
	b := threeInputs{newSimulatedBench()} // the right microphone on input 1; the left one moves
	cable := []float64{0.1}
	b.Paths = []audio.Path{{Output: 0, Input: 2, FIR: []float64{0.5, 0.2}}, {Output: 1, Input: 0, FIR: []float64{0.45, 0.25}}}
	s := startSession(t, b, "record", dir)
	for i, side := range []string{"LEFT", "RIGHT"} {
		s.wants(side + " microphone")
		b.set(func() { b.touched = 2 - 2*i })
		s.types("\r")
	}
	s.wants("right microphone is on input 1")
	b.set(func() { b.touched = -1 })
	s.wants("The LOOPBACK")
	s.types("x") // nothing plays before it is confirmed that nobody wears the headphone
	s.wants("The LOOPBACK")
	s.types("y")
	s.wants("no input hears output 1")
	b.set(func() { b.Paths = append(b.Paths, audio.Path{Output: 0, Input: 1, FIR: cable}) })
	s.wants("The LOOPBACK")
	s.types("y")
	s.wants("loopback is on input 2")
	s.wants("Row 1 of 2")
	s.types("\r")
	s.wants("KEEP: recorded")
	s.ends()
	st, err := study.LoadPartial(dir)
	if err != nil {
		t.Fatal(err)
	}
	_, x, err := wavfile.ReadAll(filepath.Join(dir, filepath.FromSlash(st.Seatings[0].File)))
	if err != nil || len(x) != 3 {
		t.Fatalf("%d channels, %v", len(x), err)
	}
	var peaks [3]float64
	for c := range x {
		for _, v := range x[c] {
			peaks[c] = max(peaks[c], v)
		}
	}
	// Left 0.7, right 0.7 at the most, and the cable 0.1 of what is played.
	if !(peaks[2] > 0 && peaks[2] < 0.3*peaks[0] && peaks[2] < 0.3*peaks[1]) {
		t.Errorf("peaks of left, right and loopback: %v", peaks)
	}
	text, err := os.ReadFile(filepath.Join(dir, "bench.toml"))
	if err != nil || !strings.Contains(string(text), "left = 3\nright = 1\nloopback = 2") {
		t.Errorf("%v: %s", err, text)
	}
}

// A microphone that cannot be touched is found by playing its side alone; where both
// hear a side alike that is told.
func TestRecordFindsMicrophonesByPlaying(t *testing.T) {
	t.Parallel()
	dir := benchStudy(t)
	b := newSimulatedBench()
	apart := b.Paths
	b.Paths = append(apart[:2:2], audio.Path{Output: 0, Input: 0, FIR: []float64{0.5, 0.2}})
	s := startSession(t, b, "record", dir)
	s.wants("LEFT microphone")
	s.types("p")
	s.wants("two inputs hear output 1 about as loud: touch the microphones instead")
	b.set(func() { b.Paths = apart })
	s.wants("LEFT microphone")
	s.types("p")
	s.wants("left microphone is on input 2")
	s.wants("RIGHT microphone")
	s.types("p")
	s.wants("right microphone is on input 1")
	s.wants("Row 1 of 2")
	s.ends()
}

// What a device has not got is told before anything plays or is touched, and nothing of it
// is kept.
func TestRecordDeviceTooSmall(t *testing.T) {
	for _, c := range []struct {
		name     string
		loopback bool
		args     []string
		want     string
	}{
		{"output", false, []string{"--outputs", "5"}, "simulated device has 2 outputs, and output 5 is asked for: name outputs that it has"},
		{"inputs", true, []string{"--setup"}, "simulated device has 2 inputs, and the study records 3 channels: choose another device"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := benchStudy(t)
			if c.loopback {
				withLoopback(t, dir)
			}
			setUpBench(t, dir)
			name := filepath.Join(dir, "bench.toml")
			before, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			s := startSession(t, newSimulatedBench(), append([]string{"record", dir}, c.args...)...)
			select {
			case code := <-s.code:
				if code != console.Failed {
					t.Errorf("code %d", code)
				}
			case <-time.After(30 * time.Second):
				t.Fatalf("it goes on; the terminal shows %s", s.now())
			}
			if told := s.told.String(); !strings.Contains(told, c.want) {
				t.Errorf("%q is told, want %q", told, c.want)
			}
			if after, err := os.ReadFile(name); err != nil || string(after) != string(before) {
				t.Errorf("%v; bench.toml now says %s", err, after)
			}
		})
	}
}
