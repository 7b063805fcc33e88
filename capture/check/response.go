package check

import (
	"fmt"
	"math"
	"slices"

	"asworn/capture/band"
	"asworn/capture/finding"
	"asworn/capture/response"
	"asworn/capture/study"
	"asworn/capture/take"
)

func checkDrift(t *take.Take) {
	rec := t.Rec
	d := math.Abs(rec.DriftPPM)
	switch {
	case d <= largeDriftPPM || d <= 3*rec.DriftSEPPM:
	case d > wildDriftPPM:
		t.Add(finding.New(finding.Drift, finding.Text("the recorder's clock runs %+.0f ppm against playback, more than clocks do; it was allowed for as far as it is one", rec.DriftPPM)).
			Of(rec.DriftPPM, "ppm").Rated(finding.Warning).Mended("look for a rate converter, a rate that is set wrongly in one device, lost samples, or another sweep than the stated one; use one clock for both"))
	default:
		t.Add(finding.New(finding.Drift, finding.Text("the recorder's clock runs %+.0f ppm against playback; it was allowed for", rec.DriftPPM)).
			Of(rec.DriftPPM, "ppm"))
	}
}

func checkLevel(t *take.Take, e study.Ear) {
	if level := t.FullScaleLevel(e); level < lowLevelDB {
		t.Add(finding.New(finding.LowLevel, finding.Text("the sweep is recorded at %.0f dB re full scale", level)).
			On(take.ChannelNames[e]).Of(level, "dB re full scale"))
	}
}

func checkNoise(t *take.Take, e study.Ear) {
	r := &t.Rec.Ears[e]
	var snr []float64
	for i := range r.LevelDB {
		if b := t.Bench.Bands[i]; b.Lower >= max(t.Bench.LowHz, 40) && b.Upper <= min(t.Bench.HighHz, 16000) {
			snr = append(snr, r.LevelDB[i]-r.NoiseDB[i])
		}
	}
	if len(snr) == 0 {
		return
	}
	slices.Sort(snr)
	if m := snr[len(snr)/2]; m < noisySNRDB {
		f := finding.New(finding.Noisy, finding.Text("signal to noise is %.0f dB in the middle of the bands", m)).
			On(take.ChannelNames[e]).Of(m, "dB")
		if m < response.MinSNRDB {
			f = f.Rated(finding.Refusal)
		}
		t.Add(f)
	}
}

// checkDistortion adds up the harmonics per third of an octave of the
// fundamental where they stand out of the noise.
func checkDistortion(t *take.Take, e study.Ear) {
	r := &t.Rec.Ears[e]
	if len(r.HarmonicDB) == 0 || t.Spoilt[e] {
		return
	}
	worst, at := math.Inf(-1), 0.0
	const third = band.PerThird
	// math.Pow takes four times as long as math.Exp, and this is asked for each order.
	power10 := func(db float64) float64 { return math.Exp(db * math.Ln10 / 10) }
	over := power10(distortionOver)
	for i := 0; i+third <= len(r.LevelDB); i += third {
		var linear, sum float64
		for o, h := range t.Bench.Orders {
			// The window of a harmonic lets in less noise than that of the
			// response; below its resolution nothing is told.
			share, seconds := h.SumW2/t.Bench.SumW2, float64(len(h.Window))/t.Bench.RateHz
			if t.Bench.Bands[i].Lower*float64(h.Order) < 6/seconds || t.Bench.Bands[i].Lower < 2*t.Bench.LowHz {
				continue
			}
			var power, noise float64
			for j := i; j < i+third; j++ {
				k := j + int(math.Round(band.Fraction*math.Log2(float64(h.Order))))
				if k >= len(r.NoiseDB) || !r.Valid[j] || r.HarmonicDB[o][j] <= response.NoLevelDB {
					power, noise = 0, 1
					break
				}
				power += power10(r.HarmonicDB[o][j] + r.LevelDB[j])
				noise += share * power10(r.NoiseDB[k])
			}
			if power > noise*over {
				sum += power - noise
			}
		}
		for j := i; j < i+third; j++ {
			linear += power10(r.LevelDB[j])
		}
		if d := response.Decibels(sum / linear); sum > 0 && d > worst {
			worst, at = d, t.Bench.Bands[i+third/2].Mid
		}
	}
	if worst > distortionDB {
		t.Add(finding.New(finding.Distortion, fmt.Sprintf("harmonics of %.1f %% about %.0f Hz", 100*math.Pow(10, worst/20), at)).
			On(take.ChannelNames[e]).Of(100*math.Pow(10, worst/20), "%"))
	}
}

// Limits of what is read off the responses. Common practice, no source.
const (
	lowLevelDB     = -50.0 // sweep re full scale, AES17
	noisySNRDB     = 30.0  // median over the bands
	largeDriftPPM  = 100.0
	wildDriftPPM   = 500.0 // more than any clock: IEC 60908 allows a player 100 (from memory)
	distortionDB   = -30.5 // 3 %, orders 2 to 5 together, in a third of an octave
	distortionOver = 6.0   // dB over the noise there
)
