package capture

import (
	"fmt"
	"math"
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

// checkSilence looks for d.c. and mains hum.
func (t *take) checkSilence() {
	quiet := t.silences()
	for role, x := range t.x {
		if x == nil {
			continue
		}
		t.checkOffset(role, x, quiet)
		level := t.levelOf(role)
		if level <= NoLevelDB {
			continue
		}
		var pieces [][]float64
		for _, q := range quiet {
			pieces = append(pieces, x[q[0]:q[1]])
		}
		if len(pieces) == 0 && role != loopback {
			pieces = append(pieces, t.remainder(role))
		}
		mains, power := hum(pieces, t.p.rate)
		// As a sine of full scale is 0 dB.
		if over := decibels(2*power) - level; over >= humDB {
			t.add(Finding{Code: "mains-hum", Severity: Warning, Channel: channelNames[role], Value: over, Unit: "dB re sweep",
				Message: fmt.Sprintf("mains hum of %d Hz and its harmonics is %.0f dB below the sweep", mains, -over),
				Mend:    "look for ground loops, unbalanced cables and power supplies near the microphones; one supply for player and recorder helps"})
		}
	}
}

// checkOffset reports a d.c. offset.
func (t *take) checkOffset(role int, x []float64, quiet [][2]int) {
	sum, n := 0.0, 0
	for _, q := range quiet {
		for _, v := range x[q[0]:q[1]] {
			sum += v
		}
		n += q[1] - q[0]
	}
	least := dcNote
	if n == 0 {
		// The sweep's first cycles need not sum to nothing.
		for _, v := range x {
			sum += v
		}
		n, least = len(x), 3*dcNote
	}
	dc := sum / float64(n)
	if math.Abs(dc) < least {
		return
	}
	f := Finding{Code: "dc-offset", Severity: Note, Channel: channelNames[role], Value: 100 * dc, Unit: "% of full scale",
		Message: fmt.Sprintf("d.c. offset of %+.1f %% of full scale; it was taken out", 100*dc),
		Mend:    "switch on the high-pass filter of the input, or have the recorder looked at"}
	if math.Abs(dc) >= dcWarning {
		f.Severity = Warning
	}
	t.add(f)
}

// levelOf returns the level of the sweep in a channel, a full-scale sine being
// 0 dB.
func (t *take) levelOf(role int) float64 {
	if role != loopback {
		return t.fullScaleLevel(Ear(role))
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
		window := hann(len(low))
		for i, v := range low {
			low[i] = v * window[i]
		}
		for m, hz := range [2]float64{50, 60} {
			for k := range lines[m] {
				f := hz * float64(k+1)
				lines[m][k].line += weight * linePower(low, f/slow)
				lines[m][k].beside += weight * (linePower(low, (f-hz/2)/slow) + linePower(low, (f+hz/2)/slow)) / 2
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

// hann is a Hann window whose mean is 1.
func hann(n int) []float64 {
	w := make([]float64, n)
	for i := range w {
		w[i] = 1 - math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
	}
	return w
}

// linePower returns the power of a sine of f cycles per sample in a windowed
// signal (G. Goertzel, Amer. Math. Monthly 65, 1958).
func linePower(x []float64, f float64) float64 {
	c := 2 * math.Cos(2*math.Pi*f)
	var a, b float64
	for _, v := range x {
		a, b = v+c*a-b, a
	}
	n := float64(len(x))
	return 2 * (a*a + b*b - c*a*b) / (n * n)
}

// remainder returns what the response does not explain of the first repeat in
// an ear's channel: the recording less the excitation through the windowed
// response.
func (t *take) remainder(role int) []float64 {
	p, b := t.p, &t.p.buf
	k := t.firstKept()
	h := t.spectrum(k, role)
	p.fft.Inverse(b.impulse, h)
	whole := int(math.Floor(t.onset()))
	for i, w := range p.window {
		j := (((whole - p.pre + i) % p.n) + p.n) % p.n
		b.impulse[j] *= 1 - w
	}
	p.fft.Forward(b.mean, b.impulse)
	reference := t.x[loopback]
	r := t.reference()
	if reference != nil {
		r = t.spectrum(k, loopback)
	}
	for i := range b.mean {
		b.mean[i] *= r[i]
	}
	p.fft.Inverse(b.impulse, b.mean)
	return b.impulse[:min(p.segment, t.total-t.cut[k])]
}
