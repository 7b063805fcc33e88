package check

import (
	"fmt"
	"math"
	"slices"

	"asworn/capture/band"
	"asworn/capture/deconv"
	"asworn/capture/finding"
	"asworn/capture/order"
	"asworn/capture/response"
	"asworn/capture/take"
)

// checkRepeats looks for a level that changes between the repeats of an ear: a
// microphone or a headphone that moved.
func checkRepeats(t *take.Take, d *take.Desk, e int) []finding.Finding {
	if len(t.Cut) < 2 || t.X[e] == nil || t.Rec.Ears[e].SweepLevelDB <= response.NoLevelDB {
		return nil
	}
	if _, change := jump(t, e, func(k, e int) []float64 { return bandsOf(t, k, e) }); math.Abs(change) < jumpDB {
		return nil
	}
	// Noise on one repeat changes levels too, but not those of the windowed
	// response.
	k, change := jump(t, e, func(k, e int) []float64 { return bandsOfWindowed(t, d, k, e) })
	if math.Abs(change) < jumpDB {
		return nil
	}
	return []finding.Finding{finding.New(finding.LevelJump, fmt.Sprintf("the response changes by %.1f dB with repeat %d: the microphone or the headphone moved", math.Abs(change), t.Index[k]+1)).
		On(take.ChannelNames[e]).Of(change, "dB")}
}

// jump returns the repeat whose band levels differ most from the first, and by
// how much: the upper quartile of the changes, with the sign of their median.
// levels gives NaN for bands that noise makes uncertain.
func jump(t *take.Take, e int, levels func(k, e int) []float64) (repeat int, change float64) {
	first := slices.Clone(levels(0, e))
	for k := 1; k < len(t.Cut); k++ {
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
			repeat, change = k, math.Copysign(q, order.Median(signed))
		}
	}
	return repeat, change
}

// thirds lists third-octave bands of the kept ones, as their edges.
func thirds(t *take.Take) (out [][2]float64) {
	const each = band.PerThird
	for i := 0; i+each <= len(t.Bench.Bands); i += each {
		low, high := t.Bench.Bands[i].Lower, t.Bench.Bands[i+each-1].Upper
		if low >= max(2*t.Bench.LowHz, 40) && high <= min(t.Bench.HighHz, 10000) {
			out = append(out, [2]float64{low, high})
		}
	}
	return out
}

// bandsOf returns the power of repeat k in the bands of thirds.
func bandsOf(t *take.Take, k, e int) []float64 {
	return powerOf(t, t.Spectrum(k, e), t.Bench.N)
}

func powerOf(t *take.Take, h []complex128, n int) (out []float64) {
	step := t.Bench.RateHz / float64(n)
	for _, b := range thirds(t) {
		from, to := int(b[0]/step), int(b[1]/step)+1
		out = append(out, max(deconv.Energy(h[from:to]), 1e-300))
	}
	return out
}

// bandsOfWindowed is bandsOf for the windowed response; NaN where what the
// window leaves out says that noise is near.
func bandsOfWindowed(t *take.Take, b *take.Desk, k, e int) []float64 {
	p := t.Bench
	b.FFT.Inverse(b.Impulse, t.Spectrum(k, e))
	whole := int(math.Floor(t.Onset(b.Impulse)))
	take.CopyAround(b.Segment[:len(p.Window)], b.Impulse, whole-p.Pre)
	for i, w := range p.Window {
		b.Segment[i] *= w
	}
	clear(b.Segment[len(p.Window):])
	b.FFT.Forward(b.Mean, b.Segment)
	out := powerOf(t, b.Mean, p.N)
	for i, whole := range bandsOf(t, k, e) {
		if out[i] < math.Pow(10, jumpSNRDB/10)*(whole-out[i])*float64(len(p.Window))/float64(p.N) {
			out[i] = math.NaN()
		}
	}
	return out
}

// Limits of a change between repeats. Common practice, no source.
const (
	jumpDB    = 0.7  // upper quartile of the changes of level between repeats
	jumpSNRDB = 25.0 // bands with less do not count
)
