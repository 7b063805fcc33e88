package given

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"

	"asworn/capture/band"
	"asworn/capture/deconv"
	"asworn/capture/excitation"
	"asworn/capture/finding"
	"asworn/capture/response"
	"asworn/capture/study"
	"asworn/capture/wavfile"
)

const (
	// maxImpulseSeconds bounds what is read; a headphone has rung down long before.
	maxImpulseSeconds = 20
	// cutOffDB: a response whose last tenth holds more than this below its whole
	// was cut off before it had rung down. Common practice, no source.
	cutOffDB = -40
	// spreadDB: a file whose last tenth holds more than this below its whole (noise: -10 dB),
	// or that comes to this share of its highest value again outside the window, holds no response
	// that has one onset and rings down, but noise, a tone or a recording. Our choice, no source.
	spreadDB, again = -10.5, 0.7
	// noiseSeconds is the least that must lie outside the window to tell noise.
	noiseSeconds = 0.02
	// periods of its lower edge that a band needs within the window.
	periods = 2
)

// Impulse makes a response per ear of an impulse response file: the setup's
// channels, its window about the direct sound, its microphone corrections. Levels
// are those of the file's own values ("dB, relative"). Noise is what lies outside
// the window, where that is long enough; else it is not known, and standard
// errors are 0. Errors are the file's: no such channel, too long, unreadable.
func Impulse(r *wavfile.Reader, s study.Setup) (response.Recording, error) {
	format, n := r.Format(), r.Frames()
	rate := float64(format.RateHz)
	if seconds := float64(n) / rate; seconds > maxImpulseSeconds {
		return response.Recording{}, &wavfile.Error{Message: fmt.Sprintf("%.0f s are no impulse response", seconds),
			Mend: fmt.Sprintf("cut it to %d s, or say in the sheet that the file holds a recording", maxImpulseSeconds)}
	}
	x := make([][]float64, format.Channels)
	for i := range x {
		x[i] = make([]float64, n)
	}
	if got, err := readAll(r, x); err != nil {
		return response.Recording{}, err
	} else if got < int(n) {
		return response.Recording{}, &wavfile.Error{Message: fmt.Sprintf("the file ends after %d of %d samples", got, n), Mend: "copy it again"}
	}
	rec := empty()
	for e, channel := range [2]int{s.Left, s.Right} {
		switch {
		case channel == 0:
			continue
		case channel > len(x):
			return rec, &wavfile.Error{Message: fmt.Sprintf("it has no channel %d for the %s ear", channel, study.Ear(e)),
				Mend: "write both ears into the file, on the channels that study.toml names"}
		}
		rec.AddFindings(one(&rec.Ears[e], x[channel-1], rate, s, study.Ear(e))...)
	}
	if s.Left > 0 && s.Right > 0 && slices.Equal(x[s.Left-1], x[s.Right-1]) {
		rec.AddFindings(finding.New(finding.IdenticalChannels, "both ears hold the same values").Mended("write each ear's own response into its channel"))
	}
	rec.AddFindings(untold("an impulse response", "clipping, clock, distortion and repeats"))
	return rec, nil
}

func readAll(r *wavfile.Reader, x [][]float64) (int, error) {
	got := 0
	for got < len(x[0]) {
		rest := make([][]float64, len(x))
		for i := range x {
			rest[i] = x[i][got:]
		}
		k, err := r.Read(rest)
		got += k
		if k == 0 || err != nil {
			return got, err
		}
	}
	return got, nil
}

// one fills the response of an ear from its impulse response x.
func one(r *response.Response, x []float64, rate float64, s study.Setup, e study.Ear) []finding.Finding {
	refuse := func(code finding.Code, message, mend string) []finding.Finding {
		return []finding.Finding{finding.New(code, message).On(e.String()).Mended(mend)}
	}
	top := 0
	for i, v := range x {
		if math.Abs(v) > math.Abs(x[top]) {
			top = i
		}
	}
	if len(x) == 0 || x[top] == 0 {
		return refuse(finding.Silent, "the channel holds nothing", "write this ear's impulse response into it, or leave the ear out of [channels]")
	}
	peak := firstPeak(x, top, int(0.005*rate))
	w := s.Window
	pre, post := seconds(w.PreSeconds, excitation.DefaultPreForeign, rate), seconds(w.PostSeconds, excitation.DefaultPost, rate)
	from, to := max(0, peak-pre), min(len(x), peak+post)
	tail := tailDB(x[peak:])
	if tail > spreadDB || max(highest(x[:from]), highest(x[to:])) > again*math.Abs(x[top]) {
		return refuse(finding.NoExcitation, "it rings on evenly, as noise or a recording does: no impulse response", "export the impulse response, or say in the sheet that the file holds a recording")
	}
	window := deconv.Tukey(to-from, min(peak-from, seconds(w.FadeInSeconds, float64(peak-from)/2/rate, rate)),
		min(to-peak, seconds(w.FadeOutSeconds, float64(to-peak)/4/rate, rate)))
	r.RateHz, r.Onset, r.Delay = rate, float64(peak-from), float64(peak)
	r.Impulse = make([]float64, len(window))
	for i, v := range window {
		r.Impulse[i] = v * x[from+i]
	}

	bands := band.All()
	mean, err := deconv.NewBandPower(rate, len(x), bands)
	if err != nil {
		return refuse(finding.WrongRate, err.Error(), "write the file at an audio rate")
	}
	power, noise := make([]float64, len(bands)), make([]float64, len(bands))
	mean.Mean(power, r.Impulse)
	known := restPower(noise, mean, x, from, to, rate)
	correction := s.Microphones[e].Response
	least := math.Pow(10, response.MinSNRDB/10)
	lowest := periods * rate / float64(len(window))
	for i, b := range bands {
		if known {
			noise[i] *= float64(len(window)) / float64(len(x)-len(window))
		}
		signal := max(power[i]-noise[i], 0.1*power[i])
		level := -correction.LevelDB(b.Mid)
		r.LevelDB[i], r.NoiseDB[i] = max(response.NoLevelDB, response.Decibels(signal)+level), max(response.NoLevelDB, response.Decibels(noise[i])+level)
		r.Valid[i] = power[i] > 0 && signal >= least*noise[i] && b.Lower >= lowest && b.Upper <= 0.45*rate
		if known && signal > 0 {
			// The cross term of signal and noise: relative variance of the level
			// 4·N/(S·2BT), with the band's width B and the window's length T.
			r.StdErrDB[i] = 10 / math.Ln10 * math.Sqrt(2*noise[i]/signal/max(1, (b.Upper-b.Lower)*float64(len(window))/rate))
		}
	}
	if !known {
		for i := range r.NoiseDB {
			r.NoiseDB[i] = response.NoLevelDB
		}
	}
	var found []finding.Finding
	if tail > cutOffDB {
		found = append(found, finding.New(finding.Truncated,
			finding.Text("the response is cut off before it has rung down: its last tenth holds %.0f dB of the whole", tail)).
			On(e.String()).Of(tail, "dB").Mended("export a longer response; low frequencies are wrong in a short one"))
	}
	return found
}

// firstPeak is the direct sound: the first peak within reach before the highest
// value that is 70 % of it (as for recordings, package take).
func firstPeak(x []float64, top, reach int) int {
	for i := max(1, top-reach); i < top; i++ {
		if v := math.Abs(x[i]); v >= 0.7*math.Abs(x[top]) && v >= math.Abs(x[i-1]) && v >= math.Abs(x[i+1]) {
			return i
		}
	}
	return top
}

// restPower is the power per band of what lies outside the window; false when
// that is too short to tell noise.
func restPower(noise []float64, mean *deconv.BandPower, x []float64, from, to int, rate float64) bool {
	if float64(len(x)-(to-from)) < noiseSeconds*rate {
		return false
	}
	rest := slices.Clone(x)
	clear(rest[from:to])
	mean.Mean(noise, rest)
	return true
}

// tailDB is the energy of the last tenth of x, dB re the whole.
func tailDB(x []float64) float64 {
	tail := x[len(x)*9/10:]
	return response.Decibels(floats.Dot(tail, tail) / floats.Dot(x, x))
}

// highest is the largest magnitude in x; 0 of nothing.
func highest(x []float64) float64 { return floats.Norm(x, math.Inf(1)) }

func seconds(v, otherwise, rate float64) int { return int(math.Round(cmp.Or(v, otherwise) * rate)) }
