package audio

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"asworn/capture"
	"asworn/capture/sweep"
)

var pair = Config{RateHz: 48000, Outputs: 2, Inputs: 2}

func short() sweep.Design {
	d := sweep.Default()
	d.StartHz, d.Seconds, d.GapSeconds, d.LeadSeconds = 50, 0.5, 0.6, 0.5
	return d
}

// What is played comes back through the filter between the two, sample by
// sample, and outputs that do not play are silent.
func TestRecordThroughAFilter(t *testing.T) {
	fir := []float64{0.5, 0.25, -0.125}
	sim := &Simulated{LatencyFrame: 100, Paths: []Path{{0, 0, fir}, {1, 1, []float64{1}}}}
	x := short().Signal()
	got, err := Record(t.Context(), sim, pair, Playing{Signal: x, Gain: 0.5, On: []int{1}, Seconds: 3})
	if err != nil || got.Stopped || len(got.Samples) != 2 || len(got.Samples[0]) != 3*48000 {
		t.Fatalf("%v, stopped %t, %d inputs", err, got.Stopped, len(got.Samples))
	}
	at := func(i int) float64 {
		if i < 0 || i >= len(x) {
			return 0
		}
		return 0.5 * x[i]
	}
	for i, v := range got.Samples[0] {
		k := i - 100
		if want := fir[0]*at(k) + fir[1]*at(k-1) + fir[2]*at(k-2); math.Abs(v-want) > 1e-6 {
			t.Fatalf("sample %d: %g, want %g", i, v, want)
		}
		if got.Samples[1][i] != 0 {
			t.Fatalf("sample %d of the side that was silent: %g", i, got.Samples[1][i])
		}
	}
	if c := got.Counters; c.DropOuts != 0 || c.Recorded < 3*48000 || c.Played < 3*48000 {
		t.Errorf("%+v", c)
	}
}

// A clock of its own and lost frames are found in what was recorded.
func TestClockAndLostFrames(t *testing.T) {
	d := short()
	p, err := capture.NewProcessor(capture.Setup{Sweep: d, Left: 1, Right: 2})
	if err != nil {
		t.Fatal(err)
	}
	record := func(s Simulated) (capture.Recording, Take) {
		s.Paths, s.NoiseRMS = []Path{{0, 0, []float64{1}}, {1, 1, []float64{0.7, 0.1}}}, 1e-5
		take, err := Record(t.Context(), &s, pair, Playing{Signal: d.Signal(), Gain: 1, Seconds: 3})
		if err != nil {
			t.Fatal(err)
		}
		rec, err := p.ProcessSamples(take.Samples, 48000)
		if err != nil {
			t.Fatal(err)
		}
		return rec, take
	}
	if rec, _ := record(Simulated{PPM: 80}); math.Abs(rec.DriftPPM-80) > 3 {
		t.Errorf("drift of %.1f ppm, want 80: %+v", rec.DriftPPM, rec.Quality)
	}
	rec, take := record(Simulated{Lost: []Gap{{40000, 50}}})
	if take.Counters.DropOuts != 1 {
		t.Errorf("%d drop-outs counted, want 1", take.Counters.DropOuts)
	}
	if rec.Quality.Usable() || rec.Quality.Findings[0].Code != "dropout" {
		t.Errorf("lost frames: %+v", rec.Quality.Findings)
	}
}

// counted counts the frames that were played with sound since a time.
type counted struct {
	*Simulated
	stop, sound func()
}

func (c counted) Open(cfg Config, call Callbacks) (Stream, error) {
	fill := call.Play
	call.Play = func(out []float32) {
		fill(out)
		for i := 0; i < len(out); i += cfg.Outputs {
			if out[i] != 0 {
				c.sound()
			}
		}
	}
	s, err := c.Simulated.Open(cfg, call)
	return stopped{s, c.stop}, err
}

type stopped struct {
	Stream
	told func()
}

func (s stopped) Stop() error { s.told(); return s.Stream.Stop() }

// A stop silences the sound within one buffer, counted in frames.
func TestStopWithinOneBuffer(t *testing.T) {
	cfg := pair
	cfg.BufferFrames = 480
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	told, asked, after := make(chan struct{}), false, 0
	sim := &Simulated{Paths: []Path{{0, 0, []float64{1}}}, Each: func(frame int64) {
		if frame >= 48000 && !asked {
			asked = true
			cancel()
			<-told // until the take has heard of it
		}
	}}
	once := false
	take, err := Record(ctx, counted{sim, func() {
		if !once {
			once = true
			close(told)
		}
	}, func() {
		if asked {
			after++
		}
	}}, cfg, Playing{Signal: short().Signal(), Gain: 1, Seconds: 3})
	if err != nil || !take.Stopped {
		t.Fatalf("%v, stopped %t", err, take.Stopped)
	}
	if after > cfg.BufferFrames {
		t.Errorf("%d frames of sound after the stop, want at most one buffer of %d", after, cfg.BufferFrames)
	}
	if n := len(take.Samples[0]); n < 48000 || n > 50000 {
		t.Errorf("%d frames were kept, want what was recorded until then", n)
	}
}

// A player that is stopped fades and is silent before the buffer that it is
// filling ends, whatever the buffer's length; it begins with a ramp.
func TestPlayerFades(t *testing.T) {
	for _, buffer := range []int{64, 240, 4800} {
		signal := make([]float64, 48000)
		for i := range signal {
			signal[i] = 1
		}
		p, err := newPlayer(pair, Playing{Signal: signal, Gain: 0.5})
		if err != nil {
			t.Fatal(err)
		}
		out := make([]float32, buffer*2)
		p.fill(out)
		if out[0] <= 0 || out[0] > 0.001 {
			t.Errorf("begins with %g", out[0])
		}
		for p.at < 9600 {
			p.fill(out)
		}
		if out[0] != 0.5 {
			t.Errorf("plays %g, want 0.5", out[0])
		}
		p.stopped.Store(true)
		p.fill(out)
		for i := 2; i < len(out); i += 2 {
			if out[i] > out[i-2] {
				t.Fatalf("buffer of %d: rises at frame %d after the stop", buffer, i/2)
			}
		}
		if last := out[len(out)-1]; last != 0 {
			t.Errorf("buffer of %d: ends with %g", buffer, last)
		}
		p.fill(out)
		for i, v := range out {
			if v != 0 {
				t.Fatalf("buffer of %d: sound at %d after the fade", buffer, i)
			}
		}
	}
}

func TestRecordErrors(t *testing.T) {
	for name, c := range map[string]struct {
		sim  Simulated
		cfg  Config
		play Playing
		want string
	}{
		"device stops": {Simulated{StopsAt: 9600}, pair, Playing{Seconds: 2}, "stopped after"},
		"gain":         {Simulated{}, pair, Playing{Gain: 2}, "gain of 2"},
		"signal":       {Simulated{}, pair, Playing{Signal: []float64{0, 1.5}}, "sample 1"},
		"output":       {Simulated{}, pair, Playing{On: []int{3}}, "output 3 of 2"},
		"rate":         {Simulated{}, Config{RateHz: 1, Outputs: 1, Inputs: 1}, Playing{}, "rate of 1 Hz"},
	} {
		if _, err := Record(t.Context(), &c.sim, c.cfg, c.play); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}

// A driver that stays behind its clock is counted once per gap; one that is late
// and catches up is not, nor are bursts, filled buffers and a clock that is
// slightly off.
func TestPace(t *testing.T) {
	const each = 20 * time.Millisecond
	type event struct {
		at     int           // tick
		behind time.Duration // from there on
		late   int           // so many ticks come together with the one after them
	}
	for name, c := range map[string]struct {
		fill   int // ticks at the very start
		burst  int // ticks that come together
		ppm    float64
		events []event
		want   int
	}{
		"even":                          {},
		"bursts":                        {burst: 5},
		"filled at first":               {fill: 100},
		"starts late":                   {fill: 4, events: []event{{at: 4, behind: 700 * time.Millisecond}}},
		"starts late, filled":           {fill: 100, events: []event{{at: 100, behind: 700 * time.Millisecond}}},
		"one gap":                       {events: []event{{at: 60, behind: 120 * time.Millisecond}}, want: 1},
		"one gap of a second":           {events: []event{{at: 60, behind: time.Second}}, want: 1},
		"two gaps":                      {fill: 4, events: []event{{at: 60, behind: 200 * time.Millisecond}, {at: 160, behind: 100 * time.Millisecond}}, want: 2},
		"a gap among bursts":            {burst: 5, events: []event{{at: 60, behind: 400 * time.Millisecond}}, want: 1},
		"late by a second, catching up": {events: []event{{at: 60, late: 50}}},
		"a slow clock":                  {ppm: 300},
		"a fast clock":                  {ppm: -300},
	} {
		p := pace{rate: 48000, slack: slackBuffers * 960}
		const ticks = 3000 // a minute
		behind := time.Duration(0)
		together := 0 // the tick with which those before it come
		for i := range ticks {
			for _, e := range c.events {
				if e.at == i {
					behind += e.behind
					together = i + e.late
				}
			}
			k := max(i, together)
			if c.burst > 0 {
				k = max(k, i/c.burst*c.burst+c.burst-1)
			}
			at := time.Duration(max(0, k-c.fill)) * each
			at += time.Duration(float64(at) * c.ppm * 1e-6)
			p.tick(960, time.Unix(1000, 0).Add(at+behind))
		}
		if total, behind := p.counts(); behind != c.want || total != 960*ticks {
			t.Errorf("%s: %d gaps and %d frames, want %d and %d", name, behind, total, c.want, 960*ticks)
		}
	}
}

func TestFind(t *testing.T) {
	devices := []Device{{ID: "a", Name: "Desk in"}, {ID: "b", Name: "Interface in 1", Default: true}, {ID: "c", Name: "Interface in 2"}}
	for text, want := range map[string]string{"": "b", "a": "a", "desk": "a", "in 2": "c", "Interface in 1": "b", "interface": "", "radio": ""} {
		d, err := Find(devices, text)
		if d.ID != want || (err == nil) != (want != "") {
			t.Errorf("%q: %q, %v; want %q", text, d.ID, err, want)
		}
	}
	if _, err := Find(nil, ""); err == nil {
		t.Error("no device is no error")
	}
	if d := (Device{RatesHz: []int{44100}}); d.RunsAt(48000) || !d.RunsAt(44100) || !(Device{}).RunsAt(48000) {
		t.Error("rates at which a device runs")
	}
}
