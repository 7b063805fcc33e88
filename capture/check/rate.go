package check

import (
	"fmt"

	"asworn/capture/deconv"
	"asworn/capture/finding"
	"asworn/capture/locate"
	"asworn/capture/take"
)

// wrongRates are the ratios of rates that are mistaken for each other.
var wrongRates = [...]float64{44100.0 / 48000, 48000.0 / 44100, 0.5, 2, 88200.0 / 96000, 96000.0 / 44100, 44100.0 / 96000}

// playedAtAnotherRate looks for the excitation as it sounds when the rate of
// player and recorder are not the same, and returns the ratio of the second to
// the first; 0 when it is not there either.
func playedAtAnotherRate(t *take.Take) float64 {
	if !t.Bench.Design {
		return anotherRateOf(t, func(ratio float64) []float64 { return deconv.Resample(t.Bench.X, ratio) })
	}
	return anotherRateOf(t, t.Bench.Setup.Sweep.Stretched)
}

func anotherRateOf(t *take.Take, stretched func(ratio float64) []float64) float64 {
	best, at := max(doubtful, wrongRateOver*t.Found.Clarity), 0.0
	heard := t.Ears()
	if t.X[take.Loopback] != nil {
		heard = [][]float64{t.X[take.Loopback]}
	}
	for _, ratio := range wrongRates {
		c := t.Bench.Target()
		c.X = stretched(ratio)
		c.Period = int(float64(c.Period) * ratio)
		c.LowHz, c.HighHz = c.LowHz/ratio, min(c.HighHz/ratio, c.RateHz/2)
		c.Repeats = 1
		if found := locate.New(c).Locate(heard...); found.Clarity > best {
			best, at = found.Clarity, ratio
		}
	}
	return at
}

// RefuseRate refuses a recording whose header gives another rate than the
// study. Nothing is resampled: whether header or study is wrong decides what
// the samples mean. The sweep tells which: it is there at the study's rate when
// only the header is wrong.
func RefuseRate(t *take.Take, rateHz float64) {
	f := finding.New(finding.WrongRate, fmt.Sprintf("the file's header says %.6g Hz, the study %.6g", rateHz, t.Bench.RateHz)).
		Of(rateHz, "Hz").Mended("record again at the rate of the study, or set sweep.rate_hz to the rate that was played and recorded")
	if t.Found.Clarity >= doubtful && playedAtAnotherRate(t) == 0 {
		f.Message += fmt.Sprintf("; the excitation is there as it is at %.6g Hz, so the header is wrong", t.Bench.RateHz)
		f.Mend = fmt.Sprintf("write a copy of the file whose header says %.6g Hz and name the copy in the sheet; set the recorder right", t.Bench.RateHz)
	}
	t.Add(f)
}

// checkRate reports whether the excitation is there at another rate.
func checkRate(t *take.Take) bool {
	ratio := playedAtAnotherRate(t)
	if ratio == 0 {
		return false
	}
	t.Add(finding.New(finding.WrongRate, fmt.Sprintf("the excitation is there %.4g times as long as it should be: player and recorder ran at different rates, such as %.0f and %.0f Hz, or another sweep was played than the stated one", ratio, t.Bench.RateHz, ratio*t.Bench.RateHz)).
		Of(ratio*t.Bench.RateHz, "Hz"))
	return true
}
