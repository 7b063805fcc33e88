package take

import (
	"math"

	"asworn/capture/deconv"
	"asworn/capture/exposure"
	"asworn/capture/response"
	"asworn/capture/samples"
)

// Silences returns the ranges of samples in which nothing was played: before
// the first repeat, between the repeats and after the last, each long enough
// to tell hum.
func (t *Take) Silences() (out [][2]int) {
	least, guard := int(silenceSeconds*t.Bench.RateHz), int(0.01*t.Bench.RateHz)
	add := func(from, to int) {
		if to = min(to, t.Total); to-from >= least {
			out = append(out, [2]int{from, to})
		}
	}
	if from, to := t.LeadRange(); to > from {
		add(from, to)
	}
	for k, cut := range t.Cut {
		from := cut + t.Bench.Preroll + len(t.Bench.X) + int(decaySeconds*t.Bench.RateHz)
		to := t.Total - guard
		if k+1 < len(t.Cut) {
			to = t.Cut[k+1] - guard
		}
		// Of several whole periods without a repeat only the first gap is known
		// to be silent.
		add(from, min(to, cut+t.Bench.Preroll+t.Bench.Period-guard, from+int(LeadSeconds*t.Bench.RateHz)))
	}
	return out
}

// NoiseOfSilence returns the standard deviation of the first silence of a channel, 0 when
// there is none. It is in sample values, full scale 1.
func (t *Take) NoiseOfSilence(x []float64) float64 {
	quiet := t.Silences()
	if len(quiet) == 0 {
		return 0
	}
	var sum, square float64
	q := x[quiet[0][0]:quiet[0][1]]
	for _, v := range q {
		sum += v
		square += v * v
	}
	n := float64(len(q))
	return math.Sqrt(math.Max(0, square/n-sum*sum/n/n))
}

// Transform cuts every repeat out of every channel and takes its spectrum.
// Levels of the sweep at the microphone are read off on the way.
func (t *Take) Transform() {
	p := t.Bench
	t.Rec.SoundSeconds = float64(len(t.Cut)*len(p.X)) / p.RateHz
	t.refGain = 1
	parts := t.Parts()
	for len(p.Buf.spectra) < len(t.Cut)*Roles {
		p.Buf.spectra = append(p.Buf.spectra, nil)
	}
	p.Share(len(parts), func(d *Desk, i int) {
		k, role := parts[i].Repeat, parts[i].Role
		s := &p.Buf.spectra[k*Roles+role]
		if *s == nil {
			*s = make([]complex128, p.Bins())
		}
		seg, offset := t.cutOut(d, k, role)
		d.FFT.ForwardLess(*s, seg, offset)
		if k == 0 { // the repeats have the same level, and the first tells it
			t.readLevel(*s, role)
		}
	})
}

// cutOut returns a repeat, which zeros follow, and its d.c.
func (t *Take) cutOut(d *Desk, k, role int) (seg []float64, offset float64) {
	from, to := t.Cut[k], min(t.Cut[k]+t.Bench.Segment, t.Total)
	offset = t.offset(t.X[role])
	if from >= 0 {
		return t.X[role][min(from, to):to], offset
	}
	seg = d.Segment[:t.Bench.Segment] // it begins before the recording
	for i := range seg {
		if seg[i] = offset; from+i >= 0 && from+i < to {
			seg[i] = t.X[role][from+i]
		}
	}
	return seg, offset
}

// readLevel reads the level of the sweep off the spectrum of a repeat.
func (t *Take) readLevel(s []complex128, role int) {
	p := t.Bench
	if role == Loopback {
		share := deconv.Energy(s) / p.Energy
		t.refGain = math.Sqrt(share)
		level := response.Decibels(share)
		t.Rec.LoopbackDB = &level
		return
	}
	flat, weighted := deconv.Energy(s), deconv.WeightedEnergy(s, p.AWeight)
	// Parseval, over the length of the sweep.
	scale := 2 / float64(p.N) / float64(len(p.X))
	ear := &t.Rec.Ears[role]
	if pa := p.Setup.Microphones[role].PaPerUnit; pa > 0 {
		scale *= pa * pa / (exposure.ReferencePa * exposure.ReferencePa)
	} else {
		scale *= 2 // a full-scale sine is 0 dB (AES17)
	}
	ear.SweepLevelDB, ear.SweepLevelA = response.Decibels(flat*scale), response.Decibels(weighted*scale)
}

// LeadRange returns the samples before the first repeat that hold nothing but
// noise: the last leadSeconds at most, since the start of a recording often has
// the operator in it. The range is empty when there are fewer than 0.1 s.
func (t *Take) LeadRange() (from, to int) {
	guard := int(0.01 * t.Bench.RateHz)
	to = t.Cut[0] - guard
	from = max(guard, t.Found.Quiet, to-int(LeadSeconds*t.Bench.RateHz))
	if to-from < int(0.1*t.Bench.RateHz) {
		return 0, 0
	}
	return from, to
}

// LeadSeconds is how much of the silence before the first repeat is looked at, at most,
// in seconds. Common practice, no source.
const LeadSeconds = 3

// offset returns the d.c. offset of a channel, from the lead silence.
func (t *Take) offset(x []float64) float64 {
	from, to := t.LeadRange()
	if to == from {
		return 0
	}
	return samples.Sum(x[from:to]) / float64(to-from)
}

// Silences about the sweeps. Common practice, no source.
const (
	decaySeconds   = 0.15 // after a sweep, until the room is quiet
	silenceSeconds = 0.1  // least length of a silence
)

// Sweeps returns the ranges of samples of the repeats that were found, two at most, as
// far as they are in the file.
func (t *Take) Sweeps() (out [][2]int) {
	for _, cut := range t.Cut[:min(2, len(t.Cut))] {
		start := cut + t.Bench.Preroll
		if from, to := max(0, start), min(t.Total, start+len(t.Bench.X)); from < to {
			out = append(out, [2]int{from, to})
		}
	}
	return out
}
