package check

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/window"

	"asworn/capture/deconv"
	"asworn/capture/finding"
	"asworn/capture/samples"
	"asworn/capture/take"
)

// checkBackground looks at what an ear's channel holds beside the sweep. The
// noise of a microphone and a room is the same whether the sweep sounds or not: a
// gate takes it away from the silences, a lossy coder from under the sweep and
// from the highest frequencies.
func checkBackground(t *take.Take, role int) []finding.Finding {
	if t.X[role] == nil || !t.Bench.Design || t.Spoilt[role] {
		return nil
	}
	b, ok := backgroundOf(t, role)
	if !ok {
		return nil
	}
	name := take.ChannelNames[role]
	if b.below.over(0.5, gateDB) && b.above.over(0.5, gateDB) {
		least := min(b.below.quantile(0.5), b.above.quantile(0.5))
		return []finding.Finding{finding.New(finding.NoiseGate,
			fmt.Sprintf("the background is %.0f dB quieter in the silences than during the sweep: a noise gate, an expander or noise reduction was at work, or silence was cut in; the stated noise is too low", least)).
			On(name).Of(least, "dB")}
	}
	if drop, hz := b.cut(); drop > cutDB {
		return []finding.Finding{finding.New(finding.LossyCoding,
			fmt.Sprintf("the noise ends at %.1f kHz, where it falls by %.0f dB: the recording went through a lossy coder (MP3, AAC and the like) or a converter of a lower rate", hz/1000, drop)).
			On(name).Of(drop, "dB")}
	}
	if len(b.beside) >= 200 && !b.beside.over(0.05, holeDB) {
		hole := b.beside.quantile(0.05)
		return []finding.Finding{finding.New(finding.LossyCoding,
			fmt.Sprintf("beside the sweep there are holes of %.0f dB in the noise: the recording went through a lossy coder (MP3, AAC and the like) or noise reduction", -hole)).
			On(name).Of(-hole, "dB")}
	}
	return nil
}

// background is what a channel holds beside the sweep, by frames of about 20 ms.
type background struct {
	hz    float64   // of a bin
	least float64   // power per bin that the word length alone gives
	quiet []float64 // power per bin in the silences, median over the frames, at least the former
	// Powers during the sweep over those of quiet: far below its frequency, where a
	// room has long decayed; far above its low harmonics; and between it and its second
	// harmonic.
	below, above, beside ratios
}

// ratios are of powers, in no order.
type ratios []float64

// over reports whether a quantile of twenty or more lies over a level in decibels.
// They are counted, not sorted: there are a hundred thousand, and it hardly ever does.
func (r ratios) over(q, db float64) bool {
	limit, up := math.Pow(10, db/10), 0
	for _, v := range r {
		if v > limit {
			up++
		}
	}
	return len(r) >= 20 && len(r)-up <= rank(r, q)
}

// quantile sorts them, and is in decibels.
func (r ratios) quantile(q float64) float64 {
	slices.Sort(r)
	return 10 * math.Log10(r[rank(r, q)])
}

// rank is that of a quantile, from 0.
func rank(r ratios, q float64) int { return int(q * float64(len(r)-1)) }

// backgroundOf is not ok without silences.
func backgroundOf(t *take.Take, role int) (b background, ok bool) {
	p, x := t.Bench, t.X[role]
	n := deconv.FastLen(int(frameSeconds * p.RateHz))
	fft, win := deconv.NewFFT(n), window.NewValues(window.BlackmanHarris, n+1)[:n]
	seq, spec, power := make([]float64, n), make([]complex128, fft.Bins()), make([]float64, fft.Bins())
	transform := func(at int) []float64 {
		offset := samples.Sum(x[at:at+n]) / float64(n)
		for i, w := range win {
			seq[i] = w * (x[at+i] - offset)
		}
		fft.Forward(spec, seq)
		for k, v := range spec {
			power[k] = real(v)*real(v) + imag(v)*imag(v)
		}
		return power
	}
	b.hz = p.RateHz / float64(n)
	step := max(gridOf(x), math.Pow(2, -24)*t.Peak[role])
	for _, w := range win {
		b.least += w * w * step * step / 12
	}
	if b.quiet = quietOf(t.Silences(), n, transform); b.quiet == nil {
		return b, false
	}
	for k, v := range b.quiet {
		b.quiet[k] = max(v, b.least)
	}
	d := p.Setup.Sweep
	for _, cut := range t.Cut[:min(2, len(t.Cut))] {
		start := cut + p.Preroll
		for at := max(0, start); at+n <= min(start+len(p.X), len(x)); at += n {
			now := d.StartHz * math.Exp((float64(at-start)+float64(n)/2)/p.RateHz/d.Rate())
			b.sort(transform(at), now, p.RateHz)
		}
	}
	return b, true
}

// sort tells where the bins of a frame lie beside a sweep that is at now hertz.
func (b *background) sort(power []float64, now, rate float64) {
	spill := slices.Max(power) * math.Pow(10, spillDB/10)
	for k := int(math.Ceil(besideFromHz / 10 / b.hz)); k < len(power); k++ {
		hz, v := float64(k)*b.hz, max(power[k], 1e-3*b.least)
		switch {
		case hz > besideTo*rate:
			return
		case hz < now/8:
			b.below = append(b.below, v/max(b.quiet[k], spill))
		case hz > 12*now+besideFromHz/5:
			b.above = append(b.above, v/max(b.quiet[k], spill))
		case hz > besideFromHz && hz > 1.2*now+4*b.hz && hz < 1.75*now-4*b.hz && b.quiet[k] > 4*b.least:
			b.beside = append(b.beside, v/b.quiet[k])
		}
	}
}

// cut is by how many decibels the noise of the silences falls within two blocks of
// bins, where it stays down up to the limit of the converter, and at which frequency.
func (b background) cut() (drop, hz float64) {
	const wide, before = 7, 4
	var level []float64 // of the blocks, dB
	for k := wide; float64(k+wide)*b.hz < cutTo*b.hz*2*float64(len(b.quiet)-1); k += wide {
		level = append(level, 10*math.Log10(samples.Median(slices.Clone(b.quiet[k:k+wide]))))
	}
	for i := max(before, len(level)/3); i+1+before <= len(level); i++ {
		under := slices.Max(level[i+1:])
		if d := slices.Min(level[i-before:i]) - under; d > drop {
			drop, hz = d, float64(wide*(i+1))*b.hz
		}
	}
	return drop, hz
}

// quietOf is the median power per bin over frames of the silences, evenly spread;
// nil of fewer than eight.
func quietOf(silences [][2]int, n int, transform func(at int) []float64) []float64 {
	var at []int
	for _, q := range silences {
		for i := q[0]; i+n <= q[1]; i += n / 2 {
			at = append(at, i)
		}
	}
	if len(at) < 8 {
		return nil
	}
	most := min(len(at), quietFrames)
	frames := make([][]float64, most)
	for i := range frames {
		frames[i] = slices.Clone(transform(at[i*len(at)/most]))
	}
	out, column := make([]float64, n/2+1), make([]float64, most)
	for k := range out {
		for i, f := range frames {
			column[i] = f[k]
		}
		out[k] = samples.Median(column)
	}
	return out
}

// gridOf is the step of the samples: 2⁻¹⁵ of 16 bits, 0 of what is on no grid of 24.
func gridOf(x []float64) float64 {
	const finest = 1 << 23
	var all int64
	for _, v := range x {
		n := int64(v * finest)
		if float64(n) != v*finest {
			return 0
		}
		if all |= n; all&1 != 0 {
			break
		}
	}
	if all &= -all; all > 0 && all < finest { // its lowest bit
		return float64(all) / finest
	}
	return 1
}

// Limits of the background. Common practice, no source. Gaussian noise has its
// twentieth 11.3 dB below its median.
const (
	frameSeconds = 0.021
	quietFrames  = 80
	spillDB      = -105  // re the sweep's bin: what the window lets through far from it
	gateDB       = 8.0   // noise during the sweep over that of the silences
	cutDB        = 3.5   // the lowest block below an end of the noise over the highest above
	cutTo        = 0.425 // of the rate; a converter's own filter acts above
	holeDB       = -16.0 // twentieth of the powers beside the sweep
	besideFromHz = 2000.0
	besideTo     = 0.42 // of the rate
)
