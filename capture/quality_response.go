package capture

import (
	"fmt"
	"math"
	"slices"

	"asworn/capture/deconv"
	"asworn/capture/exposure"
	"asworn/capture/study"
)

// Limits of what is read off the responses. Common practice, no source.
const (
	lowLevelDB     = -50.0 // sweep re full scale, AES17
	noisySNRDB     = 30.0  // median over the bands
	largeDriftPPM  = 100.0
	wildDriftPPM   = 500.0 // more than any clock: IEC 60908 allows a player 100 (from memory)
	distortionDB   = -30.5 // 3 %, orders 2 to 5 together, in a third of an octave
	distortionOver = 6.0   // dB over the noise there
	louderDB       = 10.0  // one ear over the other, median from 200 Hz to 5 kHz
	jumpDB         = 0.7   // upper quartile of the changes of level between repeats
	jumpSNRDB      = 25.0  // bands with less do not count
	flatLoopDB     = 0.5   // standard deviation of the level of a wire over the thirds
	bumpyLoopDB    = 1.0   // … of what is no wire
	oppositeOver   = 1.4   // negative over positive correlation of the ears
	oppositeLeast  = 0.4   // normalised
)

func (t *take) checkDrift() {
	rec := t.rec
	d := math.Abs(rec.DriftPPM)
	switch {
	case d <= largeDriftPPM || d <= 3*rec.DriftSEPPM:
	case d > wildDriftPPM:
		t.add(Finding{Code: "drift", Severity: Warning, Value: rec.DriftPPM, Unit: "ppm",
			Message: fmt.Sprintf("the recorder's clock runs %+.0f ppm against playback, more than clocks do; it was allowed for as far as it is one", rec.DriftPPM),
			Mend:    "look for a rate converter, a rate that is set wrongly in one device, or lost samples; use one clock for both"})
	default:
		t.add(Finding{Code: "drift", Severity: Note, Value: rec.DriftPPM, Unit: "ppm",
			Message: fmt.Sprintf("the recorder's clock runs %+.0f ppm against playback; it was allowed for", rec.DriftPPM),
			Mend:    "nothing for these curves; a common word clock would remove it"})
	}
}

func (t *take) checkLevel(e study.Ear) {
	if level := t.fullScaleLevel(e); level < lowLevelDB {
		t.add(Finding{Code: "low-level", Severity: Warning, Channel: channelNames[e], Value: level, Unit: "dB re full scale",
			Message: fmt.Sprintf("the sweep is recorded at %.0f dB re full scale", level),
			Mend:    "raise the recording gain"})
	}
}

func (t *take) checkNoise(e study.Ear) {
	r := &t.rec.Ears[e]
	var snr []float64
	for i := range r.LevelDB {
		if b := t.p.bands[i]; b.Lower >= max(t.p.lowHz, 40) && b.Upper <= min(t.p.highHz, 16000) {
			snr = append(snr, r.LevelDB[i]-r.NoiseDB[i])
		}
	}
	if len(snr) == 0 {
		return
	}
	slices.Sort(snr)
	if m := snr[len(snr)/2]; m < noisySNRDB {
		severity, mend := Warning, "raise the drive within the safe limit, or record in quiet"
		if m < t.p.minSNR() {
			severity = Refusal
		}
		t.add(Finding{Code: "noisy", Severity: severity, Channel: channelNames[e], Value: m, Unit: "dB",
			Message: fmt.Sprintf("signal to noise is %.0f dB in the middle of the bands", m), Mend: mend})
	}
}

// checkDistortion adds up the harmonics per third of an octave of the
// fundamental where they stand out of the noise.
func (t *take) checkDistortion(e study.Ear) {
	r := &t.rec.Ears[e]
	if len(r.HarmonicDB) == 0 || t.spoilt[e] {
		return
	}
	worst, at := math.Inf(-1), 0.0
	const third = 8
	for i := 0; i+third <= len(r.LevelDB); i += third {
		var linear, sum float64
		for o, h := range t.p.orders {
			// The window of a harmonic lets in less noise than that of the
			// response; below its resolution nothing is told.
			share, seconds := h.sumW2/t.p.sumW2, float64(len(h.window))/t.p.rate
			if t.p.bands[i].Lower*float64(h.order) < 6/seconds || t.p.bands[i].Lower < 2*t.p.lowHz {
				continue
			}
			var power, noise float64
			for j := i; j < i+third; j++ {
				k := j + int(math.Round(24*math.Log2(float64(h.order))))
				if k >= len(r.NoiseDB) || !r.Valid[j] || r.HarmonicDB[o][j] <= NoLevelDB {
					power, noise = 0, 1
					break
				}
				power += math.Pow(10, (r.HarmonicDB[o][j]+r.LevelDB[j])/10)
				noise += share * math.Pow(10, r.NoiseDB[k]/10)
			}
			if power > noise*math.Pow(10, distortionOver/10) {
				sum += power - noise
			}
		}
		for j := i; j < i+third; j++ {
			linear += math.Pow(10, r.LevelDB[j]/10)
		}
		if d := decibels(sum / linear); sum > 0 && d > worst {
			worst, at = d, t.p.bands[i+third/2].Mid
		}
	}
	if worst > distortionDB {
		t.add(Finding{Code: "distortion", Severity: Warning, Channel: channelNames[e], Value: 100 * math.Pow(10, worst/20), Unit: "%",
			Message: fmt.Sprintf("harmonics of %.1f %% about %.0f Hz", 100*math.Pow(10, worst/20), at),
			Mend:    "lower the drive; see that nothing rattles or touches the driver, and that no input is near its limit"})
	}
}

// checkEars compares the two ears: level and polarity.
func (t *take) checkEars() {
	for e := range study.Ears {
		if t.x[e] == nil || t.peak[e] == 0 || t.spoilt[e] {
			return
		}
	}
	l, r := &t.rec.Ears[left], &t.rec.Ears[right]
	var apart []float64
	for i, b := range t.p.bands {
		if b.Lower >= max(200, t.p.lowHz) && b.Upper <= min(5000, t.p.highHz) && l.LevelDB[i] > NoLevelDB && r.LevelDB[i] > NoLevelDB {
			apart = append(apart, l.LevelDB[i]-r.LevelDB[i])
		}
	}
	if m := median(apart); math.Abs(m) > louderDB {
		loud, soft := left, right
		if m < 0 {
			loud, soft = right, left
		}
		t.add(Finding{Code: "ears-unequal", Severity: Warning, Channel: channelNames[soft], Value: math.Abs(m), Unit: "dB",
			Message: fmt.Sprintf("the %s ear is %.0f dB louder than the %s", channelNames[loud], math.Abs(m), channelNames[soft]),
			Mend:    "see that both microphones sit in place, both gains are as they were calibrated, and the balance of the player is in the middle"})
	}
	a, b := t.midRange(left), t.midRange(right)
	if a == nil || b == nil {
		return
	}
	l.Polarity, r.Polarity = swing(a), swing(b)
	up, down := correlation(a, b, max(1, int(0.001*t.p.rate)/midFactor(t.p.rate)))
	if down > oppositeOver*up && down > oppositeLeast {
		t.add(Finding{Code: "polarity", Severity: Warning, Value: -down,
			Message: fmt.Sprintf("the two ears have opposite polarity (correlation %.2f from 200 Hz to 2 kHz)", -down),
			Mend:    "find the cable, plug or phase switch that turns the sign of one side; levels are not affected, times and phases are"})
	}
}

func midFactor(rate float64) int { return max(1, int(rate/6000)) }

// midRange returns 10 ms about the direct sound from 200 Hz to about 2 kHz, at
// a low rate; nil when there is none.
func (t *take) midRange(role int) []float64 {
	r := &t.rec.Ears[role]
	around := int(0.008 * t.p.rate)
	at := int(math.Round(r.Onset))
	from, to := max(0, at-around/2), min(len(r.Impulse), at+around)
	if to-from < around {
		return nil
	}
	factor := midFactor(t.p.rate)
	x := decimate(nil, r.Impulse[from:to], factor)
	pole := math.Exp(-2 * math.Pi * 200 / (t.p.rate / float64(factor)))
	y, before := 0.0, 0.0
	for i, v := range x {
		y = pole*y + v - before
		before = v
		x[i] = y
	}
	return x
}

// swing is the largest value plus the smallest, over the largest less the
// smallest.
func swing(x []float64) float64 {
	high, low := slices.Max(x), slices.Min(x)
	if high-low == 0 {
		return 0
	}
	return (high + low) / (high - low)
}

// correlation returns the largest positive and the largest negative normalised
// correlation of two signals over lags of up to so many samples.
func correlation(a, b []float64, lags int) (up, down float64) {
	var aa, bb float64
	for _, v := range a {
		aa += v * v
	}
	for _, v := range b {
		bb += v * v
	}
	if aa == 0 || bb == 0 {
		return 0, 0
	}
	for lag := -lags; lag <= lags; lag++ {
		sum := 0.0
		for i, v := range a {
			if j := i + lag; j >= 0 && j < len(b) {
				sum += v * b[j]
			}
		}
		sum /= math.Sqrt(aa * bb)
		up, down = max(up, sum), max(down, -sum)
	}
	return up, down
}

// checkLoopback looks for a microphone in the place of the loopback: a wire's
// response is flat, an earphone's is not.
func (t *take) checkLoopback() []Finding {
	p := t.p
	if t.x[loopback] == nil {
		return nil
	}
	wire := t.spectrum(0, loopback)
	over := func(k int, ear []complex128) float64 {
		s := real(p.spectrum[k])*real(p.spectrum[k]) + imag(p.spectrum[k])*imag(p.spectrum[k])
		v := wire[k]
		if ear != nil {
			v *= ear[k]
		}
		return (real(v)*real(v) + imag(v)*imag(v)) / max(s, 1e-300)
	}
	bumps := t.bumps(func(k int) float64 { return over(k, nil) })
	if bumps < bumpyLoopDB {
		return nil
	}
	for e := range 2 {
		if t.x[e] == nil {
			continue
		}
		h := t.spectrum(t.firstKept(), e)
		if own := t.bumps(func(k int) float64 { return over(k, h) }); own < min(flatLoopDB, bumps/3) {
			return []Finding{{Code: "channels-swapped", Severity: Refusal, Channel: channelNames[e], Value: bumps, Unit: "dB",
				Message: fmt.Sprintf("the %s channel holds the loopback and the loopback channel a microphone: the one is flat within %.1f dB, the other within %.1f dB", channelNames[e], own, bumps),
				Mend:    "mend the channel numbers in study.toml, or the cables and record again"}}
		}
	}
	return nil
}

// bumps returns the standard deviation over third octaves of a level in dB.
func (t *take) bumps(power func(k int) float64) float64 {
	p := t.p
	step := p.rate / float64(p.n)
	var n, sum, square float64
	for f := max(2*p.lowHz, 50); f*1.26 < min(p.highHz/1.5, 0.35*p.rate); f *= 1.26 {
		mean, count := 0.0, 0.0
		for k := int(f / step); k < int(f*1.26/step); k++ {
			mean += power(k)
			count++
		}
		if count == 0 {
			continue
		}
		l := decibels(mean / count)
		n, sum, square = n+1, sum+l, square+l*l
	}
	if n < 3 {
		return 0
	}
	return math.Sqrt(max(0, square/n-sum*sum/n/n))
}

// checkRepeats looks for a level that changes between the repeats of an ear: a
// microphone or a headphone that moved.
func (t *take) checkRepeats(d *desk, e int) []Finding {
	if len(t.cut) < 2 || t.x[e] == nil || t.rec.Ears[e].SweepLevelDB <= NoLevelDB {
		return nil
	}
	if _, change := t.jump(e, t.bandsOf); math.Abs(change) < jumpDB {
		return nil
	}
	// Noise on one repeat changes levels too, but not those of the windowed
	// response.
	k, change := t.jump(e, func(k, e int) []float64 { return t.bandsOfWindowed(d, k, e) })
	if math.Abs(change) < jumpDB {
		return nil
	}
	return []Finding{{Code: "level-jump", Severity: Warning, Channel: channelNames[e], Value: change, Unit: "dB",
		Message: fmt.Sprintf("the response changes by %.1f dB with repeat %d: the microphone or the headphone moved", math.Abs(change), t.index[k]+1),
		Mend:    "seat the microphone again, let the subject hold still, and record again"}}
}

// jump returns the repeat whose band levels differ most from the first, and by
// how much: the upper quartile of the changes, with the sign of their median.
// levels gives NaN for bands that noise makes uncertain.
func (t *take) jump(e int, levels func(k, e int) []float64) (repeat int, change float64) {
	first := slices.Clone(levels(0, e))
	for k := 1; k < len(t.cut); k++ {
		var size, signed []float64
		for i, l := range levels(k, e) {
			if d := 10 * math.Log10(l/first[i]); !math.IsNaN(d) {
				size, signed = append(size, math.Abs(d)), append(signed, d)
			}
		}
		if len(size) < 6 {
			continue
		}
		slices.Sort(size)
		if q := size[len(size)*3/4]; q > math.Abs(change) {
			repeat, change = k, math.Copysign(q, median(signed))
		}
	}
	return repeat, change
}

// thirds lists third-octave bands of eight kept bands each, as their edges.
func (t *take) thirds() (out [][2]float64) {
	const each = 8
	for i := 0; i+each <= len(t.p.bands); i += each {
		low, high := t.p.bands[i].Lower, t.p.bands[i+each-1].Upper
		if low >= max(2*t.p.lowHz, 40) && high <= min(t.p.highHz, 10000) {
			out = append(out, [2]float64{low, high})
		}
	}
	return out
}

// bandsOf returns the power of repeat k in the bands of thirds.
func (t *take) bandsOf(k, e int) []float64 {
	return t.powerOf(t.spectrum(k, e), t.p.n)
}

func (t *take) powerOf(h []complex128, n int) (out []float64) {
	step := t.p.rate / float64(n)
	for _, b := range t.thirds() {
		from, to := int(b[0]/step), int(b[1]/step)+1
		out = append(out, max(energy(h[from:to]), 1e-300))
	}
	return out
}

// bandsOfWindowed is bandsOf for the windowed response; NaN where what the
// window leaves out says that noise is near.
func (t *take) bandsOfWindowed(b *desk, k, e int) []float64 {
	p := t.p
	b.fft.Inverse(b.impulse, t.spectrum(k, e))
	whole := int(math.Floor(t.onset(b.impulse)))
	copyAround(b.segment[:len(p.window)], b.impulse, whole-p.pre)
	for i, w := range p.window {
		b.segment[i] *= w
	}
	clear(b.segment[len(p.window):])
	b.fft.Forward(b.mean, b.segment)
	out := t.powerOf(b.mean, p.n)
	for i, whole := range t.bandsOf(k, e) {
		if out[i] < math.Pow(10, jumpSNRDB/10)*(whole-out[i])*float64(len(p.window))/float64(p.n) {
			out[i] = math.NaN()
		}
	}
	return out
}

// fullScaleLevel returns the level of the sweep re full scale (AES17).
func (t *take) fullScaleLevel(e study.Ear) float64 {
	level := t.rec.Ears[e].SweepLevelDB
	if level <= NoLevelDB {
		return NoLevelDB
	}
	if pa := t.p.setup.Microphones[e].PaPerUnit; pa > 0 {
		level += 20*math.Log10(exposure.ReferencePa/pa) + 20*math.Log10(math.Sqrt2)
	}
	return level
}

// wrongRates are the ratios of rates that are mistaken for each other.
var wrongRates = [...]float64{44100.0 / 48000, 48000.0 / 44100, 0.5, 2, 88200.0 / 96000, 96000.0 / 44100, 44100.0 / 96000}

// playedAtAnotherRate looks for the excitation as it sounds when the rate of
// player and recorder are not the same, and returns the ratio of the second to
// the first; 0 when it is not there either.
func (t *take) playedAtAnotherRate() float64 {
	if !t.p.design {
		return t.anotherRateOf(func(ratio float64) []float64 { return deconv.Resample(t.p.x, ratio) })
	}
	return t.anotherRateOf(t.p.setup.Sweep.Stretched)
}

func (t *take) anotherRateOf(stretched func(ratio float64) []float64) float64 {
	best, at := max(doubtful, wrongRateOver*t.found.clarity), 0.0
	heard := t.ears()
	if t.x[loopback] != nil {
		heard = [][]float64{t.x[loopback]}
	}
	for _, ratio := range wrongRates {
		c := *t.p.constants
		c.x = stretched(ratio)
		c.period = int(float64(c.period) * ratio)
		c.lowHz, c.highHz = c.lowHz/ratio, min(c.highHz/ratio, c.rate/2)
		c.repeats = 1
		if found := newLocator(&c).locate(heard...); found.clarity > best {
			best, at = found.clarity, ratio
		}
	}
	return at
}
