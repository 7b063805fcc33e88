package capture

import (
	"fmt"
	"math"
	"math/cmplx"
)

// ProcessSamples turns one recording into responses. channels holds the
// recording's channels, full scale 1; it is only read. An error says that the
// recording does not fit the setup (channels, length); whatever else is
// wrong with it is a finding in Recording.Quality, and a recording with a
// refusal has no valid band.
func (p *Processor) ProcessSamples(channels [][]float64, rateHz float64) (Recording, error) {
	rec := Recording{LevelUnit: p.levelUnit(), Repeats: 0}
	for e := range rec.Ears {
		rec.Ears[e] = p.emptyResponse()
	}
	for i, ch := range p.channel {
		if ch >= len(channels) {
			return rec, fmt.Errorf("capture: the recording has %d channels and the %s is to be channel %d: mend the channel numbers of the study, or record again",
				len(channels), channelNames[i], ch+1)
		}
	}
	total := len(channels[0])
	for i, x := range channels {
		if len(x) != total {
			return rec, fmt.Errorf("capture: channel %d has %d samples, channel 1 has %d", i+1, len(x), total)
		}
	}
	if total == 0 {
		return rec, fmt.Errorf("capture: the recording is empty: record again")
	}
	t := p.take(&rec, channels)
	if rateHz != p.rate {
		t.refuseRate(rateHz)
		return rec, nil
	}
	t.run()
	return rec, nil
}

// take starts the work on one recording whose channels fit the setup.
func (p *Processor) take(rec *Recording, channels [][]float64) *take {
	t := &take{p: p, rec: rec, total: len(channels[0])}
	for i, ch := range p.channel {
		if ch >= 0 {
			t.x[i] = channels[ch]
		}
	}
	return t
}

var channelNames = [3]string{"left", "right", "loopback"}

// The roles of the channels, as indices.
const (
	left = iota
	right
	loopback
	roles
)

// take is the work on one recording.
type take struct {
	p     *Processor
	rec   *Recording
	total int
	x     [roles][]float64 // nil where there is none
	found found
	index []int     // which repeat each found start is, counted from the first found
	cut   []int     // first sample of each repeat's segment
	shift []float64 // what remains to align each repeat with the first, in samples
	keep  []float64 // weight of each repeat, sum 1; 0 for a dropped one

	ratio   float64 // recorder's clock over the player's, as allowed for
	refGain float64 // loopback over digital excitation, or 1

	peak   [roles]float64 // of the samples
	spoilt [roles]bool    // clipped or cut flat
}

// run does everything there is to do with one recording.
func (t *take) run() {
	t.checkSamples()
	t.locate()
	if !t.checkFound() {
		return
	}
	t.measure()
	t.checkResponses()
}

// locate finds the repeats, in the loopback when there is one.
func (t *take) locate() {
	if x := t.x[loopback]; x != nil {
		t.found = t.p.find.locate(x)
	} else {
		t.found = t.p.find.locate(t.ears()...)
	}
	t.rec.Repeats = len(t.found.start)
}

// measure makes the responses from the repeats that were found.
func (t *take) measure() {
	t.place()
	t.transform()
	t.align()
	t.clock()
	t.divide()
	t.weigh()
	for e := range t.rec.Ears {
		if t.x[e] != nil {
			t.respond(Ear(e))
		}
	}
}

// ears lists the channels of the ears that are there.
func (t *take) ears() [][]float64 {
	var out [][]float64
	for _, x := range t.x[:2] {
		if x != nil {
			out = append(out, x)
		}
	}
	return out
}

// place turns the starts into whole samples to cut at.
func (t *take) place() {
	t.index, t.cut = t.index[:0], t.cut[:0]
	for _, s := range t.found.start {
		t.cut = append(t.cut, int(math.Round(s))-t.p.preroll)
		t.index = append(t.index, int(math.Round((s-t.found.start[0])/float64(t.p.period))))
	}
	t.shift = make([]float64, len(t.cut))
	t.keep = make([]float64, len(t.cut))
	for k := range t.keep {
		t.keep[k] = 1 / float64(len(t.keep))
	}
}

// spectrum returns the buffer for repeat k of a channel.
func (t *take) spectrum(k, role int) []complex128 {
	b := &t.p.buf
	i := k*roles + role
	for len(b.spectra) <= i {
		b.spectra = append(b.spectra, nil)
	}
	if b.spectra[i] == nil {
		b.spectra[i] = make([]complex128, t.p.fft.Bins())
	}
	return b.spectra[i]
}

// transform cuts every repeat out of every channel and takes its spectrum.
// Levels of the sweep at the microphone are read off on the way.
func (t *take) transform() {
	p := t.p
	t.rec.SoundSeconds = float64(len(t.cut)*len(p.x)) / p.rate
	for role, x := range t.x {
		if x == nil {
			continue
		}
		offset := t.offset(x)
		for k, from := range t.cut {
			seg := p.buf.segment
			low := min(max(0, -from), p.segment)
			high := max(low, min(p.segment, t.total-from))
			clear(seg[:low])
			clear(seg[high:])
			for i, v := range x[from+low : from+high] {
				seg[low+i] = v - offset
			}
			p.fft.Forward(t.spectrum(k, role), seg)
		}
		// The repeats have the same level, and the first tells it.
		var flat, weighted float64
		for i, v := range t.spectrum(0, role) {
			e := real(v)*real(v) + imag(v)*imag(v)
			flat += e
			weighted += e * p.aWeight[i]
		}
		if role == loopback {
			t.refGain = math.Sqrt(flat / p.energy)
			continue
		}
		// Parseval, over the length of the sweep.
		scale := 2 / float64(p.n) / float64(len(p.x))
		ear := &t.rec.Ears[role]
		if pa := p.setup.Microphones[role].PaPerUnit; pa > 0 {
			scale *= pa * pa / (referencePa * referencePa)
		} else {
			scale *= 2 // a full-scale sine is 0 dB (AES17)
		}
		ear.SweepLevelDB, ear.SweepLevelA = decibels(flat*scale), decibels(weighted*scale)
	}
	if t.x[loopback] == nil {
		t.refGain = 1
	}
}

func energy(s []complex128) float64 {
	sum := 0.0
	for _, v := range s {
		sum += real(v)*real(v) + imag(v)*imag(v)
	}
	return sum
}

// leadRange returns the samples before the first repeat that hold nothing but
// noise: the last leadSeconds at most, since the start of a recording often has
// the operator in it. The range is empty when there are fewer than 0.1 s.
func (t *take) leadRange() (from, to int) {
	guard := int(0.01 * t.p.rate)
	to = t.cut[0] - guard
	from = max(guard, t.found.quiet, to-int(leadSeconds*t.p.rate))
	if to-from < int(0.1*t.p.rate) {
		return 0, 0
	}
	return from, to
}

const leadSeconds = 3

// offset returns the d.c. offset of a channel, from the lead silence.
func (t *take) offset(x []float64) float64 {
	from, to := t.leadRange()
	if to == from {
		return 0
	}
	sum := 0.0
	for _, v := range x[from:to] {
		sum += v
	}
	return sum / float64(to-from)
}

// divide turns the spectra of the ears into responses, repeat by repeat.
func (t *take) divide() {
	p := t.p
	inverse := p.buf.inverse
	clear(p.buf.power2)
	for k := range t.cut {
		var reference []complex128
		if t.x[loopback] != nil {
			reference = t.spectrum(k, loopback)
		} else {
			reference = t.reference()
		}
		if k == 0 || t.x[loopback] != nil {
			p.invert(inverse, reference)
			p.buf.reach = p.buf.reach[:0]
			for i := range min(len(inverse), int(p.lowHz/p.rate*float64(p.n))+2) {
				p.buf.reach = append(p.buf.reach, real(inverse[i]*reference[i]))
			}
			for i := range p.buf.power2 {
				g := inverse[i] * reference[i]
				if t.x[loopback] != nil {
					g /= complex(float64(len(t.cut)), 0)
				}
				p.buf.power2[i] += real(g)
			}
		}
		for e := range 2 {
			if t.x[e] == nil {
				continue
			}
			h := t.spectrum(k, e)
			if t.x[loopback] == nil && t.shift[k] != 0 {
				advance(h, t.shift[k], p.n)
			}
			for i, g := range inverse {
				h[i] *= g
			}
			if c := p.correct[e]; c != nil {
				for i := range h {
					h[i] *= c[i]
				}
			}
		}
	}
}

// invert writes the regularised inverse of the reference spectrum,
// conj(R)/(|R|² + ε). ε is 0 where the excitation has content and grows
// outside so that the quotient falls off as the pass band does, whatever noise
// the reference has there.
func (p *Processor) invert(dst, reference []complex128) {
	if p.smooth != nil {
		for k, s := range smoothPower(reference, p.smoothWidth()) {
			dst[k] = 0
			if g := p.pass[k]; g > 0 && s > 0 {
				dst[k] = complex(real(reference[k])*g/s, -imag(reference[k])*g/s)
			}
		}
		return
	}
	step := p.rate / float64(p.n)
	around := func(f float64) float64 {
		a := max(1, int(f/1.03/step))
		b := min(len(reference), int(f*1.03/step)+2)
		return energy(reference[a:b]) / float64(b-a)
	}
	low, high := around(p.lowHz*1.1), around(p.highHz/1.1)
	for k, r := range reference {
		g := p.pass[k]
		if g == 0 {
			dst[k] = 0
			continue
		}
		e := real(r)*real(r) + imag(r)*imag(r)
		if g < 1 {
			edge := low
			if float64(k)*step > p.highHz {
				edge = high
			}
			e += edge * (1/g - 1)
		}
		if e == 0 {
			dst[k] = 0
			continue
		}
		dst[k] = complex(real(r)/e, -imag(r)/e)
	}
}

// advance moves a signal of n samples earlier by shift samples.
func advance(s []complex128, shift float64, n int) {
	// The rotation is advanced by multiplication and set anew every 256 bins,
	// which keeps its error below 1e-13.
	phase := 2 * math.Pi * shift / float64(n)
	step := cmplx.Rect(1, phase)
	var r complex128
	for k := range s {
		if k%256 == 0 {
			r = cmplx.Rect(1, phase*float64(k))
		}
		s[k] *= r
		r *= step
	}
}
