package check

import (
	"fmt"
	"math"
	"slices"

	"asworn/capture/finding"
	"asworn/capture/order"
	"asworn/capture/take"
)

// checkCoded looks at the noise during the sweeps for what a lossy coder leaves. A sweep
// and its harmonics pass a frequency quickly, so that the median over the frames is the
// noise there. A coder takes away what it holds for inaudible: the noise above some
// frequency for good, and of the rest a band here and there, from frame to frame another
// one. The powers of noise are distributed exponentially about their mean, however that
// changes from band to band and with time; where bands were taken away too many are small.
func checkCoded(t *take.Take, d *take.Desk, role int) []finding.Finding {
	if besideFromHz >= besideTo*t.Bench.RateHz {
		return nil // the rate leaves nothing to listen to
	}
	sweeps := t.Sweeps()
	b, ok := backgroundOf(t, d, role, sweeps, quietFrames)
	if !ok || !swept(t, d) {
		return nil
	}
	name := take.ChannelNames[role]
	if end := b.checkCut(name, cutSweepDB); end != nil {
		return end
	}
	if times, most := b.holes(d, sweeps); times > most {
		return []finding.Finding{finding.New(finding.LossyCoding,
			fmt.Sprintf("during the sweep the noise has %.1f times as many holes as chance makes: the recording went through a lossy coder (MP3, AAC and the like) or noise reduction", times)).
			On(name).Of(times, "times")}
	}
	return nil
}

// swept reports whether the excitation leaves most frequencies alone most of the time, as
// a sweep does; music and noise do not.
func swept(t *take.Take, d *take.Desk) bool {
	if t.Bench.Design {
		return true
	}
	floor, power := ownFloor(t, d)
	alone := 0
	for i, v := range floor {
		if v < sweptUnder*power[i] {
			alone++
		}
	}
	return 2*alone > len(floor)
}

// holes returns how many times as many powers lie far below those beside them, in frequency and
// at the same time, than of Gaussian noise, and up to how many chance and what noise there
// is make it.
func (b *background) holes(d *take.Desk, sweeps [][2]int) (times, most float64) {
	usable := make([]bool, len(b.quiet))
	low, high := int(besideFromHz/b.hz), int(besideTo*float64(b.n))
	for k := low; k+holeBins <= high; k += holeBins {
		d.Columns = append(d.Columns[:0], b.quiet[k:k+holeBins]...)
		line := 4 * order.Median(d.Columns) // a tone, on and off
		for i := k; i < k+holeBins; i++ {
			usable[i] = b.quiet[i] > 4*b.least && b.quiet[i] < line
		}
	}
	limit := math.Pow(10, holeDB/10)
	expected := 1 - math.Exp2(-limit)
	power, ratio := make([]float64, b.n/2+1), make([]float64, 0, holeBins)
	n, holes := 0, 0
	for _, sweep := range sweeps {
		for at := sweep[0]; at+b.n <= sweep[1]; at += b.n {
			b.power(power, at)
			for k := low; k+holeBins <= high; k += holeBins {
				ratio = ratio[:0]
				for i := k; i < k+holeBins; i++ {
					if usable[i] {
						ratio = append(ratio, power[i]/b.quiet[i])
					}
				}
				if len(ratio) < holeBins/2 {
					continue
				}
				middle := order.Median(ratio)
				if slices.Max(ratio) > toneOver*middle {
					continue // the sweep or a harmonic
				}
				for _, v := range ratio {
					if v < limit*middle {
						holes++
					}
				}
				n += len(ratio)
			}
		}
	}
	if n == 0 {
		return 0, 1
	}
	e := expected * float64(n)
	return float64(holes) / e, holesOver + 4*math.Sqrt(holesVariance/e)
}

// Limits of holes. Common practice, no source.
const (
	holeBins      = 48    // of a band
	toneOver      = 30.0  // of a band's highest power over its median; noise has that once in 10⁸ bands
	holesOver     = 1.05  // what chance would have is 1
	cutSweepDB    = 4.0   // as cutDB, where the noise is not listened to alone
	sweptUnder    = 1e-10 // median power of a bin over that of the frame
	holesVariance = 1.2   // of the number of holes over its mean: neighbouring bins are alike
)
