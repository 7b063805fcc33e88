package divide

import (
	"fmt"
	"math"
	"slices"

	"asworn/capture/deconv"
	"asworn/capture/finding"
	"asworn/capture/order"
	"asworn/capture/take"
)

// Limits of the comparison of repeats.
const (
	// A repeat whose distance from the others exceeds that of the closest
	// ones this many times, as a power, disagrees …
	disagreeRatio = 6
	// … if the difference also matters: this power relative to the response.
	disagreeFloor = 1e-5
	// Weights differ only where one has this many times the noise power of another:
	// smaller differences are chance.
	unequalNoise = 2
)

// Weigh gives every repeat its weight. Repeats are compared pair by pair in
// third-octave bands; one that disagrees with the rest is dropped and
// reported, the others are weighted by the inverse of their noise.
func Weigh(t *take.Take, d *take.Desk) {
	n := len(t.Cut)
	if n == 1 {
		t.Rec.Used = 1
		return
	}
	var cost []float64
	if n == 2 {
		cost = costOfTwo(t, d)
	} else {
		cost = costOfMany(t)
	}
	least := slices.Min(cost)
	sum := 0.0
	for k, c := range cost {
		t.Keep[k] = 0
		if c > disagreeRatio*least && c > disagreeFloor {
			t.Add(finding.New(finding.RepeatDropped, fmt.Sprintf("repeat %d of %d disagrees with the others (a cough, a touch or a noise) and was left out", t.Index[k]+1, n)).
				Of(float64(t.Index[k]+1), ""))
			continue
		}
		w := 1.0
		if c > unequalNoise*least && c > 0 {
			w = least / c
		}
		t.Keep[k] = w
		sum += w
		t.Rec.Used++
	}
	for k := range t.Keep {
		t.Keep[k] /= sum
	}
}

// difference returns the power of the difference of two repeats relative to
// the response, the median over third-octave bands and the ears' larger one.
func difference(t *take.Take, j, k int) float64 {
	p := t.Bench
	worst := 0.0
	step := p.RateHz / float64(p.N)
	for e := range 2 {
		if t.X[e] == nil {
			continue
		}
		a, b := t.Spectrum(j, e), t.Spectrum(k, e)
		var shares []float64
		for f := max(p.LowHz, 40); f*1.26 < p.HighHz; f *= 1.26 {
			var diff, sum float64
			// A few hundred bins of a wide band tell as much as all.
			every := max(1, int(0.26*f/step)/400)
			for i := int(f / step); i < int(f*1.26/step); i += every {
				d, m := a[i]-b[i], (a[i]+b[i])/2
				diff += real(d)*real(d) + imag(d)*imag(d)
				sum += real(m)*real(m) + imag(m)*imag(m)
			}
			if sum > 0 {
				shares = append(shares, diff/sum)
			}
		}
		if len(shares) == 0 {
			continue
		}
		// The upper quartile: a disturbance seldom covers the whole range,
		// and a single band of hum is none.
		slices.Sort(shares)
		worst = max(worst, shares[len(shares)*3/4])
	}
	return worst
}

// costOfMany returns, per repeat, the median of its differences from the
// others.
func costOfMany(t *take.Take) []float64 {
	n := len(t.Cut)
	cost := make([]float64, n)
	all := make([][]float64, n)
	// Beyond a handful, each repeat meets its next few neighbours only.
	const neighbours = 4
	for j := range n {
		for s := 1; s <= min(neighbours, n/2); s++ {
			k := (j + s) % n
			if n%2 == 0 && s == n/2 && k < j {
				continue
			}
			d := difference(t, j, k)
			all[j] = append(all[j], d)
			all[k] = append(all[k], d)
		}
	}
	for k, a := range all {
		cost[k] = order.Median(a)
	}
	if n == 3 {
		// With two differences each, the median would blame the good ones for
		// half of the bad: the smaller one tells.
		for k, a := range all {
			cost[k] = a[0]
		}
	}
	return cost
}

// costOfTwo tells which of two repeats is the noisier, from the part of each
// impulse response that holds no response: they cannot outvote each other.
// Repeats that agree well need no such look.
func costOfTwo(t *take.Take, b *take.Desk) []float64 {
	d := difference(t, 0, 1)
	if d < disagreeFloor || alike(t, b) {
		return []float64{d, d}
	}
	cost := make([]float64, 2)
	for k := range cost {
		for e := range 2 {
			if t.X[e] == nil {
				continue
			}
			b.FFT.Inverse(b.Impulse, t.Spectrum(k, e))
			cost[k] = max(cost[k], restOf(t, b.Impulse))
		}
	}
	// On the scale of the difference between the two.
	if s := cost[0] + cost[1]; s > 0 {
		cost[0], cost[1] = cost[0]/s*d, cost[1]/s*d
	}
	return cost
}

// alike reports whether every eighth sample of the impulse responses shows that neither
// of two repeats is anything like unequalNoise times as noisy as the other, so that their
// weights are equal. Of Gaussian noise the ratio is uncertain by 6 % at the most.
func alike(t *take.Take, b *take.Desk) bool {
	n := t.Bench.N / 8
	if t.Bench.N%16 != 0 {
		return false
	}
	if b.Eighth == nil {
		b.Eighth = deconv.NewFFT(n)
	}
	for e := range 2 {
		if t.X[e] == nil {
			continue
		}
		var rest [2]float64
		for k := range rest {
			spectrum, impulse := b.Mean[:b.Eighth.Bins()], b.Impulse[:n]
			deconv.EveryEighth(spectrum, t.Spectrum(k, e))
			b.Eighth.Inverse(impulse, spectrum)
			rest[k] = restOf(t, impulse)
		}
		if max(rest[0], rest[1]) > 0.75*unequalNoise*min(rest[0], rest[1]) {
			return false
		}
	}
	return true
}

// restOf is the power of the part of an impulse response that holds no response, over
// that of its peak. h may hold every so many samples only.
func restOf(t *take.Take, h []float64) float64 {
	p := t.Bench
	every := p.N / len(h)
	peak, total := 0.0, 0.0
	for _, v := range h { // twice as fast as with max, which looks for NaN
		if v = math.Abs(v); v > peak {
			peak = v
		}
	}
	// Between the end of the window and the highest harmonics.
	from, to := p.Preroll+p.Post+p.Pre, p.N-p.Pre
	if p.Design {
		to = p.N - int(p.Setup.Sweep.HarmonicLead(8)*p.RateHz)
	}
	if to-from < p.N/8 {
		to = from + p.N/8
	}
	for i := from / every; i < min(to, p.N)/every; i++ {
		total += h[i] * h[i]
	}
	return total / (peak * peak)
}
