//go:build soundcard && cgo

package audio

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"time"
	"unsafe"

	"github.com/gen2brain/malgo"
)

// Open returns the sound system of this machine: what miniaudio finds first of the systems
// that it knows (WASAPI, Core Audio, PulseAudio, ALSA, JACK …). Their libraries are loaded
// when devices are listed or opened, which says so where there is none; the error here is
// always nil.
func Open() (System, error) { return native{}, nil }

// native opens a context of miniaudio for each use: devices come and go, and a
// context holds on to the server that was there when it was made.
type native struct{}

func newContext() (*malgo.AllocatedContext, error) {
	ctx, err := malgo.InitContext(nil, malgo.ContextConfig{}, nil)
	if err != nil {
		return nil, fmt.Errorf("the sound system cannot be reached (%w): see that its server runs and that you may use it", err)
	}
	return ctx, nil
}

func closeContext(ctx *malgo.AllocatedContext) {
	_ = ctx.Uninit() // nothing is left to do about it
	ctx.Free()
}

func (native) Devices() (playback, capture []Device, err error) {
	defer hush()()
	ctx, err := newContext()
	if err != nil {
		return nil, nil, err
	}
	defer closeContext(ctx)
	for _, way := range []struct {
		kind malgo.DeviceType
		to   *[]Device
	}{{malgo.Playback, &playback}, {malgo.Capture, &capture}} {
		found, err := ctx.Devices(way.kind)
		if err != nil {
			return nil, nil, fmt.Errorf("the sound devices cannot be listed: %w", err)
		}
		for _, d := range slices.DeleteFunc(found, silence) {
			*way.to = append(*way.to, describe(ctx, way.kind, d))
		}
	}
	if allClosed(playback) && allClosed(capture) {
		return nil, nil, errNoDevice
	}
	return playback, capture, nil
}

// errNoDevice is returned where there is nothing to play on and nothing to record from.
var errNoDevice = errors.New("no sound device can be opened: plug the interface in and switch it on, start the sound server (on Linux PulseAudio or PipeWire, as the user who records), close programs that hold the device, and see that you may use it; --from takes the files of another recorder instead")

// allClosed reports whether there is no device that can be opened.
func allClosed(devices []Device) bool {
	return !slices.ContainsFunc(devices, func(d Device) bool { return !d.Closed })
}

// silence reports whether a device is the one of ALSA that throws away what is played and
// records nothing.
func silence(d malgo.DeviceInfo) bool {
	return strings.TrimRight(string(d.ID[:]), "\x00") == "null"
}

// describe adds what only asking the device itself tells.
func describe(ctx *malgo.AllocatedContext, kind malgo.DeviceType, d malgo.DeviceInfo) Device {
	out := Device{ID: d.ID.String(), Name: d.Name(), Default: d.IsDefault != 0}
	full, err := ctx.DeviceInfo(kind, d.ID, malgo.Shared)
	if err != nil {
		out.Closed = true
		return out
	}
	any := false
	for _, f := range full.Formats {
		out.Channels = max(out.Channels, int(f.Channels))
		out.Format = cmp.Or(out.Format, formatName(malgo.FormatType(f.Format)))
		if f.SampleRate == 0 {
			any = true
		} else if !slices.Contains(out.RatesHz, int(f.SampleRate)) {
			out.RatesHz = append(out.RatesHz, int(f.SampleRate))
		}
	}
	if any {
		out.RatesHz = nil
	}
	return out
}

func formatName(f malgo.FormatType) string {
	return map[malgo.FormatType]string{malgo.FormatU8: "8-bit integer", malgo.FormatS16: "16-bit integer", malgo.FormatS24: "24-bit integer",
		malgo.FormatS32: "32-bit integer", malgo.FormatF32: "32-bit float"}[f]
}

// periods is how many buffers a device may be given ahead: two seconds in all, so that a
// busy machine loses nothing. A stop does not wait for them, it throws them away. Of
// PulseAudio miniaudio asks for one ahead all the same (its target length), which a busy
// machine may miss; the take then says so.
const periods = 100

// Open opens playback and capture as two devices, not as one duplex device of
// miniaudio: that puts a ring buffer between them which drops frames silently
// when it is full or empty.
func (native) Open(cfg Config, call Callbacks) (Stream, error) {
	if err := cfg.Check(); err != nil {
		return nil, err
	}
	defer hush()()
	ctx, err := newContext()
	if err != nil {
		return nil, err
	}
	s := &nativeStream{ctx: ctx}
	if err := s.open(cfg, call); err != nil {
		return nil, fmt.Errorf("%w; close other programs that use the device, or choose another one", closed(s, err))
	}
	return s, nil
}

// closed closes a stream that failed to open.
func closed(s *nativeStream, err error) error {
	_ = s.Close() // the first error tells more
	return err
}

type nativeStream struct {
	ctx               *malgo.AllocatedContext
	playback, capture *malgo.Device
	play, record      pace
	playDev, recDev   Device
	stopping          atomic.Bool
}

func (s *nativeStream) open(cfg Config, call Callbacks) error {
	n := cfg.buffer()
	s.play.rate, s.play.slack = float64(cfg.RateHz), slackBuffers*float64(n)
	s.record.rate, s.record.slack = s.play.rate, s.play.slack
	ended := func() {
		if !s.stopping.Load() {
			call.Stopped(nil)
		}
	}
	for _, way := range []struct {
		kind     malgo.DeviceType
		want     string
		channels int
		to       **malgo.Device
		told     *Device
		data     malgo.DataProc
	}{
		{malgo.Capture, cfg.Capture, cfg.Inputs, &s.capture, &s.recDev, func(_, in []byte, frames uint32) {
			s.record.tick(int(frames), time.Now())
			call.Record(floats(in))
		}},
		{malgo.Playback, cfg.Playback, cfg.Outputs, &s.playback, &s.playDev, func(out, _ []byte, frames uint32) {
			s.play.tick(int(frames), time.Now())
			call.Play(floats(out))
		}},
	} {
		info, err := s.choose(way.kind, way.want)
		if err != nil {
			return err
		}
		c := malgo.DefaultDeviceConfig(way.kind)
		c.SampleRate, c.PeriodSizeInFrames, c.Periods = uint32(cfg.RateHz), uint32(n), periods
		sub := &c.Playback
		if way.kind == malgo.Capture {
			sub = &c.Capture
		}
		sub.Format, sub.Channels, sub.DeviceID = malgo.FormatF32, uint32(way.channels), info.ID.Pointer()
		if *way.to, err = malgo.InitDevice(s.ctx.Context, c, malgo.DeviceCallbacks{Data: way.data, Stop: ended}); err != nil {
			return fmt.Errorf("%s cannot be opened at %d Hz with %d channels: %w", info.Name(), cfg.RateHz, way.channels, err)
		}
		// A server may have changed the rate of a device to suit the stream.
		*way.told = describe(s.ctx, way.kind, info)
	}
	return nil
}

// choose finds a device by its ID.
func (s *nativeStream) choose(kind malgo.DeviceType, id string) (malgo.DeviceInfo, error) {
	found, err := s.ctx.Devices(kind)
	if err != nil {
		return malgo.DeviceInfo{}, err
	}
	found = slices.DeleteFunc(found, silence)
	var devices []Device
	for _, d := range found {
		devices = append(devices, Device{ID: d.ID.String(), Name: d.Name(), Default: d.IsDefault != 0})
	}
	d, err := Find(devices, id)
	if err != nil {
		return malgo.DeviceInfo{}, err
	}
	return found[slices.IndexFunc(devices, func(o Device) bool { return o.ID == d.ID })], nil
}

// floats views the driver's bytes as samples.
func floats(b []byte) []float32 {
	if len(b) == 0 {
		return nil
	}
	return unsafe.Slice((*float32)(unsafe.Pointer(&b[0])), len(b)/4)
}

// Start begins with recording, so that nothing that is played is missed.
func (s *nativeStream) Start() error {
	defer hush()()
	if err := s.capture.Start(); err != nil {
		return fmt.Errorf("%s does not start: %w", s.recDev.Name, err)
	}
	if err := s.playback.Start(); err != nil {
		return fmt.Errorf("%s does not start: %w", s.playDev.Name, err)
	}
	return nil
}

// Stop ends playback first.
func (s *nativeStream) Stop() error {
	defer hush()()
	s.stopping.Store(true)
	for _, d := range []*malgo.Device{s.playback, s.capture} {
		if d != nil && d.IsStarted() {
			_ = d.Stop() // a device that has gone has stopped
		}
	}
	return nil
}

func (s *nativeStream) Close() error {
	if s.ctx == nil {
		return nil
	}
	defer hush()()
	s.stopping.Store(true)
	for _, d := range []*malgo.Device{s.playback, s.capture} {
		if d != nil {
			d.Uninit()
		}
	}
	s.playback, s.capture = nil, nil
	closeContext(s.ctx)
	s.ctx = nil
	return nil
}

func (s *nativeStream) Running() (playback, capture Device) { return s.playDev, s.recDev }

func (s *nativeStream) Counters() Counters {
	var c Counters
	c.Played, c.UnderRuns = s.play.counts()
	c.Recorded, c.DropOuts = s.record.counts()
	return c
}
