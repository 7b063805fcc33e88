package audio

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
)

// Simulated is a System without hardware, for tests and rehearsals: one device
// each way, joined by filters, with clocks of their own. It waits for nothing, so
// a take is over as fast as it can be computed. The same settings and the same
// played samples give the same recording. The zero value is two devices that
// nothing joins.
type Simulated struct {
	Paths        []Path
	LatencyFrame int     // from an output to an input
	PPM          float64 // by how much the recording clock runs fast
	NoiseRMS     float64 // at every input, white
	NoiseSeed    uint64  // of the streams that are opened from now on
	// Lost are the places at which recording loses frames, in recorded frames.
	Lost []Gap
	// StopsAt is the recorded frame at which the device stops by itself; 0 for
	// never.
	StopsAt int64
	// RunsHz is the rate at which the devices really run; 0 for any. They do not
	// resample: it is only told.
	RunsHz int
	// Sound is added at an input (counted from 0), from elsewhere than the
	// outputs; may be nil.
	Sound func(input int, frame int64) float64
	// Each is called after each buffer with the frames recorded so far; may be
	// nil. While it waits, time stands still.
	Each func(frame int64)
}

// Path joins an output to an input, both counted from 0.
type Path struct {
	Output, Input int
	FIR           []float64 // taps at the rate of the stream, sample values out per sample value in
}

// Gap is a number of frames that are lost from a place on.
type Gap struct {
	At     int64
	Frames int
}

// Devices returns the one device of each way. The error is always nil.
func (s *Simulated) Devices() (playback, capture []Device, err error) {
	d := Device{ID: "simulated", Name: "simulated device", Default: true, Format: "32-bit float"}
	if s.RunsHz > 0 {
		d.RatesHz = []int{s.RunsHz}
	}
	return []Device{d}, []Device{d}, nil
}

// Open opens both. It fails as Config.Check does, and on a path without taps or with a
// channel below 0.
func (s *Simulated) Open(cfg Config, call Callbacks) (Stream, error) {
	if err := cfg.Check(); err != nil {
		return nil, err
	}
	for _, p := range s.Paths {
		if p.Output < 0 || p.Input < 0 || len(p.FIR) == 0 {
			return nil, fmt.Errorf("audio: path from output %d to input %d with %d taps", p.Output, p.Input, len(p.FIR))
		}
	}
	return &simulation{Simulated: s, cfg: cfg, call: call, quit: make(chan struct{}), ended: make(chan struct{}),
		noise: rand.New(rand.NewPCG(1, 2+s.NoiseSeed))}, nil
}

type simulation struct {
	*Simulated
	cfg   Config
	call  Callbacks
	noise *rand.Rand

	quit, ended chan struct{}
	begin, end  sync.Once
	began       bool
	mu          sync.Mutex
	counters    Counters
}

func (s *simulation) Running() (playback, capture Device) {
	p, c, _ := s.Devices()
	return p[0], c[0]
}

func (s *simulation) Counters() Counters {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.counters
}

func (s *simulation) Start() error {
	s.begin.Do(func() { s.began = true; go s.run() })
	return nil
}

func (s *simulation) Stop() error {
	s.begin.Do(func() {}) // a stream that was stopped cannot start
	s.end.Do(func() { close(s.quit) })
	if s.began {
		<-s.ended
	}
	return nil
}

func (s *simulation) Close() error { return s.Stop() }

// interpolation is how many samples on each side of a place a windowed sinc
// takes in.
const interpolation = 16

func (s *simulation) run() {
	defer close(s.ended)
	n := s.cfg.buffer()
	out, in := make([]float32, n*s.cfg.Outputs), make([]float32, n*s.cfg.Inputs)
	heard := make([][]float64, s.cfg.Inputs) // by the playback clock, from frame 0
	var played [][]float64
	for range s.cfg.Outputs {
		played = append(played, nil)
	}
	step := 1 / (1 + s.PPM*1e-6)
	var recorded, skipped int64
	for {
		select {
		case <-s.quit:
			return
		default:
		}
		// Playback runs ahead as far as the interpolation and the clock need.
		for float64(len(played[0])) < float64(recorded+skipped+int64(n))*step+interpolation+1 {
			s.call.Play(out)
			for c := range played {
				for i := range n {
					played[c] = append(played[c], float64(out[i*s.cfg.Outputs+c]))
				}
			}
			for c := range heard {
				heard[c] = append(heard[c], make([]float64, n)...)
			}
			s.pass(played, heard, n)
		}
		for i := range n {
			for _, g := range s.Lost {
				if g.At == recorded+int64(i) {
					skipped += int64(g.Frames)
					s.mu.Lock()
					s.counters.DropOuts++
					s.mu.Unlock()
				}
			}
			at := float64(recorded+int64(i)+skipped) * step
			for c := range heard {
				in[i*s.cfg.Inputs+c] = float32(between(heard[c], at) + s.NoiseRMS*s.noise.NormFloat64() + s.elsewhere(c, recorded+int64(i)))
			}
		}
		recorded += int64(n)
		s.mu.Lock()
		s.counters.Played, s.counters.Recorded = int64(len(played[0])), recorded
		s.mu.Unlock()
		s.call.Record(in)
		if s.StopsAt > 0 && recorded >= s.StopsAt {
			s.call.Stopped(fmt.Errorf("audio: the simulated device stopped after %d frames", recorded))
			return
		}
		if s.Each != nil {
			s.Each(recorded)
		}
	}
}

func (s *simulation) elsewhere(c int, frame int64) float64 {
	if s.Sound == nil {
		return 0
	}
	return s.Sound(c, frame)
}

// pass filters the last n played frames into what is heard.
func (s *simulation) pass(played, heard [][]float64, n int) {
	total := len(played[0])
	for _, p := range s.Paths {
		if p.Output >= len(played) || p.Input >= len(heard) {
			continue
		}
		from, to := played[p.Output], heard[p.Input]
		for i := total - n; i < total; i++ {
			sum := 0.0
			for k, h := range p.FIR {
				if j := i - s.LatencyFrame - k; j >= 0 {
					sum += h * from[j]
				}
			}
			to[i] += sum
		}
	}
}

// between returns a band-limited signal between its samples, by a sinc under a
// Hann window. Places outside are silent.
func between(x []float64, at float64) float64 {
	whole := math.Floor(at)
	rest := at - whole
	i := int(whole)
	if rest == 0 {
		if i < len(x) {
			return x[i]
		}
		return 0
	}
	sum := 0.0
	sine := math.Sin(math.Pi*rest) / math.Pi
	for j := max(0, i-interpolation+1); j <= min(i+interpolation, len(x)-1); j++ {
		d := rest - float64(j-i)
		w := sine / d
		if (j-i)%2 != 0 {
			w = -w
		}
		c := math.Cos(math.Pi / 2 * d / interpolation)
		sum += x[j] * w * c * c
	}
	return sum
}
