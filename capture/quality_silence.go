package capture

import (
	"asworn/capture/study"
	"fmt"
	"math"
	"math/cmplx"
)

// Limits of what is read off the silence about the sweeps. Common practice, no
// source.
const (
	decaySeconds   = 0.15  // after a sweep, until the room is quiet
	silenceSeconds = 0.1   // least length of a silence
	dcNote         = 0.01  // of full scale
	dcWarning      = 0.1   // of full scale: a tenth of the headroom
	humDB          = -40.0 // re the sweep
	humLines       = 8     // harmonics of the mains that are looked at
	humOverFloor   = 10.0  // power of a line over that beside it
	humRateHz      = 4000  // least rate to which silences are decimated
)

// silences returns the ranges of samples in which nothing was played: before
// the first repeat, between the repeats and after the last, each long enough
// to tell hum.
func (t *take) silences() (out [][2]int) {
	least, guard := int(silenceSeconds*t.p.rate), int(0.01*t.p.rate)
	add := func(from, to int) {
		if to = min(to, t.total); to-from >= least {
			out = append(out, [2]int{from, to})
		}
	}
	if from, to := t.leadRange(); to > from {
		add(from, to)
	}
	for k, cut := range t.cut {
		from := cut + t.p.preroll + len(t.p.x) + int(decaySeconds*t.p.rate)
		to := t.total - guard
		if k+1 < len(t.cut) {
			to = t.cut[k+1] - guard
		}
		// Of several whole periods without a repeat only the first gap is known
		// to be silent.
		add(from, min(to, cut+t.p.preroll+t.p.period-guard, from+int(leadSeconds*t.p.rate)))
	}
	return out
}

// checkSilence looks for d.c. and mains hum in a channel.
func (t *take) checkSilence(d *desk, role int) (out []Finding) {
	x, quiet := t.x[role], t.silences()
	if x == nil {
		return nil
	}
	out = t.checkOffset(role, x, quiet)
	level := t.levelOf(role)
	if level <= NoLevelDB {
		return out
	}
	var pieces [][]float64
	for _, q := range quiet {
		pieces = append(pieces, x[q[0]:q[1]])
	}
	if len(pieces) == 0 && role != loopback {
		pieces = append(pieces, t.remainder(d, role))
	}
	mains, power := hum(pieces, t.p.rate)
	// As a sine of full scale is 0 dB.
	if over := decibels(2*power) - level; over >= humDB {
		out = append(out, Finding{Code: "mains-hum", Severity: Warning, Channel: channelNames[role], Value: over, Unit: "dB re sweep",
			Message: fmt.Sprintf("mains hum of %d Hz and its harmonics is %.0f dB below the sweep", mains, -over),
			Mend:    "look for ground loops, unbalanced cables and power supplies near the microphones; one supply for player and recorder helps"})
	}
	return out
}

// checkOffset reports a d.c. offset.
func (t *take) checkOffset(role int, x []float64, quiet [][2]int) []Finding {
	total, n := 0.0, 0
	for _, q := range quiet {
		total += sum(x[q[0]:q[1]])
		n += q[1] - q[0]
	}
	least := dcNote
	if n == 0 {
		// The sweep's first cycles need not sum to nothing.
		total, n, least = sum(x), len(x), 3*dcNote
	}
	dc := total / float64(n)
	if math.Abs(dc) < least {
		return nil
	}
	f := Finding{Code: "dc-offset", Severity: Note, Channel: channelNames[role], Value: 100 * dc, Unit: "% of full scale",
		Message: fmt.Sprintf("d.c. offset of %+.1f %% of full scale; it was taken out", 100*dc),
		Mend:    "switch on the high-pass filter of the input, or have the recorder looked at"}
	if math.Abs(dc) >= dcWarning {
		f.Severity = Warning
	}
	return []Finding{f}
}

// levelOf returns the level of the sweep in a channel, a full-scale sine being
// 0 dB.
func (t *take) levelOf(role int) float64 {
	if role != loopback {
		return t.fullScaleLevel(study.Ear(role))
	}
	g := t.refGain * t.p.xRMS
	return decibels(2 * g * g)
}

// hum returns the mains frequency of which more is there, in Hz, and the power
// of its harmonics in the pieces, those that stand out of what is beside them.
func hum(pieces [][]float64, rate float64) (mains int, power float64) {
	factor := max(1, int(rate/humRateHz))
	slow := rate / float64(factor)
	var low []float64
	var lines [2][humLines]struct{ line, beside float64 }
	total := 0.0
	for _, piece := range pieces {
		low = decimate(low, piece, factor)
		weight := float64(len(low))
		total += weight
		hann(low)
		for m, hz := range [2]float64{50, 60} {
			// Of the multiples of half the mains frequency the even ones are
			// the lines, and what is beside two lines counts for both.
			var f [2*humLines + 1]float64
			for k := range f {
				f[k] = hz / 2 * float64(k+1) / slow
			}
			power := linePowers(low, f[:])
			for k := range lines[m] {
				lines[m][k].line += weight * power[2*k+1]
				lines[m][k].beside += weight * (power[2*k] + power[2*k+2]) / 2
			}
		}
	}
	if total == 0 {
		return 50, 0
	}
	mains = 50
	for m, hz := range [2]int{50, 60} {
		sum := 0.0
		for _, l := range lines[m] {
			if l.line > humOverFloor*l.beside {
				sum += l.line / total
			}
		}
		if sum > power {
			mains, power = hz, sum
		}
	}
	return mains, power
}

// hann puts a Hann window whose mean is 1 on x. Its cosine is advanced by
// rotation, good to 1e-11 over the length of a silence.
func hann(x []float64) {
	angle := math.Pi / float64(len(x))
	z, turn := cmplx.Rect(1, angle), cmplx.Rect(1, 2*angle)
	for i := range x {
		x[i] *= 1 - real(z)
		z *= turn
	}
}

// linePowers returns the powers of sines of f cycles per sample in a windowed
// signal (G. Goertzel, Amer. Math. Monthly 65, 1958). Each recursion waits for
// its own last step, so several go side by side.
func linePowers(x, f []float64) []float64 {
	const side = 6
	out := make([]float64, 0, len(f)+side)
	for at := 0; at < len(f); at += side {
		var c [side]float64
		for i := range c {
			c[i] = 2 * math.Cos(2*math.Pi*f[min(at+i, len(f)-1)])
		}
		c0, c1, c2, c3, c4, c5 := c[0], c[1], c[2], c[3], c[4], c[5]
		var a0, a1, a2, a3, a4, a5, b0, b1, b2, b3, b4, b5 float64
		for _, v := range x {
			a0, b0 = v+c0*a0-b0, a0
			a1, b1 = v+c1*a1-b1, a1
			a2, b2 = v+c2*a2-b2, a2
			a3, b3 = v+c3*a3-b3, a3
			a4, b4 = v+c4*a4-b4, a4
			a5, b5 = v+c5*a5-b5, a5
		}
		a, b := [side]float64{a0, a1, a2, a3, a4, a5}, [side]float64{b0, b1, b2, b3, b4, b5}
		n := float64(len(x))
		for i := range c {
			out = append(out, 2*(a[i]*a[i]+b[i]*b[i]-c[i]*a[i]*b[i])/(n*n))
		}
	}
	return out[:len(f)]
}

// remainder returns what the response does not explain of the first repeat in
// an ear's channel: the recording less the excitation through the windowed
// response.
func (t *take) remainder(b *desk, role int) []float64 {
	p := t.p
	k := t.firstKept()
	h := t.spectrum(k, role)
	b.fft.Inverse(b.impulse, h)
	whole := int(math.Floor(t.onset(b.impulse)))
	for i, w := range p.window {
		j := (((whole - p.pre + i) % p.n) + p.n) % p.n
		b.impulse[j] *= 1 - w
	}
	b.fft.Forward(b.mean, b.impulse)
	r := t.played
	if t.x[loopback] != nil {
		r = t.spectrum(k, loopback)
	}
	for i := range b.mean {
		b.mean[i] *= r[i]
	}
	b.fft.Inverse(b.impulse, b.mean)
	return b.impulse[:min(p.segment, t.total-t.cut[k])]
}
