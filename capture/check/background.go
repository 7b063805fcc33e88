package check

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/window"
	"gonum.org/v1/gonum/floats"

	"asworn/capture/deconv"
	"asworn/capture/finding"
	"asworn/capture/order"
	"asworn/capture/samples"
	"asworn/capture/take"
)

// checkBackground looks at what an ear's channel holds beside the sweep. The
// noise of a microphone and a room is the same whether the sweep sounds or not: a
// gate takes it away from the silences, a lossy coder from under the sweep and
// from the highest frequencies.
func checkBackground(t *take.Take, d *take.Desk, role int) []finding.Finding {
	if t.X[role] == nil || t.Spoilt[role] {
		return nil
	}
	if !t.Bench.Design {
		return checkCoded(t, d, role)
	}
	var found []finding.Finding
	for _, look := range looks {
		b, ok := backgroundOf(t, d, role, t.Silences(), look.frames)
		if !ok {
			return checkCoded(t, d, role)
		}
		if found = b.judge(t, take.ChannelNames[role], look.near); found == nil {
			return nil
		}
	}
	return found
}

// looks are how many frames of the silences are looked at, at most, and how near to a limit,
// in decibels, is near enough to go on to the next. Of most recordings a quarter of the frames
// tells that nothing is wrong; in 3,576 channels what is held against a limit changed by 2.4 dB
// at the most when all were looked at.
var looks = [2]struct {
	frames int
	near   float64
}{{quietFrames / 4, 3}, {quietFrames, 0}}

// judge reports what comes within near, in decibels, of a limit.
func (b *background) judge(t *take.Take, name string, near float64) []finding.Finding {
	heard := b.during(t, b.below, b.beside)
	below, beside := heard[0], heard[1]
	if below.over(0.5, gateDB-near) {
		if above := b.during(t, b.above)[0]; above.over(0.5, gateDB-near) {
			least := min(below.quantile(0.5), above.quantile(0.5))
			return []finding.Finding{finding.New(finding.NoiseGate,
				fmt.Sprintf("the background is %.0f dB quieter in the silences than during the sweep: a noise gate, an expander or noise reduction was at work, or silence was cut in; the stated noise is too low", least)).
				On(name).Of(least, "dB")}
		}
	}
	if end := b.checkCut(name, cutDB-near); end != nil {
		return end
	}
	if len(beside) >= 200 && !beside.over(0.05, holeDB+near) {
		hole := beside.quantile(0.05)
		return []finding.Finding{finding.New(finding.LossyCoding,
			fmt.Sprintf("beside the sweep there are holes of %.0f dB in the noise: the recording went through a lossy coder (MP3, AAC and the like) or noise reduction", -hole)).
			On(name).Of(-hole, "dB")}
	}
	return nil
}

// background is what a channel holds beside the sweep, by frames of about 20 ms.
type background struct {
	x     []float64 // the channel
	frame *deconv.Periodogram
	n     int       // samples of a frame
	hz    float64   // of a bin
	least float64   // power per bin that the word length alone gives
	quiet []float64 // power per bin in the ranges listened to, median over the frames, at least the former; up to the highest bin that is looked at
}

// ratios are of powers, in no order.
type ratios []float64

// over reports whether a quantile of twenty or more lies over a level in decibels.
// They are counted, not sorted: there are tens of thousands, and it hardly ever does.
func (r ratios) over(q, db float64) bool {
	limit, up := math.Pow(10, db/10), 0
	for _, v := range r {
		if v > limit {
			up++
		}
	}
	return len(r) >= 20 && len(r)-up <= rank(r, q)
}

// quantile puts them in another order, and is in decibels.
func (r ratios) quantile(q float64) float64 {
	return 10 * math.Log10(order.Select(r, rank(r, q)))
}

// rank is that of a quantile, from 0.
func rank(r ratios, q float64) int { return int(q * float64(len(r)-1)) }

// backgroundOf is that of ranges of samples: the silences, or the sweeps where there are none.
// Up to most frames of them count. It is not ok of less than eight.
func backgroundOf(t *take.Take, d *take.Desk, role int, ranges [][2]int, most int) (b background, ok bool) {
	b.x = t.X[role]
	b.frame = frames(t, d)
	b.n = b.frame.Size()
	b.hz = t.Bench.RateHz / float64(b.n)
	step := max(gridOf(b.x), math.Pow(2, -24)*t.Peak[role])
	for _, w := range b.frame.Window() {
		b.least += w * w * step * step / 12
	}
	if b.quiet = b.quietOf(d, ranges, most); b.quiet == nil {
		return b, false
	}
	for k, v := range b.quiet {
		b.quiet[k] = max(v, b.least)
	}
	return b, true
}

// frames are those of a desk, made when needed.
func frames(t *take.Take, d *take.Desk) *deconv.Periodogram {
	if d.Frames == nil {
		n := deconv.FastLen(int(frameSeconds * t.Bench.RateHz))
		d.Frames = deconv.NewPeriodogram(window.NewValues(window.BlackmanHarris, n+1)[:n]) // periodic
	}
	return d.Frames
}

// power writes the power per bin of the frame from a sample on.
func (b *background) power(out []float64, at int) {
	frame := b.x[at : at+b.n]
	b.frame.Power(out, frame, samples.Sum(frame)/float64(b.n))
}

// A region tells between which frequencies to listen while the sweep is at now
// hertz, and whether what the window lets through from the sweep may hide there.
type region func(now float64) (from, to float64, hidden bool)

// below lies where a room has long decayed.
func (b *background) below(now float64) (from, to float64, hidden bool) {
	return besideFromHz / 10, now / 8, true
}

// above lies above the low harmonics.
func (b *background) above(now float64) (from, to float64, hidden bool) {
	return 12*now + besideFromHz/5, math.Inf(1), true
}

// beside lies between the sweep and its second harmonic.
func (b *background) beside(now float64) (from, to float64, hidden bool) {
	return max(besideFromHz, 1.2*now+4*b.hz), 1.75*now - 4*b.hz, false
}

// during returns, of each region, the powers during the sweep over those of the
// silences.
func (b *background) during(t *take.Take, regions ...region) []ratios {
	p, d := t.Bench, t.Bench.Setup.Sweep
	out, power := make([]ratios, len(regions)), make([]float64, b.n/2+1)
	for i := range out {
		out[i] = make(ratios, 0, 1<<11) // what there is of a second
	}
	for _, cut := range t.Cut[:min(2, len(t.Cut))] {
		start := cut + p.Preroll
		for at := max(0, start); at+b.n <= min(start+len(p.X), t.Total); at += b.n {
			now, spill := d.StartHz*math.Exp((float64(at-start)+float64(b.n)/2)/p.RateHz/d.Rate()), -1.0
			for i, r := range regions {
				low, high, hidden := r(now)
				from, to := int(math.Floor(low/b.hz))+1, int(math.Ceil(min(high, besideTo*p.RateHz)/b.hz))
				if from >= to {
					continue
				}
				if spill < 0 {
					b.power(power, at)
					spill = floats.Max(power) * math.Pow(10, spillDB/10)
				}
				for k := from; k < to; k++ {
					switch v := max(power[k], 1e-3*b.least); {
					case hidden:
						out[i] = append(out[i], v/max(b.quiet[k], spill))
					case b.quiet[k] > 4*b.least:
						out[i] = append(out[i], v/b.quiet[k])
					}
				}
			}
		}
	}
	return out
}

// checkCut reports an end of the noise.
func (b *background) checkCut(name string, limitDB float64) []finding.Finding {
	drop, hz := b.cut()
	if drop <= limitDB {
		return nil
	}
	return []finding.Finding{finding.New(finding.LossyCoding,
		fmt.Sprintf("the noise ends at %.1f kHz, where it falls by %.0f dB: the recording went through a lossy coder (MP3, AAC and the like) or a converter of a lower rate", hz/1000, drop)).
		On(name).Of(drop, "dB")}
}

// cut is by how many decibels the noise falls within two blocks of
// bins, where it stays down up to the limit of the converter, and at which frequency.
func (b *background) cut() (drop, hz float64) {
	const wide, before = 7, 4
	var level []float64 // of the blocks, dB
	for k := wide; float64(k+wide)*b.hz < cutTo*b.hz*float64(b.n); k += wide {
		level = append(level, 10*math.Log10(order.Median(slices.Clone(b.quiet[k:k+wide]))))
	}
	for i := max(before, len(level)/3); i+1+before <= len(level); i++ {
		under := slices.Max(level[i+1:])
		if d := slices.Min(level[i-before:i]) - under; d > drop {
			drop, hz = d, float64(wide*(i+1))*b.hz
		}
	}
	return drop, hz
}

// quietOf is the median power per bin over up to most frames of the ranges, evenly spread, up to
// the highest bin that is looked at; nil of fewer than eight.
func (b *background) quietOf(d *take.Desk, ranges [][2]int, most int) []float64 {
	var at []int
	for _, q := range ranges {
		for i := q[0]; i+b.n <= q[1]; i += b.n / 2 {
			at = append(at, i)
		}
	}
	if len(at) < 8 {
		return nil
	}
	most = min(len(at), most)
	power := make([]float64, b.n/2+1)
	out := make([]float64, int(max(besideTo, cutTo)*float64(b.n))+1)
	d.Columns = slices.Grow(d.Columns[:0], most*len(out))[:most*len(out)]
	for i := range most {
		b.power(power, at[i*len(at)/most])
		for k, v := range power[:len(out)] {
			d.Columns[k*most+i] = v
		}
	}
	for k := range out {
		out[k] = order.Median(d.Columns[k*most : (k+1)*most])
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
