// Package audio plays and records through a sound card at once. A System is
// what offers devices; one is built on miniaudio (build tag soundcard), one is
// simulated, for tests. A Take plays a signal once and records meanwhile; it
// counts what the driver lost, and it falls silent within one buffer when it is
// told to stop.
package audio

import (
	"errors"
	"fmt"
)

// Device is one way into or out of the machine.
type Device struct {
	ID      string // stable name for the system; of no meaning to people
	Name    string // as the system shows it
	Default bool
	// RatesHz are the rates at which the device runs natively; nil when the
	// system does not say, or when it runs at any.
	RatesHz []int
	// Channels is the highest number that the device has natively; 0 when the
	// system does not say.
	Channels int
	Format   string // of its samples, as in "32-bit float"; empty when the system does not say
	Closed   bool   // it cannot be opened now: another program holds it, or what it stands for is missing
}

// RunsAt reports whether the device runs at a rate without resampling, as far as the
// system says. rateHz is in Hz; a device that does not say runs at any.
func (d Device) RunsAt(rateHz int) bool {
	if len(d.RatesHz) == 0 {
		return true
	}
	for _, r := range d.RatesHz {
		if r == rateHz {
			return true
		}
	}
	return false
}

// Config says how a stream is opened.
type Config struct {
	Playback, Capture string // IDs of devices; empty for the system's default
	RateHz            int
	Outputs, Inputs   int // channels
	BufferFrames      int // frames per call; 0 for 20 ms
}

// defaultBuffer is the length of a buffer in seconds: short enough for a key
// to silence the sound at once, long enough for a busy machine. Common practice,
// no source.
const defaultBuffer = 0.02

func (c Config) buffer() int {
	if c.BufferFrames > 0 {
		return c.BufferFrames
	}
	return int(defaultBuffer * float64(c.RateHz))
}

// Check reports what is wrong with a configuration. The error names the value and what is
// possible: rates of 8 kHz to 768 kHz, 1 to 64 outputs and inputs.
func (c Config) Check() error {
	switch {
	case c.RateHz < 8000 || c.RateHz > 768000:
		return fmt.Errorf("audio: rate of %d Hz; want 8000 to 768000", c.RateHz)
	case c.Outputs < 1 || c.Outputs > 64:
		return fmt.Errorf("audio: %d outputs; want 1 to 64", c.Outputs)
	case c.Inputs < 1 || c.Inputs > 64:
		return fmt.Errorf("audio: %d inputs; want 1 to 64", c.Inputs)
	}
	return nil
}

// Callbacks are what a stream calls, each from a thread of the driver: they
// must not wait. Samples are interleaved, full scale is ±1.
type Callbacks struct {
	Play    func(out []float32) // fills the next buffer
	Record  func(in []float32)  // in is only valid during the call
	Stopped func(error)         // the device ended by itself; not called after Stop
}

// Counters are what a stream saw of its own work.
type Counters struct {
	Played, Recorded int64 // frames
	// UnderRuns counts the times playback asked too late for its buffers to have
	// lasted; DropOuts those that recording fell behind its own clock.
	UnderRuns, DropOuts int
}

// Stream is a pair of open devices.
type Stream interface {
	Start() error // Start lets both run; an error is the driver's.
	Stop() error  // Stop ends the sound at once; it may be called more than once. An error is the driver's.
	Close() error // Close gives the devices back; it may be called more than once. An error is the driver's.
	// Running returns the devices as they really run.
	Running() (playback, capture Device)
	Counters() Counters // Counters tells what was seen so far.
}

// System offers devices.
type System interface {
	Devices() (playback, capture []Device, err error) // Devices lists what plays and what records, each empty where there is none; an error is the system's.
	Open(Config, Callbacks) (Stream, error)           // Open opens both devices of a configuration without starting them. It fails as Config.Check does, or with the driver's error.
}

// ErrNoSoundCard is returned where this build cannot reach a sound card. What to do
// instead is in its text.
var ErrNoSoundCard = errors.New("this build cannot reach a sound card: build it with 'go build -tags soundcard ./cmd/asworn' on a machine with a C compiler, or record with another program and use --from")
