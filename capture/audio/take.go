package audio

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"sync/atomic"
	"time"
)

// Playing says what a take plays.
type Playing struct {
	Signal []float64 // samples, full scale ±1; nil to listen alone
	Gain   float64   // factor, 0 to 1
	On     []int     // outputs that play, counted from 1; nil for all
	// Seconds is how long is recorded; at least as long as the signal, plus the
	// time that it takes to arrive.
	Seconds float64
	// Levels is told the peak of each input since it was called last, a factor re full
	// scale in the order of the inputs; may be nil. It must not wait.
	Levels func(peaks []float64)
}

// Take is what came of it.
type Take struct {
	Samples  [][]float64 // one slice per input, full scale ±1
	RateHz   int
	Stopped  bool // ended before its time by the context
	Playback Device
	Capture  Device
	Counters Counters
}

// silentAfter is how long a device may deliver nothing.
const silentAfter = 3 * time.Second

// Ramps at the beginning and at a stop.
const (
	rampSeconds = 0.02
	fadeSeconds = 0.005
)

// Record plays and records once. When the context ends the sound stops within
// one buffer, and the take comes back with Stopped set and what was recorded so
// far, without an error. Errors are those of the devices.
func Record(ctx context.Context, sys System, cfg Config, p Playing) (Take, error) {
	if err := cfg.Check(); err != nil {
		return Take{}, err
	}
	out, err := newPlayer(cfg, p)
	if err != nil {
		return Take{}, err
	}
	rec := newRecorder(cfg, int(math.Ceil(p.Seconds*float64(cfg.RateHz))), p.Levels)
	failed := make(chan error, 1)
	stream, err := sys.Open(cfg, Callbacks{Play: out.fill, Record: rec.take, Stopped: func(err error) {
		if err == nil {
			err = errors.New("the sound device stopped by itself: see whether it is still plugged in and its server runs")
		}
		select {
		case failed <- err:
		default:
		}
	}})
	if err != nil {
		return Take{}, err
	}
	defer stream.Close()
	t := Take{RateHz: cfg.RateHz}
	t.Playback, t.Capture = stream.Running()
	if err := stream.Start(); err != nil {
		return t, err
	}
	defer context.AfterFunc(ctx, func() { out.stopped.Store(true) })()
	for waiting, seen := true, 0; waiting; {
		select {
		case <-rec.done:
			waiting = false
		case err = <-failed:
			waiting = false
		case <-ctx.Done():
			t.Stopped, waiting = true, false
		case <-time.After(silentAfter):
			// Some drivers say nothing when their server goes away.
			now := rec.frames()
			if now == seen {
				err = fmt.Errorf("%s has delivered nothing for %v: see whether it is still plugged in and its server runs", cmp.Or(t.Capture.Name, "the recording device"), silentAfter)
				waiting = false
			}
			seen = now
		}
	}
	out.stopped.Store(true)
	if stop := stream.Stop(); err == nil {
		err = stop
	}
	t.Counters = stream.Counters()
	t.Samples = rec.samples()
	return t, err
}

func newPlayer(cfg Config, p Playing) (*player, error) {
	if !(p.Gain >= 0 && p.Gain <= 1) {
		return nil, fmt.Errorf("audio: gain of %g; want 0 to 1", p.Gain)
	}
	out := &player{signal: make([]float32, len(p.Signal)), outputs: cfg.Outputs, on: make([]bool, cfg.Outputs), gain: float32(p.Gain),
		ramp: int(rampSeconds * float64(cfg.RateHz)), fade: int(fadeSeconds * float64(cfg.RateHz))}
	for i, v := range p.Signal {
		if !(math.Abs(v) <= 1) {
			return nil, fmt.Errorf("audio: sample %d of the signal is %g; want -1 to 1", i, v)
		}
		out.signal[i] = float32(v)
	}
	for i := range out.on {
		out.on[i] = p.On == nil
	}
	for _, c := range p.On {
		if c < 1 || c > cfg.Outputs {
			return nil, fmt.Errorf("audio: output %d of %d", c, cfg.Outputs)
		}
		out.on[c-1] = true
	}
	return out, nil
}

// recorder keeps what a device delivers, up to a number of frames.
type recorder struct {
	inputs int
	levels func([]float64)
	done   chan struct{}
	full   atomic.Bool

	mu    sync.Mutex
	kept  []float32
	peaks []float64
}

func newRecorder(cfg Config, frames int, levels func([]float64)) *recorder {
	return &recorder{inputs: cfg.Inputs, levels: levels, done: make(chan struct{}),
		kept: make([]float32, 0, frames*cfg.Inputs), peaks: make([]float64, cfg.Inputs)}
}

func (r *recorder) take(in []float32) {
	if r.full.Load() {
		return
	}
	r.mu.Lock()
	n := min(len(in), cap(r.kept)-len(r.kept))
	r.kept = append(r.kept, in[:n]...)
	full := len(r.kept) == cap(r.kept)
	r.mu.Unlock()
	if r.levels != nil {
		clear(r.peaks)
		for i, v := range in {
			r.peaks[i%r.inputs] = max(r.peaks[i%r.inputs], math.Abs(float64(v)))
		}
		r.levels(r.peaks)
	}
	if full && r.full.CompareAndSwap(false, true) {
		close(r.done)
	}
}

func (r *recorder) frames() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.kept) / r.inputs
}

// samples returns what was kept, one slice per input.
func (r *recorder) samples() [][]float64 {
	r.full.Store(true) // calls that are under way no longer add
	r.mu.Lock()
	defer r.mu.Unlock()
	out := make([][]float64, r.inputs)
	n := len(r.kept) / r.inputs
	for c := range out {
		out[c] = make([]float64, n)
		for i := range out[c] {
			out[c][i] = float64(r.kept[i*r.inputs+c])
		}
	}
	return out
}
