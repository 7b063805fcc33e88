//go:build soundcard && cgo && linux

package audio_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"asworn/capture"
	"asworn/capture/audio"
	"asworn/capture/audio/pulsetest"
	"asworn/capture/band"
	"asworn/capture/sweep"
)

func design(rate float64) sweep.Design {
	d := sweep.Default()
	d.StartHz, d.StopHz, d.Seconds, d.RateHz, d.Repeats = 20, 20000, 1.5, rate, 2
	return d
}

func open(t *testing.T) audio.System {
	t.Helper()
	sys, err := audio.Open()
	if err != nil {
		t.Fatal(err)
	}
	return sys
}

func record(t *testing.T, sys audio.System, d sweep.Design, playback, source string, halfway func()) (audio.Take, error) {
	t.Helper()
	out, in, err := sys.Devices()
	if err != nil {
		t.Fatal(err)
	}
	p, err := audio.Find(out, playback)
	if err != nil {
		t.Fatal(err)
	}
	c, err := audio.Find(in, source)
	if err != nil {
		t.Fatal(err)
	}
	x, calls := d.Signal(), 0
	levels := func([]float64) {
		if calls++; calls == 75 && halfway != nil { // 1.5 s
			go halfway()
		}
	}
	return audio.Record(t.Context(), sys, audio.Config{Playback: p.ID, Capture: c.ID, RateHz: int(d.RateHz), Outputs: 2, Inputs: 2},
		audio.Playing{Signal: x, Gain: 1, Seconds: float64(len(x))/d.RateHz + 1.5, Levels: levels})
}

func process(t *testing.T, d sweep.Design, take audio.Take) capture.Recording {
	t.Helper()
	// Both channels are the same here, and no study would take that.
	p, err := capture.NewProcessor(capture.Setup{Sweep: d, Left: 1})
	if err != nil {
		t.Fatal(err)
	}
	rec, err := p.ProcessSamples(take.Samples, d.RateHz)
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

// whole records until a take has lost nothing, as an operator would: a machine
// that is busy with other tests drops samples now and then, and says so.
func whole(t *testing.T, d sweep.Design, sink string) (audio.Take, capture.Recording) {
	t.Helper()
	sys := open(t)
	for range 6 {
		take, err := record(t, sys, d, sink, "Monitor of Null", nil)
		if err != nil {
			t.Fatal(err)
		}
		rec := process(t, d, take)
		if rec.Quality.Usable() && rec.Used == d.Repeats && take.Counters.DropOuts+take.Counters.UnderRuns == 0 {
			return take, rec
		}
		t.Logf("again: %+v, %+v", take.Counters, rec.Quality.Findings)
	}
	t.Fatal("six takes lost samples: the machine is too busy")
	return audio.Take{}, capture.Recording{}
}

// A known filter between playback and recording comes back, through a real
// sound server. The filter is the first-order low-pass of the LADSPA SDK (R.
// Furse, filter.c): y[n] = a·x[n] + (1−a)·y[n−1] with 1−a = c − √(c²−1),
// c = 2 − cos(2πf/rate). Where that is not installed a gain stands in for it.
func TestPulseFilter(t *testing.T) {
	for _, rate := range []float64{44100, 48000, 96000} {
		t.Run(fmt.Sprint(rate), func(t *testing.T) {
			const cutoff = 800.0
			modules := []string{fmt.Sprintf("module-null-sink sink_name=fixture rate=%g format=float32le channels=2", rate)}
			sink, want := "fixture", func(float64) float64 { return 0 }
			if _, err := os.Stat("/usr/lib/ladspa/filter.so"); err == nil || os.Getenv("ASWORN_PULSE") != "" {
				modules = append(modules, fmt.Sprintf("module-ladspa-sink sink_name=filtered master=fixture plugin=/usr/lib/ladspa/filter label=lpf control=%g rate=%g format=float32le channels=2", cutoff, rate))
				c := 2 - math.Cos(2*math.Pi*cutoff/rate)
				last := c - math.Sqrt(c*c-1)
				sink = "Simple Low Pass"
				want = func(hz float64) float64 {
					w := 2 * math.Pi * hz / rate
					return 20*math.Log10(1-last) - 10*math.Log10(1+last*last-2*last*math.Cos(w))
				}
			}
			pulsetest.Start(t, modules...)
			pulsetest.Patient(t, rate)
			d := design(rate)
			take, rec := whole(t, d, sink)
			if !take.Capture.RunsAt(int(rate)) || take.Capture.RunsAt(8000) {
				t.Errorf("the server runs at %v", take.Capture.RatesHz)
			}
			worst, n := 0.0, 0
			for i, b := range band.All() {
				if !rec.Ears[0].Valid[i] || b.Lower < 30 || b.Upper > 18000 {
					continue
				}
				n++
				// The level of a band is the mean of its power, not that of its middle.
				sum, steps := 0.0, 64
				for k := range steps {
					f := b.Lower + (b.Upper-b.Lower)*(float64(k)+0.5)/float64(steps)
					sum += math.Pow(10, want(f)/10) / float64(steps)
				}
				worst = math.Max(worst, math.Abs(rec.Ears[0].LevelDB[i]-10*math.Log10(sum)))
			}
			t.Logf("%s at %g Hz: %d bands, worst %.4f dB; drift %.2f ppm; %+v; findings %+v", sink, rate, n, worst, rec.DriftPPM, take.Counters, rec.Quality.Findings)
			if n < 40 || !(worst < 0.05) {
				t.Errorf("worst band is %.3f dB off over %d bands, want under 0.05", worst, n)
			}
		})
	}
}

// A device at another rate than the study's is told; the server would
// resample.
func TestPulseResamples(t *testing.T) {
	pulsetest.Start(t, "module-null-sink sink_name=fixture rate=44100")
	d := design(32000)
	d.StopHz, d.Repeats = 15000, 1
	take, err := record(t, open(t), d, "Null", "Monitor of Null", nil)
	if err != nil {
		t.Fatal(err)
	}
	if take.Playback.RunsAt(32000) || take.Capture.RunsAt(32000) || len(take.Capture.RatesHz) == 0 {
		t.Errorf("the devices are said to run at %v and %v, yet they resample", take.Playback.RatesHz, take.Capture.RatesHz)
	}
}

// A server that stands still in the middle of a sweep is seen by the counters
// and in the sweep; one that goes away is an error, not silence.
func TestPulseStops(t *testing.T) {
	modules := "module-null-sink sink_name=fixture rate=48000 format=float32le"
	t.Run("stands still", func(t *testing.T) {
		server := pulsetest.Start(t, modules)
		d := design(48000)
		take, err := record(t, open(t), d, "Null", "Monitor of Null", func() {
			_ = server.Process.Signal(syscall.SIGSTOP)
			time.AfterFunc(1200*time.Millisecond, func() { _ = server.Process.Signal(syscall.SIGCONT) })
		})
		if err != nil {
			t.Fatal(err)
		}
		rec := process(t, d, take)
		t.Logf("%+v; %+v", take.Counters, rec.Quality.Findings)
		if take.Counters.DropOuts+take.Counters.UnderRuns == 0 {
			t.Error("the counters saw nothing")
		}
		if rec.Quality.Usable() {
			t.Errorf("the sweep shows nothing: %+v", rec.Quality.Findings)
		}
	})
	t.Run("goes away", func(t *testing.T) {
		server := pulsetest.Start(t, modules)
		if _, err := record(t, open(t), design(48000), "Null", "Monitor of Null", server.Kill); err == nil {
			t.Error("no error")
		} else {
			t.Log(err)
		}
	})
}

// stopAt ends a context once so many frames are recorded.
type stopAt struct {
	audio.System
	frames int
	stop   context.CancelFunc
	asked  *int // frames recorded when it was asked to stop
}

func (s stopAt) Open(cfg audio.Config, call audio.Callbacks) (audio.Stream, error) {
	take, got := call.Record, 0
	call.Record = func(in []float32) {
		if got += len(in) / cfg.Inputs; got >= s.frames && *s.asked == 0 {
			*s.asked = got
			s.stop()
		}
		take(in)
	}
	return s.System.Open(cfg, call)
}

// A stop silences a real server within one buffer. Another program records all
// the while; the time from the stop to the last sound is counted in its samples.
func TestPulseStopIsHeard(t *testing.T) {
	pulsetest.Start(t, "module-null-sink sink_name=fixture rate=48000 format=float32le channels=2")
	if _, err := exec.LookPath("parec"); err != nil {
		t.Skip("needs parec, of pulseaudio-utils")
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var heard bytes.Buffer
	listen := exec.Command("parec", "--device=fixture.monitor", "--rate=48000", "--format=float32le", "--channels=2", "--raw", "--latency-msec=20")
	listen.Stdout = &heard
	if err := listen.Start(); err != nil {
		t.Fatal(err)
	}
	const buffer = 960 // 20 ms
	asked := 0
	d := design(48000)
	x := d.Signal()
	take, err := audio.Record(ctx, stopAt{open(t), 72000, stop, &asked}, audio.Config{RateHz: 48000, Outputs: 2, Inputs: 2},
		audio.Playing{Signal: x, Gain: 1, Seconds: float64(len(x)) / 48000})
	time.Sleep(500 * time.Millisecond) // whatever still sounds is heard too
	_ = listen.Process.Kill()
	_ = listen.Wait()
	if err != nil || !take.Stopped {
		t.Fatalf("%v, stopped %t", err, take.Stopped)
	}
	all := make([]float32, heard.Len()/8)
	for i := range all {
		all[i] = math.Float32frombits(binary.LittleEndian.Uint32(heard.Bytes()[8*i:]))
	}
	// Both heard the same samples: where does the take lie in what the other heard?
	const from, length = 60000, 200
	piece := make([]float32, length)
	for i := range piece {
		piece[i] = float32(take.Samples[0][from+i])
	}
	at := 0
	for at+length <= len(all) && !slices.Equal(all[at:at+length], piece) {
		at++
	}
	if at+length > len(all) {
		t.Fatal("the other program lost samples of the sound: it cannot tell")
	}
	last := len(all) - 1
	for last >= 0 && all[last] == 0 {
		last--
	}
	after := last - (at - from + asked)
	t.Logf("asked at frame %d; the last sound is %d frames later (%.1f ms)", asked, after, float64(after)/48)
	if after > 2*buffer { // one that records, one that plays
		t.Errorf("%d frames of sound after the stop, want at most a buffer of %d beside that in which it was asked", after, buffer)
	}
}

// Where there is no sound at all that is one error, which says what to do; what the
// system's libraries print about it stays off the terminal, and what this program prints
// afterwards does not.
func TestPulseMissing(t *testing.T) {
	t.Setenv("PULSE_SERVER", "unix:/nonexistent")
	cards, err := os.ReadFile("/proc/asound/cards")
	if err == nil && !bytes.Contains(cards, []byte("no soundcards")) {
		t.Skip("there is a sound card here")
	}
	shown, err := os.Create(filepath.Join(t.TempDir(), "stderr"))
	if err != nil {
		t.Fatal(err)
	}
	defer shown.Close()
	before, err := syscall.Dup(2)
	if err != nil {
		t.Fatal(err)
	}
	if err := syscall.Dup3(int(shown.Fd()), 2, 0); err != nil {
		t.Fatal(err)
	}
	sys, err := audio.Open()
	if err == nil {
		_, _, err = sys.Devices()
	}
	_, opened := sys.Open(audio.Config{RateHz: 48000, Outputs: 2, Inputs: 2}, audio.Callbacks{})
	fmt.Fprint(os.Stderr, "afterwards")
	if err := errors.Join(syscall.Dup3(before, 2, 0), syscall.Close(before)); err != nil {
		t.Fatal(err)
	}
	if text, err := os.ReadFile(shown.Name()); err != nil || string(text) != "afterwards" {
		t.Errorf("%v; the terminal shows %q", err, text)
	}
	if err == nil || !strings.Contains(err.Error(), "start the sound server") || opened == nil {
		t.Errorf("listed: %v; opened: %v", err, opened)
	}
}
