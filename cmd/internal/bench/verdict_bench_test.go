package bench

import (
	"context"
	"errors"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"asworn/capture"
	"asworn/capture/audio"
	"asworn/capture/wavfile"
	"asworn/cmd/internal/hearing"
	"asworn/cmd/internal/pipeline"
	"asworn/cmd/internal/simulate/demo"
)

// player records what it was given, as if every take sounded so.
type player struct {
	channels [][]float64
	noise    float32
	ended    time.Time // when the last sample of a take was delivered
}

func (p *player) Devices() (playback, capture []audio.Device, err error) {
	d := []audio.Device{{ID: "tape", Name: "tape", Channels: 3, Default: true}}
	return d, d, nil
}

func (p *player) Open(cfg audio.Config, call audio.Callbacks) (audio.Stream, error) {
	return &tape{player: p, cfg: cfg, call: call}, nil
}

type tape struct {
	*player
	cfg  audio.Config
	call audio.Callbacks
	work sync.WaitGroup
}

func (t *tape) Start() error {
	t.noise += 1e-7 // no two takes are the same
	t.work.Go(func() {
		buffer := make([]float32, 960*t.cfg.Inputs)
		for at := 0; at < 20*48000; at += 960 {
			clear(buffer)
			for i := range 960 {
				for c := range t.cfg.Inputs {
					if at+i < len(t.channels[c]) {
						buffer[i*t.cfg.Inputs+c] = float32(t.channels[c][at+i]) + t.noise
					}
				}
			}
			if at < len(t.channels[0]) {
				t.ended = time.Now()
			}
			t.call.Record(buffer)
		}
	})
	return nil
}

func (t *tape) Stop() error                               { t.work.Wait(); return nil }
func (t *tape) Close() error                              { return nil }
func (t *tape) Running() (playback, capture audio.Device) { return audio.Device{}, audio.Device{} }
func (t *tape) Counters() audio.Counters                  { return audio.Counters{} }

// fixtureDesk opens a desk that records one seating after the other of Model A on the
// demo study, which has been run; changed hears of every change.
func fixtureDesk(b *testing.B, changed func()) (*Desk, *player) {
	b.Helper()
	dir := filepath.Join(b.TempDir(), "demo")
	if _, err := demo.Write(b.Context(), dir, demo.Options{}); err != nil {
		b.Fatal(err)
	}
	if _, _, err := pipeline.Run(b.Context(), dir, pipeline.Options{}); err != nil {
		b.Fatal(err)
	}
	_, channels, err := wavfile.ReadAll(filepath.Join(dir, "recordings", "fixture_model-a_023_drum.wav"))
	if err != nil {
		b.Fatal(err)
	}
	tape := &player{channels: channels}
	d, err := Open(b.Context(), dir, Options{System: tape, Model: "Model A", Point: capture.Drum, Changed: changed})
	if err != nil {
		b.Fatal(err)
	}
	device, _, _ := tape.Devices()
	if err := errors.Join(d.Sound().Choose(device[0], device[0], nil), d.Sound().SetInputs(hearing.Inputs{Left: 1, Right: 2, Loopback: 3})); err != nil {
		b.Fatal(err)
	}
	return d, tape
}

// BenchmarkVerdict is what an operator at the fixture waits for: from the last recorded
// sample to the verdict on the screen, the take kept safely in between, in the whole demo
// study of three models and 215 recordings.
func BenchmarkVerdict(b *testing.B) {
	changes := make(chan struct{}, 64)
	d, tape := fixtureDesk(b, func() {
		select {
		case changes <- struct{}{}:
		default:
		}
	})
	defer d.Close()
	await := func(phase Phase) Screen {
		ctx, stop := context.WithTimeout(b.Context(), time.Minute)
		defer stop()
		for {
			if s := d.Screen(); s.Phase == phase {
				return s
			}
			select {
			case <-changes:
			case <-ctx.Done():
				b.Fatalf("%v does not come: %+v", phase, d.Screen())
			}
		}
	}
	var waited time.Duration
	for b.Loop() {
		await(Ready)
		d.Press(Enter)
		s := await(Judged)
		waited += time.Since(tape.ended)
		if !s.Result.Placed {
			b.Fatalf("no verdict: %+v", s.Result)
		}
		d.Press(Enter)
	}
	b.ReportMetric(float64(waited.Milliseconds())/float64(b.N), "ms/verdict")
}
