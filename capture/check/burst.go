package check

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"asworn/capture/finding"
	"asworn/capture/order"
	"asworn/capture/take"
)

// How noise is told that rises for a while. Common practice, no source.
const (
	burstFrames  = 4      // in a row, that it lasts at least
	burstBeside  = 40     // frames on each side that it is held against
	burstOver    = 10.0   // power over that beside it, and over what the excitation has of it itself
	burstPower   = 1e-4   // … and over that of the frame
	burstFromHz  = 2000.0 // above most harmonics of low frequencies
	burstFrameTo = 0.42   // of the rate
)

// checkBurst looks for noise that rises for a while in a sweep that is played once: a
// cough, a door, something that rattled. A sweep and its harmonics are in few bins of a
// frame, so that the median over the bins is the noise.
func checkBurst(t *take.Take, d *take.Desk, role int) []finding.Finding {
	if len(t.Cut) != 1 || t.X[role] == nil || t.Spoilt[role] {
		return nil
	}
	start, p := t.Cut[0]+t.Bench.Preroll, t.Bench
	n := frames(t, d).Size()
	skip := (max(0, -start) + n - 1) / n // frames of the sweep that lie before the file
	from, to := start+skip*n, min(t.Total, start+len(p.X))
	if from >= to || burstFromHz >= burstFrameTo*p.RateHz {
		return nil // the sweep is not in the file, or the rate leaves nothing to listen to
	}
	floor, power := floorOf(t, d, t.X[role][from:to])
	own, whole := ownFloor(t, d)
	own, whole = own[min(skip, len(own)):], whole[min(skip, len(own)):]
	bins := (burstFrameTo - burstFromHz/p.RateHz) * float64(n)
	up := 0
	for i := burstFrames; i+burstFrames < min(len(floor), len(own)); i++ {
		beside := slices.Concat(floor[max(0, i-burstBeside):i-burstFrames+1], floor[i+burstFrames:min(len(floor), i+burstBeside)])
		most := 0.0 // of the excitation's own
		for k := i - 2; k <= i+2; k++ {
			most = max(most, own[k]/whole[k])
		}
		if floor[i] < burstOver*max(order.Median(beside), most*power[i]) || floor[i]*bins < burstPower*power[i] {
			up = 0
			continue
		}
		if up++; up == burstFrames {
			at, over := float64(from+(i-burstFrames+1)*n)/p.RateHz, 10*math.Log10(floor[i]/order.Median(beside))
			return []finding.Finding{finding.New(finding.Noisy,
				finding.Text("about %.1f s the noise is %.0f dB above what it is before and after: a cough, a door, something that rattled", at, over)).
				On(take.ChannelNames[role]).Of(over, "dB").Mended("see what made it, and record again")}
		}
	}
	return nil
}

// ownFloor is floorOf the excitation, made once per desk.
func ownFloor(t *take.Take, d *take.Desk) (floor, power []float64) {
	if d.Floor == nil {
		d.Floor, d.Whole = floorOf(t, d, t.Bench.X)
	}
	return d.Floor, d.Whole
}

// floorOf returns of each frame the median power over the bins, and that of all together.
func floorOf(t *take.Take, d *take.Desk, x []float64) (floor, power []float64) {
	n := frames(t, d).Size()
	bins := make([]float64, n/2+1)
	low, high := int(burstFromHz/t.Bench.RateHz*float64(n)), int(burstFrameTo*float64(n))
	for ; len(x) >= n; x = x[n:] {
		d.Frames.Power(bins, x[:n], 0)
		power = append(power, floats.Sum(bins)+math.SmallestNonzeroFloat64)
		floor = append(floor, order.Median(bins[low:high]))
	}
	return floor, power
}
