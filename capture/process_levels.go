package capture

import (
	"math"

	"asworn/capture/band"
	"asworn/capture/deconv"
	"asworn/capture/study"
)

func (p *Processor) emptyResponse() Response {
	n := len(p.bands)
	r := Response{RateHz: p.rate, LevelDB: make([]float64, n), StdErrDB: make([]float64, n),
		NoiseDB: make([]float64, n), Valid: make([]bool, n), SweepLevelDB: NoLevelDB, SweepLevelA: NoLevelDB}
	for i := range r.LevelDB {
		r.LevelDB[i], r.NoiseDB[i], r.StdErrDB[i] = NoLevelDB, NoLevelDB, -NoLevelDB
	}
	return r
}

// levelUnit names what levels are relative to.
func (p *Processor) levelUnit() string {
	for e, ch := range p.channel[:2] {
		if ch >= 0 && !(p.setup.Microphones[e].PaPerUnit > 0) {
			return "dB, relative"
		}
	}
	if p.setup.DriveVoltsRMS > 0 {
		return "dB re 1 Pa/V"
	}
	return "dB re 1 Pa"
}

// gain returns what turns |H|, microphone over reference in sample values,
// into the level unit.
func (t *take) gain(e study.Ear) float64 {
	p := t.p
	g := p.setup.Microphones[e].PaPerUnit * p.xRMS * t.refGain
	switch p.levelUnit() {
	case "dB re 1 Pa/V":
		return g / p.setup.DriveVoltsRMS
	case "dB re 1 Pa":
		return g
	}
	return 1
}

// respond makes the response of one ear from the responses of its repeats.
func (t *take) respond(b *desk, e study.Ear) {
	p := t.p
	clear(b.mean)
	for k, w := range t.keep {
		if w == 0 {
			continue
		}
		for i, v := range t.spectrum(k, int(e)) {
			b.mean[i] += complex(w*real(v), w*imag(v))
		}
	}
	if p.smooth == nil {
		p.fillBelow(b.mean, p.buf.reach)
	}
	b.fft.Inverse(b.impulse, b.mean)
	peak := t.onset(b.impulse)
	whole := int(math.Floor(peak))
	var spread []float64 // of the noise by the fit, per band
	if p.smooth != nil {
		t.solve(b, whole)
		peak = t.onset(b.impulse)
		spread = t.spread(b)
	}
	gain := t.gain(e)
	r := &t.rec.Ears[e]
	r.Impulse = make([]float64, len(p.window))
	copyAround(r.Impulse, b.impulse, whole-p.pre)
	for i, w := range p.window {
		r.Impulse[i] *= gain * w
	}
	r.Onset = float64(p.pre) + peak - float64(whole)
	r.Delay = peak
	if p.smooth != nil {
		r.Coherence = t.coherence(b)
	}
	b.levels.Mean(b.power, r.Impulse)

	noise := t.noise(b, e, whole)
	share := 0.0
	for _, w := range t.keep {
		share += w * w
	}
	least := math.Pow(10, p.minSNR()/10)
	for i, bd := range p.bands {
		// Per sample of the averaged impulse response.
		variance := noise.density[i] * share * gain * gain
		if spread != nil {
			variance *= spread[i]
		}
		total, floor := b.power[i], variance*p.sumW2
		signal := max(total-floor, 0.1*total)
		tb := 2 * (bd.Upper - bd.Lower) / p.rate
		relative := 4*variance*p.kappa[i]/(tb*signal) +
			2*variance*variance*p.sumW4*p.kappa[i]/(tb*signal*signal) +
			floor*floor/(signal*signal)*2/noise.freedom[i]
		r.LevelDB[i], r.NoiseDB[i] = decibels(signal), decibels(floor)
		r.Valid[i] = total > 0 && signal >= least*floor &&
			bd.Lower >= p.lowHz*0.999 && bd.Upper <= p.highHz*1.001
		if total > 0 {
			r.StdErrDB[i] = min(10/math.Ln10*math.Sqrt(relative), -NoLevelDB)
		}
	}
	t.harmonics(b, e, whole, gain)
}

// copyAround copies values of a period from index from on, which may lie in any
// other period.
func copyAround(dst, period []float64, from int) {
	n := len(period)
	for from = (from%n + n) % n; len(dst) > 0; from = 0 {
		dst = dst[copy(dst, period[from:]):]
	}
}

func (p *Processor) minSNR() float64 {
	if p.setup.MinSNRDB > 0 {
		return p.setup.MinSNRDB
	}
	return 10
}

// onset returns where the direct sound lies in an impulse response, in
// samples after the cut: the first peak that reaches 70 % of the highest,
// within 5 ms before it, to a part of a sample. It may be negative or wrap.
func (t *take) onset(h []float64) float64 {
	n := t.p.n
	at := func(i int) float64 { return math.Abs(h[((i%n)+n)%n]) }
	// The linear response starts near the expected place; harmonics lie
	// before it, and the search reaches back half way to the nearest only.
	back := t.p.pre / 2
	top, most := 0, 0.0
	for i, v := range h[n-back:] {
		if v = math.Abs(v); v > most {
			top, most = i-back, v
		}
	}
	for i, v := range h[:min(n, t.p.tail+t.p.preroll)] {
		if v = math.Abs(v); v > most {
			top, most = i, v
		}
	}
	first := top
	for i := top - int(0.005*t.p.rate); i < top; i++ {
		if at(i) >= 0.7*at(top) && at(i) >= at(i-1) && at(i) >= at(i+1) {
			first = i
			break
		}
	}
	return float64(first) + peakOffset(at(first-1), at(first), at(first+1))
}

// prepareKappa works out, per band, how much of the band's energy lies where
// the window lets noise in: Σ w²(t)·s²(t) / Σ s²(t) with the impulse response
// of the band, a sinc about the direct sound. It is 1 where the band is wide
// against the inverse of the window's length, and below 1 for bands narrower
// than that.
func (c *constants) prepareKappa() {
	c.kappa = make([]float64, len(c.bands))
	for i, b := range c.bands {
		width := (b.Upper - b.Lower) / c.rate
		step := max(1, int(0.05/width))
		sum := 0.0
		if width*float64(c.pre) > 50 {
			c.kappa[i] = 1
			continue
		}
		for j := step / 2; j < len(c.window); j += step {
			x := math.Pi * width * float64(j-c.pre)
			s := 1.0
			if x != 0 {
				s = math.Sin(x) / x
			}
			sum += c.window[j] * c.window[j] * s * s
		}
		c.kappa[i] = min(1, sum*float64(step)*width)
	}
}

// harmonic says where the response of one order lies.
type harmonic struct {
	order  int
	lead   int // samples before the linear response
	window []float64
	sumW2  float64 // Σw²
	before int     // of the window's samples, before the harmonic's onset
	bands  []band.Band
	count  int // bands whose harmonic lies below the end of the sweep
}

func (c *constants) prepareHarmonics() {
	if !c.design {
		return
	}
	lead := func(n int) float64 { return c.setup.Sweep.HarmonicLead(n) * c.rate }
	longest := 0
	for _, n := range HarmonicOrders {
		before := int(0.4 * (lead(n+1) - lead(n)))
		after := int(min(0.3*(lead(n)-lead(n-1)), 0.25*c.rate))
		if before < 8 || after < 8 {
			c.orders = nil
			return // too short a sweep
		}
		h := harmonic{order: n, lead: int(math.Round(lead(n))), before: before,
			window: deconv.Tukey(before+after, before/2, after/2)}
		for _, w := range h.window {
			h.sumW2 += w * w
		}
		for _, b := range c.bands {
			f := float64(n)
			h.bands = append(h.bands, band.Band{Lower: f * b.Lower, Mid: f * b.Mid, Upper: f * b.Upper})
			if f*b.Upper <= c.highHz {
				h.count++
			}
		}
		c.orders = append(c.orders, h)
		longest = max(longest, len(h.window))
	}
	c.harmN = deconv.FastLen(max(longest, int(0.2*c.rate)))
}

// harmonics reads the harmonic responses off the impulse response. With a
// synchronised sweep, order n of the fundamental f appears as a response of
// its own, L·ln n before the linear one, at n·f (Novak et al. 2015).
func (t *take) harmonics(b *desk, e study.Ear, whole int, gain float64) {
	p := t.p
	r := &t.rec.Ears[e]
	for _, h := range p.orders {
		copyAround(b.harmSeq[:len(h.window)], b.impulse, whole-h.lead-h.before)
		for i, w := range h.window {
			b.harmSeq[i] *= gain * w
		}
		clear(b.harmSeq[len(h.window):])
		b.harm.Forward(b.harmSpec, b.harmSeq)
		for k, v := range b.harmSpec {
			b.harmPower[k] = real(v)*real(v) + imag(v)*imag(v)
		}
		out := make([]float64, len(p.bands))
		deconv.MeanOver(out[:h.count], b.harmPower, p.rate/float64(p.harmN), h.bands[:h.count])
		for i := range out {
			if i >= h.count || !r.Valid[i] || out[i] == 0 {
				out[i] = NoLevelDB
				continue
			}
			out[i] = max(NoLevelDB, decibels(out[i])-r.LevelDB[i])
		}
		r.HarmonicDB = append(r.HarmonicDB, out)
	}
}
