package levels

import (
	"asworn/capture/deconv"
	"asworn/capture/response"
	"asworn/capture/study"
	"asworn/capture/take"
)

// harmonics reads the harmonic responses off the impulse response. With a
// synchronised sweep, order n of the fundamental f appears as a response of
// its own, L·ln n before the linear one, at n·f (Novak et al. 2015).
func harmonics(t *take.Take, b *take.Desk, e study.Ear, whole int, gain float64) {
	p := t.Bench
	r := &t.Rec.Ears[e]
	for _, h := range p.Orders {
		seq := b.HarmSeq[:len(h.Window)]
		take.CopyAround(seq, b.Impulse, whole-h.Lead-h.Before)
		for i, w := range h.Window {
			seq[i] *= gain * w
		}
		b.Harm.Forward(b.HarmSpec, seq)
		out := make([]float64, len(p.Bands))
		deconv.MeanPowerOver(out[:h.Count], b.HarmSpec, p.RateHz/float64(p.HarmN), h.Bands[:h.Count])
		for i := range out {
			if i >= h.Count || !r.Valid[i] || out[i] == 0 {
				out[i] = response.NoLevelDB
				continue
			}
			out[i] = max(response.NoLevelDB, response.Decibels(out[i])-r.LevelDB[i])
		}
		r.HarmonicDB = append(r.HarmonicDB, out)
	}
}
