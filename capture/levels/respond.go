// Package levels makes the response of an ear from those of its repeats: impulse
// response, levels and noise per band with their standard errors, harmonics. It
// does not judge them.
package levels

import (
	"math"

	"asworn/capture/response"
	"asworn/capture/study"
	"asworn/capture/take"
)

// Respond makes the response of one ear from the responses of its repeats.
func Respond(t *take.Take, b *take.Desk, e study.Ear) {
	p := t.Bench
	repeats, several := average(t, b, e)
	b.FFT.Inverse(b.Impulse, b.Mean)
	peak := t.Onset(b.Impulse)
	whole := int(math.Floor(peak))
	var spread []float64 // of the noise by the fit, per band
	if p.Smooth != nil {
		solve(t, b, whole)
		peak = t.Onset(b.Impulse)
		spread = noiseSpread(t, b)
	}
	gain := t.Gain(e)
	r := &t.Rec.Ears[e]
	r.Impulse = make([]float64, len(p.Window))
	take.CopyAround(r.Impulse, b.Impulse, whole-p.Pre)
	for i, w := range p.Window {
		r.Impulse[i] *= gain * w
	}
	r.Onset = float64(p.Pre) + peak - float64(whole)
	r.Delay = peak
	if p.Smooth != nil {
		r.Coherence = coherence(t, b)
	}
	b.Levels.Mean(b.Power, r.Impulse)

	noise := noise(t, b, e, whole, repeats, several)
	share := 0.0
	for _, w := range t.Keep {
		share += w * w
	}
	least := math.Pow(10, response.MinSNRDB/10)
	for i, bd := range p.Bands {
		// Per sample of the averaged impulse response.
		variance := noise.density[i] * share * gain * gain
		if spread != nil {
			variance *= spread[i]
		}
		total, floor := b.Power[i], variance*p.SumW2
		signal := max(total-floor, 0.1*total)
		tb := 2 * (bd.Upper - bd.Lower) / p.RateHz
		relative := 4*variance*p.Kappa[i]/(tb*signal) +
			2*variance*variance*p.SumW4*p.Kappa[i]/(tb*signal*signal) +
			floor*floor/(signal*signal)*2/noise.freedom[i]
		r.LevelDB[i], r.NoiseDB[i] = response.Decibels(signal), response.Decibels(floor)
		r.Valid[i] = total > 0 && signal >= least*floor &&
			bd.Lower >= p.LowHz*0.999 && bd.Upper <= p.HighHz*1.001
		if total > 0 {
			r.StdErrDB[i] = min(10/math.Ln10*math.Sqrt(relative), -response.NoLevelDB)
		}
	}
	harmonics(t, b, e, whole, gain)
}
