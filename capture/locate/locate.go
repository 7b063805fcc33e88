// Package locate finds the repeats of an excitation in a recording. It does not
// know what comes of them.
package locate

import (
	"math"

	"asworn/capture/deconv"
	"asworn/capture/samples"
)

// Target is what a locator looks for.
type Target struct {
	X       []float64 // one repeat of the excitation, full scale 1, at RateHz
	RateHz  float64
	LowHz   float64 // edges of the band in which it has content
	HighHz  float64
	Repeats int
	Period  int // samples from one repeat to the next
	Preroll int // samples by which a repeat may begin before the recording or end behind it
}

// A locator finds where the repeats start, to within a sample or two, at a
// rate decimated to a few kilohertz: the recording is divided by the
// excitation there, so that each repeat becomes one short pulse whatever the
// playback latency was.
type Locator struct {
	c      Target
	factor int       // decimation
	x      []float64 // the decimated excitation
	low    float64   // the band it looks at, Hz
	high   float64

	fft     *deconv.FFT // for recordings about as long as the last
	inverse []complex128
	seq     []float64
	spec    []complex128
	energy  []float64
}

// decimatedRateHz is the least rate the locator works at.
const decimatedRateHz = 1500

// New returns a locator of what c describes. One goroutine may use it at a time.
func New(c Target) *Locator {
	l := &Locator{c: c, factor: 1}
	for c.RateHz/float64(2*l.factor) >= decimatedRateHz {
		l.factor *= 2
	}
	// An excitation without bass is looked for at a higher rate.
	for l.factor > 1 && c.LowHz > 0.1*c.RateHz/float64(l.factor) {
		l.factor /= 2
	}
	rate := c.RateHz / float64(l.factor)
	l.high = min(0.4*rate, c.HighHz)
	l.low = max(c.LowHz, 0.05*rate)
	l.x = samples.Decimate(nil, c.X, l.factor)
	return l
}

// Clone returns a locator for another goroutine, which shares what is looked for.
func (l *Locator) Clone() *Locator {
	return &Locator{c: l.c, factor: l.factor, x: l.x, low: l.low, high: l.high}
}

// Found is where the repeats lie.
type Found struct {
	Start   []float64 // expected sample of each repeat's first sample, ascending
	Clarity float64   // pulse over the rest of the trace, a power ratio
	Cut     int       // repeats that begin but are not whole in the recording
	Missing int       // repeats without a trace
	Quiet   int       // first sample that no repeat before the first whole one reaches
}

// prepare sets the transforms for recordings of n decimated samples.
func (l *Locator) prepare(n int) {
	need := deconv.FastLen(n + len(l.x))
	if l.fft != nil && l.fft.Len() == need {
		return // another length would do, but what is found would depend on the recording before
	}
	l.fft = deconv.NewFFT(need)
	l.seq = make([]float64, need)
	l.spec = make([]complex128, l.fft.Bins())
	l.inverse = make([]complex128, l.fft.Bins())
	l.energy = make([]float64, need)
	copy(l.seq, l.x)
	l.fft.Forward(l.inverse, l.seq)
	step := l.c.RateHz / float64(l.factor) / float64(need)
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

// Locate finds the repeats in the given channels together. Each channel is one slice of
// samples at RateHz, all of one length, at least one channel; they are only read.
func (l *Locator) Locate(channels ...[]float64) Found {
	total := len(channels[0])
	n := (total + l.factor - 1) / l.factor
	l.prepare(n)
	clear(l.energy)
	for _, x := range channels {
		l.seq = samples.Decimate(l.seq, x, l.factor)
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
func (l *Locator) pick(total int) Found {
	best := 0
	for i, v := range l.energy {
		if v > l.energy[best] {
			best = i
		}
	}
	if l.energy[best] == 0 {
		return Found{Missing: l.c.Repeats}
	}
	var out Found
	var used float64
	for _, p := range l.strongest(l.places(best, total)) {
		if p.power < 0.02*l.energy[best] {
			out.Missing++
			continue
		}
		start := float64(l.factor) * (float64(p.at) + samples.PeakOffset(math.Sqrt(l.about(p.at-1)), math.Sqrt(l.about(p.at)), math.Sqrt(l.about(p.at+1))))
		// A few samples of latency error may put a whole sweep's first
		// samples, faded to nothing, before the recording.
		if c := &l.c; start < -float64(c.Preroll) || start+float64(len(c.X)) > float64(total)+float64(c.Preroll) {
			out.Cut++
			if len(out.Start) == 0 {
				out.Quiet = max(0, int(start)+c.Period)
			}
			continue
		}
		out.Start = append(out.Start, start)
		for i := p.at - 8; i <= p.at+8; i++ {
			used = max(used, l.about(i))
		}
	}
	rest := 0.0
	for _, v := range l.energy {
		rest += v
	}
	out.Clarity = used / (rest / float64(len(l.energy)))
	return out
}

// place is where a repeat may begin, in samples of energy, and the energy there.
type place struct {
	at    int
	power float64
}

// about is the energy at a lag, which may lie before the start or past the end.
func (l *Locator) about(i int) float64 {
	n := len(l.energy)
	return l.energy[((i%n)+n)%n]
}

// places are where the repeats before and after the strongest one may begin; those outside
// the recording have no power.
func (l *Locator) places(best, total int) []place {
	period := float64(l.c.Period) / float64(l.factor)
	// A lag past the recording's end stands for one before its start.
	first := best
	if first > (total+l.factor-1)/l.factor {
		first -= len(l.energy)
	}
	places := make([]place, 0, 2*l.c.Repeats-1)
	for j := -(l.c.Repeats - 1); j < l.c.Repeats; j++ {
		// The strongest sample about there, allowing for clocks that differ by up to 0.1 %.
		r := 3 + int(0.001*period*math.Abs(float64(j)))
		centre := int(math.Round(float64(first) + float64(j)*period))
		at := centre
		for i := centre - r; i <= centre+r; i++ {
			if l.about(i) > l.about(at) {
				at = i
			}
		}
		power := 0.0
		if at > -len(l.x) && at*l.factor < total {
			power = l.about(at)
		}
		places = append(places, place{at, power})
	}
	return places
}

// strongest are as many places one after the other as there are repeats.
func (l *Locator) strongest(places []place) []place {
	from, most := 0, -1.0
	for j := range l.c.Repeats {
		sum := 0.0
		for _, p := range places[j : j+l.c.Repeats] {
			sum += math.Sqrt(p.power) // amplitudes: no single repeat decides
		}
		if sum > most {
			from, most = j, sum
		}
	}
	return places[from : from+l.c.Repeats]
}

// Clarity returns the highest of the last trace over its mean. It is a ratio, 0 before
// Locate or of silence.
func (l *Locator) Clarity() float64 {
	top, sum := 0.0, 0.0
	for _, v := range l.energy {
		top, sum = max(top, v), sum+v
	}
	if sum == 0 {
		return 0
	}
	return top / sum * float64(len(l.energy))
}

// UnclearPattern is the clarity, a ratio, below which nothing was found. Common practice,
// no source.
const UnclearPattern = 30.0
