package demo

import (
	"fmt"
	"math"
	"math/rand/v2"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
)

// Faults that the demo study holds on purpose, as named in Truth.
const (
	FaultCough   = "cough"      // during the second repeat
	FaultClipped = "clipped"    // gain of the recorder set too high
	FaultSwapped = "swapped"    // left and right cables exchanged
	FaultHum     = "hum"        // mains hum
	FaultClock   = "clock"      // recorder farther off than usual
	FaultMoved   = "moved on"   // a headphone placed well off the panel's mean on purpose
	FaultYaw     = "cups apart" // one cup of a fixture seating forward and the other back on purpose
	FaultLeak    = "leak"       // a leak under the cushion on purpose
)

// microphone is one of the recorder's microphones: its response is smooth and
// known, and its correction file holds it.
type microphone struct {
	fullScale     float64 // digital full scale per pascal
	lowHz, riseDB float64
}

var microphones = [2]microphone{
	{fullScale: 0.150, lowHz: 9, riseDB: 2.4},
	{fullScale: 0.118, lowHz: 12, riseDB: 1.5},
}

// response is relative to that at 1 kHz.
func (m microphone) response(f float64) complex128 {
	s := complex(0, f/m.lowHz)
	x := math.Pow(f/11000, 2)
	return s / (1 + s) * complex(math.Pow(10, m.riseDB*x/(1+x)/20), 0)
}

const (
	driveVoltsRMS = 0.05
	humHz         = 50.0
)

// recorder makes recordings; one per worker.
type recorder struct {
	*convolver
	grid  *simulate.Grid
	study *simulate.Study
	chans [3][]float64
}

func newRecorder(s *simulate.Study) *recorder {
	r := &recorder{convolver: newConvolver(played), study: s}
	r.grid = simulate.UniformGrid(played.rate/irLength, played.rate/2)
	for i := range r.chans {
		r.chans[i] = make([]float64, played.samples())
	}
	return r
}

// hear returns what the microphones and the loopback record of a row, digital
// full scale 1: left, right, loopback. The slices are used again by the next call.
func (r *recorder) hear(row simulate.Row, faults map[string]bool, seed uint64, index int) [3][]float64 {
	rnd := rand.New(rand.NewPCG(seed, simulate.StreamNoise<<32+uint64(index)))
	k := clock{ppm: clockPPM(faults, seed, index)}
	if row.ModelIndex >= 0 {
		k.square, k.cube = 0.001, 0.0006*float64(row.ModelIndex+1)
	}
	for _, c := range r.chans {
		clear(c)
	}
	for e, mic := range microphones {
		h := r.study.Pressure(row, capture.Ear(e), r.grid)
		for i, f := range r.grid.Hz {
			h[i] *= mic.response(f) * complex(mic.fullScale*driveVoltsRMS*math.Sqrt2, 0)
		}
		r.add(r.chans[e], h, k)
		r.disturb(r.chans[e], mic.fullScale, faults, rnd)
	}
	for rep := range r.x.repeats {
		first := r.x.begin(rep, k.ppm)
		r.x.repeat(rep, k.ppm, 0, 0, r.time)
		for i := 0; i < len(r.time) && first+i < len(r.chans[2]); i++ {
			r.chans[2][first+i] += peak * r.time[i]
		}
	}
	for i := range r.chans[2] {
		r.chans[2][i] += 3e-6 * rnd.NormFloat64()
	}
	if faults[FaultSwapped] {
		r.chans[0], r.chans[1] = r.chans[1], r.chans[0]
	}
	if faults[FaultClipped] {
		for _, c := range r.chans[:2] {
			for i := range c {
				c[i] = math.Max(-1, math.Min(1, 30*c[i]))
			}
		}
	}
	return r.chans
}

// clockPPM is how fast the recorder's clock runs, in whole ppm: warm or cold,
// and in one session another recorder.
func clockPPM(faults map[string]bool, seed uint64, index int) float64 {
	rnd := rand.New(rand.NewPCG(seed, simulate.StreamClock<<32+uint64(index)))
	ppm := 18 + 2*rnd.NormFloat64()
	if faults[FaultClock] {
		ppm += 47
	}
	return math.Round(ppm)
}

// disturb adds noise: the microphone's own (about 28 dB SPL, white), the
// room's (falling above 80 Hz), mains hum, and a cough where there is one.
func (r *recorder) disturb(x []float64, fullScale float64, faults map[string]bool, rnd *rand.Rand) {
	hum := 3e-4
	if faults[FaultHum] {
		hum = 4e-2
	}
	phase := 2 * math.Pi * rnd.Float64()
	room, pole := 0.0, math.Exp(-2*math.Pi*80/r.x.rate)
	for i := range x {
		white := 5e-4 * rnd.NormFloat64()
		room = pole*room + 2e-4*rnd.NormFloat64()
		w := 2*math.Pi*humHz*float64(i)/r.x.rate + phase
		s := math.Sin(w)
		// 50 Hz with its third and fifth, by the multiple-angle formulas.
		h := s + 0.5*(3*s-4*s*s*s) + 0.25*(16*s*s*s*s*s-20*s*s*s+5*s)
		x[i] += fullScale * (white + room + hum*h)
	}
	if !faults[FaultCough] {
		return
	}
	at := int((r.x.lead + r.x.seconds + r.x.gap + 0.35*r.x.seconds) * r.x.rate)
	for i := 0; i < int(0.25*r.x.rate) && at+i < len(x); i++ {
		t := float64(i) / r.x.rate
		x[at+i] += fullScale * 0.6 * math.Exp(-t/0.06) * rnd.NormFloat64()
	}
}

// calibrator is a tone of 94 dB SPL at 1 kHz, recorded with the other microphone silent.
func calibrator(ear capture.Ear, seed uint64) [3][]float64 {
	rnd := rand.New(rand.NewPCG(seed, simulate.StreamCalibrator<<32+uint64(ear)))
	n := int(2 * played.rate)
	var out [3][]float64
	for i := range out {
		out[i] = make([]float64, n)
		for j := range out[i] {
			v := 5e-4 * rnd.NormFloat64()
			if i == int(ear) {
				v += math.Sqrt2 * math.Sin(2*math.Pi*1000/(1+18e-6)*float64(j)/played.rate)
			}
			if i < 2 {
				out[i][j] = microphones[i].fullScale * v
			}
		}
	}
	return out
}

func (m microphone) csv() string {
	out := "frequency_hz,level_db\n"
	ref := simulate.LevelDB(m.response(1000))
	for f := 10.0; f < 24001; f *= math.Pow(2, 1.0/6) {
		out += fmt.Sprintf("%.2f,%.3f\n", f, simulate.LevelDB(m.response(f))-ref)
	}
	return out
}
