package capture

import (
	"fmt"
	"math"
	"slices"

	"asworn/capture/exposure"
	"asworn/capture/study"
)

// ProcessSamples turns one recording into responses. channels holds the
// recording's channels, full scale 1; it is only read. An error says that the
// recording does not fit the setup (channels, length); whatever else is
// wrong with it is a finding in Recording.Quality, and a recording with a
// refusal has no valid band.
func (p *Processor) ProcessSamples(channels [][]float64, rateHz float64) (Recording, error) {
	defer p.hold()()
	return p.process(channels, rateHz)
}

func (p *Processor) process(channels [][]float64, rateHz float64) (Recording, error) {
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

	played  []complex128 // spectrum of the excitation as the recorder's clock saw it, without a loopback
	inverse [2][]float64 // per ear and band, the mean power of what the ear's spectrum was multiplied by

	ratio   float64 // recorder's clock over the player's, as allowed for
	refGain float64 // loopback over digital excitation, or 1

	peak   [roles]float64 // of the samples
	spoilt [roles]bool    // clipped or cut flat
}

// run does everything there is to do with one recording.
func (t *take) run() {
	var found [roles][]Finding
	t.p.share(1+roles, func(_ *desk, i int) {
		if i == 0 {
			t.locate()
		} else {
			found[i-1] = t.checkSamples(i - 1)
		}
	})
	t.add(slices.Concat(found[:]...)...)
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
	t.p.share(1+len(t.rec.Ears), func(d *desk, i int) {
		if i == 0 {
			t.weigh(d)
		} else {
			t.averageInverse(d, study.Ear(i-1))
		}
	})
	t.p.share(len(t.rec.Ears), func(d *desk, e int) {
		if t.x[e] != nil {
			t.respond(d, study.Ear(e))
		}
	})
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
func (t *take) spectrum(k, role int) []complex128 { return t.p.buf.spectra[k*roles+role] }

// part is one repeat of one channel.
type part struct{ k, role int }

// parts lists the parts of a recording that there are.
func (t *take) parts() (out []part) {
	for role, x := range t.x {
		for k := range t.cut {
			if x != nil {
				out = append(out, part{k, role})
			}
		}
	}
	return out
}

// transform cuts every repeat out of every channel and takes its spectrum.
// Levels of the sweep at the microphone are read off on the way.
func (t *take) transform() {
	p := t.p
	t.rec.SoundSeconds = float64(len(t.cut)*len(p.x)) / p.rate
	t.refGain = 1
	parts := t.parts()
	for len(p.buf.spectra) < len(t.cut)*roles {
		p.buf.spectra = append(p.buf.spectra, nil)
	}
	p.share(len(parts), func(d *desk, i int) {
		k, role := parts[i].k, parts[i].role
		s := &p.buf.spectra[k*roles+role]
		if *s == nil {
			*s = make([]complex128, p.bins())
		}
		t.cutOut(d.segment, k, role)
		d.fft.Forward(*s, d.segment)
		if k == 0 { // the repeats have the same level, and the first tells it
			t.readLevel(*s, role)
		}
	})
}

// cutOut copies a repeat, its d.c. taken off, and zeros beyond the recording.
func (t *take) cutOut(seg []float64, k, role int) {
	from, offset := t.cut[k], t.offset(t.x[role])
	low := min(max(0, -from), t.p.segment)
	high := max(low, min(t.p.segment, t.total-from))
	clear(seg[:low])
	clear(seg[high:])
	for i, v := range t.x[role][from+low : from+high] {
		seg[low+i] = v - offset
	}
}

// readLevel reads the level of the sweep off the spectrum of a repeat.
func (t *take) readLevel(s []complex128, role int) {
	p := t.p
	flat := energy(s)
	if role == loopback {
		t.refGain = math.Sqrt(flat / p.energy)
		return
	}
	weighted := 0.0
	for i, v := range s {
		weighted += (real(v)*real(v) + imag(v)*imag(v)) * p.aWeight[i]
	}
	// Parseval, over the length of the sweep.
	scale := 2 / float64(p.n) / float64(len(p.x))
	ear := &t.rec.Ears[role]
	if pa := p.setup.Microphones[role].PaPerUnit; pa > 0 {
		scale *= pa * pa / (exposure.ReferencePa * exposure.ReferencePa)
	} else {
		scale *= 2 // a full-scale sine is 0 dB (AES17)
	}
	ear.SweepLevelDB, ear.SweepLevelA = decibels(flat*scale), decibels(weighted*scale)
}

// energy adds up in two parts, which do not wait for each other.
func energy(s []complex128) float64 {
	var re, im float64
	for _, v := range s {
		re += real(v) * real(v)
		im += imag(v) * imag(v)
	}
	return re + im
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
	return sum(x[from:to]) / float64(to-from)
}
