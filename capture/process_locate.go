package capture

import (
	"math"

	"asworn/capture/deconv"
)

// A locator finds where the repeats start, to within a sample or two, at a
// rate decimated to a few kilohertz: the recording is divided by the
// excitation there, so that each repeat becomes one short pulse whatever the
// playback latency was.
type locator struct {
	c      *constants
	factor int       // decimation
	x      []float64 // the decimated excitation
	low    float64   // the band it looks at, Hz
	high   float64

	fft     *deconv.FFT // made for the longest recording so far
	inverse []complex128
	seq     []float64
	spec    []complex128
	energy  []float64
}

// decimatedRateHz is the least rate the locator works at.
const decimatedRateHz = 1500

func newLocator(c *constants) *locator {
	l := &locator{c: c, factor: 1}
	for c.rate/float64(2*l.factor) >= decimatedRateHz {
		l.factor *= 2
	}
	// An excitation without bass is looked for at a higher rate.
	for l.factor > 1 && c.lowHz > 0.1*c.rate/float64(l.factor) {
		l.factor /= 2
	}
	rate := c.rate / float64(l.factor)
	l.high = min(0.4*rate, c.highHz)
	l.low = max(c.lowHz, 0.05*rate)
	l.x = decimate(nil, c.x, l.factor)
	return l
}

func (l *locator) clone() *locator {
	return &locator{c: l.c, factor: l.factor, x: l.x, low: l.low, high: l.high}
}

// decimate appends every factor-th sample of x, smoothed by a triangle of
// twice that length, to dst[:0].
func decimate(dst, x []float64, factor int) []float64 {
	dst = dst[:0]
	if factor == 1 {
		return append(dst, x...)
	}
	f := float64(factor)
	slope := make([]float64, factor)
	for i := range slope {
		slope[i] = float64(i) / f
	}
	// Output m is centred on sample m·factor; each block of inputs falls with
	// one slope into the output before it and with the other into the next.
	carry := 0.0
	for start := 0; start < len(x); start += factor {
		var down, up float64
		block := x[start:min(start+factor, len(x))]
		for i, t := range slope[:len(block)] {
			v := block[i]
			down += v * (1 - t)
			up += v * t
		}
		dst = append(dst, (carry+down)/f)
		carry = up
	}
	return dst
}

// found is where the repeats lie.
type found struct {
	start   []float64 // expected sample of each repeat's first sample, ascending
	clarity float64   // pulse over the rest of the trace, a power ratio
	cut     int       // repeats that begin but are not whole in the recording
	missing int       // repeats without a trace
	quiet   int       // first sample that no repeat before the first whole one reaches
}

// prepare sets the transforms for recordings of n decimated samples.
func (l *locator) prepare(n int) {
	need := deconv.FastLen(n + len(l.x))
	if l.fft != nil && l.fft.Len() >= need && l.fft.Len() <= 2*need {
		return
	}
	l.fft = deconv.NewFFT(need)
	l.seq = make([]float64, need)
	l.spec = make([]complex128, l.fft.Bins())
	l.inverse = make([]complex128, l.fft.Bins())
	l.energy = make([]float64, need)
	copy(l.seq, l.x)
	l.fft.Forward(l.inverse, l.seq)
	step := l.c.rate / float64(l.factor) / float64(need)
	// The floor keeps bins without excitation from blowing up.
	mean, bins := 0.0, 0
	for k, v := range l.inverse {
		if f := float64(k) * step; f >= l.low && f <= l.high {
			mean += real(v)*real(v) + imag(v)*imag(v)
			bins++
		}
	}
	floor := 0.02 * mean / float64(max(bins, 1))
	for k, v := range l.inverse {
		f := float64(k) * step
		w := deconv.Smoothstep((f/l.low-1)*2+0.5) * deconv.Smoothstep((1-f/l.high)*4)
		p := real(v)*real(v) + imag(v)*imag(v)
		l.inverse[k] = complex(w/(p+floor), 0) * complex(real(v), -imag(v))
	}
}

// locate finds the repeats in the given channels together.
func (l *locator) locate(channels ...[]float64) found {
	total := len(channels[0])
	n := (total + l.factor - 1) / l.factor
	l.prepare(n)
	clear(l.energy)
	for _, x := range channels {
		l.seq = decimate(l.seq, x, l.factor)
		m := len(l.seq)
		l.seq = l.seq[:l.fft.Len()]
		clear(l.seq[m:])
		l.fft.Forward(l.spec, l.seq)
		for k := range l.spec {
			l.spec[k] *= l.inverse[k]
		}
		l.fft.Inverse(l.seq, l.spec)
		power := 0.0
		for _, v := range l.seq {
			power += v * v
		}
		if power == 0 {
			continue
		}
		for i, v := range l.seq {
			l.energy[i] += v * v / power // every channel counts the same
		}
	}
	return l.pick(total)
}

// pick reads the repeats off the energy trace.
func (l *locator) pick(total int) found {
	c, e := l.c, l.energy
	period := float64(c.period) / float64(l.factor)
	size := len(e)
	wrap := func(i int) int { return ((i % size) + size) % size }
	best := 0
	for i, v := range e {
		if v > e[best] {
			best = i
		}
	}
	if e[best] == 0 {
		return found{missing: c.repeats}
	}
	// near returns the strongest sample about a place, allowing for clocks
	// that differ by up to 0.1 %.
	near := func(centre float64, steps int) int {
		r := 3 + int(0.001*period*math.Abs(float64(steps)))
		at := int(math.Round(centre))
		top := at
		for i := at - r; i <= at+r; i++ {
			if e[wrap(i)] > e[wrap(top)] {
				top = i
			}
		}
		return top
	}
	// A lag past the recording's end stands for one before its start.
	first := best
	if first > (total+l.factor-1)/l.factor {
		first -= size
	}
	type place struct {
		at    int
		power float64
	}
	places := make([]place, 0, 2*c.repeats-1)
	for j := -(c.repeats - 1); j < c.repeats; j++ {
		at := near(float64(first)+float64(j)*period, j)
		pw := 0.0
		if at > -len(l.x) && at*l.factor < total {
			pw = e[wrap(at)]
		}
		places = append(places, place{at, pw})
	}
	from, most := 0, -1.0
	for j := 0; j < c.repeats; j++ {
		sum := 0.0
		for _, p := range places[j : j+c.repeats] {
			sum += math.Sqrt(p.power) // amplitudes: no single repeat decides
		}
		if sum > most {
			from, most = j, sum
		}
	}
	var out found
	used, rest := 0.0, 0.0
	for _, p := range places[from : from+c.repeats] {
		if p.power < 0.02*e[best] {
			out.missing++
			continue
		}
		start := float64(l.factor) * (float64(p.at) + peakOffset(math.Sqrt(e[wrap(p.at-1)]), math.Sqrt(e[wrap(p.at)]), math.Sqrt(e[wrap(p.at+1)])))
		// A few samples of latency error may put a whole sweep's first
		// samples, faded to nothing, before the recording.
		if start < -float64(c.preroll) || start+float64(len(c.x)) > float64(total)+float64(c.preroll) {
			out.cut++
			if len(out.start) == 0 {
				out.quiet = max(0, int(start)+c.period)
			}
			continue
		}
		out.start = append(out.start, start)
		for i := p.at - 8; i <= p.at+8; i++ {
			used = max(used, e[wrap(i)])
		}
	}
	for _, v := range e {
		rest += v
	}
	out.clarity = used / (rest / float64(size))
	return out
}

// peakOffset returns where the parabola through three equidistant values has
// its top, relative to the middle one, within ±0.5.
func peakOffset(a, b, c float64) float64 {
	den := a - 2*b + c
	if den >= 0 {
		return 0
	}
	return max(-0.5, min(0.5, 0.5*(a-c)/den))
}
