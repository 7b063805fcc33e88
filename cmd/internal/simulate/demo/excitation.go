package demo

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// excitation is the sweep of the demo study as the recorder's clock sees it:
// the synchronised exponential sweep of Novak, Lotton and Simon (JAES 63(10),
// 2015), evaluated in continuous time, so that a clock that is off needs no
// resampling. Formula and fades are those that study.toml stands for; a test
// holds them against capture/sweep.
type excitation struct {
	rate, start, stop, seconds, gap, lead float64
	repeats                               int
}

// played is short so that a study of two hundred files stays small.
var played = excitation{rate: 48000, start: 10, stop: 22000, seconds: 1, gap: 0.5, lead: 0.5, repeats: 2}

// peak of what is played, digital full scale 1.
const peak = 0.5

// at is the sweep at t seconds after its start, amplitude 1.
func (x excitation) at(t float64) float64 {
	if t < 0 || t >= x.seconds {
		return 0
	}
	l := x.seconds / math.Log(x.stop/x.start)
	v := math.Sin(2 * math.Pi * x.start * l * math.Exp(t/l))
	fadeIn, fadeOut := l*math.Ln2/2, l*math.Ln2/24
	if t < fadeIn {
		v *= 0.5 - 0.5*math.Cos(math.Pi*t/fadeIn)
	}
	if left := x.seconds - t; left < fadeOut {
		v *= 0.5 - 0.5*math.Cos(math.Pi*left/fadeOut)
	}
	return v
}

// samples is the length of a recording.
func (x excitation) samples() int {
	return int((x.lead + float64(x.repeats)*(x.seconds+x.gap)) * x.rate)
}

// begin is the first sample of a repeat, on the clock of a recorder that runs
// fast by ppm.
func (x excitation) begin(repeat int, ppm float64) int {
	t := x.lead + float64(repeat)*(x.seconds+x.gap)
	return int(t * x.rate * (1 + ppm*1e-6))
}

// repeat returns a repeat as the recorder samples it from begin on; a driver
// that is not quite linear adds the square and the cube.
func (x excitation) repeat(k int, ppm, square, cube float64, out []float64) {
	first := x.begin(k, ppm)
	t0 := x.lead + float64(k)*(x.seconds+x.gap)
	for i := range out {
		t := float64(first+i)/(x.rate*(1+ppm*1e-6)) - t0
		v := x.at(t)
		out[i] = v + square*v*v + cube*v*v*v
	}
}

// Sizes of the transforms: an impulse response of 8192 samples behind a sweep
// of one second.
const (
	irLength   = 8192
	convLength = 65536
)

// convolver turns responses into recorded signals; one per worker.
type convolver struct {
	x     excitation
	ir    *fourier.FFT
	conv  *fourier.FFT
	coeff []complex128
	long  []complex128
	time  []float64
	cache map[clock][][]complex128 // transforms of the repeats
}

type clock struct{ ppm, square, cube float64 }

func newConvolver(x excitation) *convolver {
	return &convolver{
		x: x, ir: fourier.NewFFT(irLength), conv: fourier.NewFFT(convLength),
		coeff: make([]complex128, irLength/2+1), long: make([]complex128, convLength/2+1),
		time: make([]float64, convLength), cache: map[clock][][]complex128{},
	}
}

func (c *convolver) repeats(k clock) [][]complex128 {
	if got, ok := c.cache[k]; ok {
		return got
	}
	var out [][]complex128
	for i := range c.x.repeats {
		c.x.repeat(i, k.ppm, k.square, k.cube, c.time)
		out = append(out, c.conv.Coefficients(nil, c.time))
	}
	c.cache[k] = out
	return out
}

// add adds the sweep through response h (on the grid of demoGrid) to dst.
func (c *convolver) add(dst []float64, h []complex128, k clock) {
	repeats := c.repeats(k) // before c.time is taken
	const latency = 64      // samples; keeps what precedes the direct sound
	for i := range c.coeff {
		f := float64(i) * c.x.rate / irLength
		var v complex128
		if i < len(h) {
			v = h[i]
		}
		sin, cos := math.Sincos(-2 * math.Pi * float64(i) * latency / irLength)
		c.coeff[i] = v * complex(cos, sin) * complex(antiAlias(f), 0)
	}
	c.coeff[0] = complex(real(c.coeff[1]), 0)
	ir := c.ir.Sequence(c.time[:irLength], c.coeff)
	for i := range ir {
		ir[i] /= irLength
	}
	clear(c.time[irLength:])
	response := c.conv.Coefficients(nil, c.time)
	for r, sweep := range repeats {
		for i := range c.long {
			c.long[i] = response[i] * sweep[i] / convLength
		}
		y := c.conv.Sequence(c.time, c.long)
		at := c.x.begin(r, k.ppm)
		for i := 0; i < len(y) && at+i < len(dst); i++ {
			dst[at+i] += y[i]
		}
	}
}

// antiAlias is the converter's low-pass.
func antiAlias(f float64) float64 {
	const lo, hi = 21000, 23500
	switch {
	case f <= lo:
		return 1
	case f >= hi:
		return 0
	}
	return 0.5 + 0.5*math.Cos(math.Pi*(f-lo)/(hi-lo))
}
