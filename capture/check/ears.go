package check

import (
	"fmt"
	"math"

	"asworn/capture/band"
	"asworn/capture/finding"
	"asworn/capture/order"
	"asworn/capture/response"
	"asworn/capture/samples"
	"asworn/capture/study"
	"asworn/capture/take"
)

// checkEars compares the two ears: level and polarity.
func checkEars(t *take.Take) {
	for e := range study.Ears {
		if t.X[e] == nil || t.Peak[e] == 0 || t.Spoilt[e] {
			return
		}
	}
	l, r := &t.Rec.Ears[take.Left], &t.Rec.Ears[take.Right]
	var apart []float64
	for i, b := range t.Bench.Bands {
		if b.Lower >= max(200, t.Bench.LowHz) && b.Upper <= min(5000, t.Bench.HighHz) && l.LevelDB[i] > response.NoLevelDB && r.LevelDB[i] > response.NoLevelDB {
			apart = append(apart, l.LevelDB[i]-r.LevelDB[i])
		}
	}
	if m := order.Median(apart); math.Abs(m) > louderDB {
		loud, soft := take.Left, take.Right
		if m < 0 {
			loud, soft = take.Right, take.Left
		}
		t.Add(finding.New(finding.EarsUnequal, fmt.Sprintf("the %s ear is %.0f dB louder than the %s", take.ChannelNames[loud], math.Abs(m), take.ChannelNames[soft])).
			On(take.ChannelNames[soft]).Of(math.Abs(m), "dB"))
	}
	a, b := midRange(t, take.Left), midRange(t, take.Right)
	if a == nil || b == nil {
		return
	}
	l.Polarity, r.Polarity = samples.Swing(a), samples.Swing(b)
	up, down := samples.Correlation(a, b, max(1, int(0.001*t.Bench.RateHz)/midFactor(t.Bench.RateHz)))
	if down > oppositeOver*up && down > oppositeLeast {
		t.Add(finding.New(finding.Polarity, fmt.Sprintf("the two ears have opposite polarity (correlation %.2f from 200 Hz to 2 kHz)", -down)).
			Of(-down, "").Mended("find the cable, plug or phase switch that turns the sign of one side; levels are not affected, times and phases are"))
	}
}

func midFactor(rate float64) int { return max(1, int(rate/6000)) }

// midRange returns 10 ms about the direct sound from 200 Hz to about 2 kHz, at
// a low rate; nil when there is none.
func midRange(t *take.Take, role int) []float64 {
	r := &t.Rec.Ears[role]
	around := int(0.008 * t.Bench.RateHz)
	at := int(math.Round(r.Onset))
	from, to := max(0, at-around/2), min(len(r.Impulse), at+around)
	if to-from < around {
		return nil
	}
	factor := midFactor(t.Bench.RateHz)
	x := samples.Decimate(nil, r.Impulse[from:to], factor)
	pole := math.Exp(-2 * math.Pi * 200 / (t.Bench.RateHz / float64(factor)))
	y, before := 0.0, 0.0
	for i, v := range x {
		y = pole*y + v - before
		before = v
		x[i] = y
	}
	return x
}

// checkLoopback looks for a microphone in the place of the loopback: a wire's
// response is flat, an earphone's is not.
func checkLoopback(t *take.Take) []finding.Finding {
	if t.X[take.Loopback] == nil {
		return nil
	}
	wire := t.Spectrum(0, take.Loopback)
	bumps := roughness(t, wire, nil)
	if bumps < bumpyLoopDB {
		return nil
	}
	for e := range 2 {
		if t.X[e] == nil {
			continue
		}
		h := t.Spectrum(t.FirstKept(), e)
		if own := roughness(t, wire, h); own < min(flatLoopDB, bumps/3) {
			return []finding.Finding{finding.New(finding.ChannelsSwapped, fmt.Sprintf("the %s channel holds the loopback and the loopback channel a microphone: the one is flat within %.1f dB, the other within %.1f dB", take.ChannelNames[e], own, bumps)).
				On(take.ChannelNames[e]).Of(bumps, "dB").Mended("correct the channel numbers in study.toml, or the cables and record again")}
		}
	}
	return nil
}

// checkWire looks for a loopback that is not flat: the response is divided by it,
// and takes over the inverse of what it lacks.
func checkWire(t *take.Take) []finding.Finding {
	p := t.Bench
	if t.X[take.Loopback] == nil {
		return nil
	}
	wire, step := t.Spectrum(t.FirstKept(), take.Loopback), p.RateHz/float64(p.N)
	level := func(b band.Band) float64 {
		var played, heard float64
		for k := int(math.Ceil(b.Lower / step)); float64(k) < b.Upper/step && k < len(wire); k++ {
			played += real(p.Spectrum[k])*real(p.Spectrum[k]) + imag(p.Spectrum[k])*imag(p.Spectrum[k])
			heard += real(wire[k])*real(wire[k]) + imag(wire[k])*imag(wire[k])
		}
		return response.Decibels(heard) - response.Decibels(played)
	}
	var at, hz []float64
	for _, b := range band.AllThirds() {
		if b.Lower > 1.05*p.LowHz && b.Upper < min(p.HighHz/1.05, 0.45*p.RateHz) && b.Mid > 15 && b.Upper/step-b.Lower/step > 4 {
			at, hz = append(at, level(b)), append(hz, b.Mid)
		}
	}
	if len(at) < 6 {
		return nil
	}
	usual, worst := order.Median(at), 0
	for i := range at {
		if math.Abs(at[i]-usual) > math.Abs(at[worst]-usual) {
			worst = i
		}
	}
	off := at[worst] - usual
	if math.Abs(off) < notFlatDB {
		return nil
	}
	return []finding.Finding{finding.New(finding.LoopbackNotFlat, finding.Text("the loopback is %+.1f dB at %.0f Hz against its middle: the responses have the opposite error", off, hz[worst])).
		On(take.ChannelNames[take.Loopback]).Of(off, "dB")}
}

// roughness returns the standard deviation over third octaves of the level of the loopback
// re the excitation, in dB, times the response of an ear, if any.
func roughness(t *take.Take, wire, ear []complex128) float64 {
	p := t.Bench
	step := p.RateHz / float64(p.N)
	var n, sum, square float64
	for f := max(2*p.LowHz, 50); f*1.26 < min(p.HighHz/1.5, 0.35*p.RateHz); f *= 1.26 {
		from, to := int(f/step), int(f*1.26/step)
		if from >= to {
			continue
		}
		mean, played := 0.0, p.Spectrum[from:to]
		for k, v := range wire[from:to] {
			if ear != nil {
				v *= ear[from+k]
			}
			s := real(played[k])*real(played[k]) + imag(played[k])*imag(played[k])
			mean += (real(v)*real(v) + imag(v)*imag(v)) / max(s, 1e-300)
		}
		l := response.Decibels(mean / float64(to-from))
		n, sum, square = n+1, sum+l, square+l*l
	}
	if n < 3 {
		return 0
	}
	return math.Sqrt(max(0, square/n-sum*sum/n/n))
}

// Limits of what is told from the channels together. Common practice, no source.
const (
	louderDB      = 10.0 // one ear over the other, median from 200 Hz to 5 kHz
	flatLoopDB    = 0.5  // standard deviation of the level of a wire over the thirds
	bumpyLoopDB   = 1.0  // … of what is no wire
	notFlatDB     = 1.0  // of one third octave of a wire from its middle
	oppositeOver  = 1.4  // negative over positive correlation of the ears
	oppositeLeast = 0.4  // normalised
)
