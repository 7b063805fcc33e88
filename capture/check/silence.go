package check

import (
	"fmt"
	"math"

	"asworn/capture/finding"
	"asworn/capture/response"
	"asworn/capture/samples"
	"asworn/capture/take"
)

// checkSilence looks for d.c. and mains hum in a channel.
func checkSilence(t *take.Take, d *take.Desk, role int) (out []finding.Finding) {
	x, quiet := t.X[role], t.Silences()
	if x == nil {
		return nil
	}
	out = checkOffset(t, role, x, quiet)
	level := t.LevelOf(role)
	if level <= response.NoLevelDB {
		return out
	}
	var pieces [][]float64
	for _, q := range quiet {
		pieces = append(pieces, x[q[0]:q[1]])
	}
	if len(pieces) == 0 && role != take.Loopback {
		pieces = append(pieces, remainder(t, d, role))
	}
	// As a sine of full scale is 0 dB.
	mains, power := samples.Hum(pieces, t.Bench.RateHz, math.Pow(10, (level+humDB)/10)/2)
	if over := response.Decibels(2*power) - level; over >= humDB {
		out = append(out, finding.New(finding.MainsHum, fmt.Sprintf("mains hum of %d Hz and its harmonics is %.0f dB below the sweep", mains, -over)).
			On(take.ChannelNames[role]).Of(over, "dB re sweep"))
	}
	return out
}

// checkOffset reports a d.c. offset.
func checkOffset(t *take.Take, role int, x []float64, quiet [][2]int) []finding.Finding {
	total, n := 0.0, 0
	for _, q := range quiet {
		total += samples.Sum(x[q[0]:q[1]])
		n += q[1] - q[0]
	}
	least := dcNote
	if n == 0 {
		// The sweep's first cycles need not sum to nothing.
		total, n, least = samples.Sum(x), len(x), 3*dcNote
	}
	dc := total / float64(n)
	if math.Abs(dc) < least {
		return nil
	}
	f := finding.New(finding.DCOffset, finding.Text("d.c. offset of %+.1f %% of full scale; it was taken out", 100*dc)).
		On(take.ChannelNames[role]).Of(100*dc, "% of full scale")
	if math.Abs(dc) >= dcWarning {
		f.Severity = finding.Warning
	}
	return []finding.Finding{f}
}

// remainder returns what the response does not explain of the first repeat in
// an ear's channel: the recording less the excitation through the windowed
// response.
func remainder(t *take.Take, b *take.Desk, role int) []float64 {
	p := t.Bench
	k := t.FirstKept()
	h := t.Spectrum(k, role)
	b.FFT.Inverse(b.Impulse, h)
	whole := int(math.Floor(t.Onset(b.Impulse)))
	for i, w := range p.Window {
		j := (((whole - p.Pre + i) % p.N) + p.N) % p.N
		b.Impulse[j] *= 1 - w
	}
	b.FFT.Forward(b.Mean, b.Impulse)
	r := t.Played
	if t.X[take.Loopback] != nil {
		r = t.Spectrum(k, take.Loopback)
	}
	for i := range b.Mean {
		b.Mean[i] *= r[i]
	}
	b.FFT.Inverse(b.Impulse, b.Mean)
	return b.Impulse[:min(p.Segment, t.Total-t.Cut[k])]
}

// Limits of what is read off the silence about the sweeps. Common practice, no
// source.
const (
	dcNote    = 0.01  // of full scale
	dcWarning = 0.1   // of full scale: a tenth of the headroom
	humDB     = -40.0 // re the sweep
)
