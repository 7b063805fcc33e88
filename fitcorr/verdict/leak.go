package verdict

import (
	"fmt"
	"math"

	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// leakToleranceDB is the excess loss at 50 Hz that counts as a leak of its own.
const leakToleranceDB = 1.5

// at50 is 50 Hz among the frequencies of a loss.
const at50 = 1

// judgeLeak compares the loss at 50 Hz with the worn one.
func judgeLeak(v *Verdict, o position.Offset, t *Target, open bool, opt seat.Options) {
	for e := range 2 {
		ev := &v.Ears[e]
		if open {
			ev.Seal = SealAsWorn
			continue
		}
		ev.judgeSeal(o.Leak[e].Class != "", o.Leak[e].LossDB[at50]-t.LossDB[e][at50], o.Leak[e].LossSE[at50], t.LossSE[e][at50], t.LossDF[e], opt.Confidence)
	}
	farther := 1
	if math.Abs(v.Ears[0].LeakExcessDB[0]) > math.Abs(v.Ears[1].LeakExcessDB[0]) {
		farther = 0
	}
	v.Headset.LeakExcessDB = v.Ears[farther].LeakExcessDB
	v.Headset.Seal = SealAsWorn
	for _, s := range []Seal{SealUndetermined, SealTighter, SealLeaks} { // the worst of both, last
		if v.Ears[0].Seal == s || v.Ears[1].Seal == s {
			v.Headset.Seal = s
		}
	}
}

// judgeSeal judges a difference of losses with the standard errors of this
// seating's loss and of the panel's mean loss, dB; df are the latter's degrees of
// freedom, 0 of a single listener.
func (ev *EarVerdict) judgeSeal(known bool, diff, own, panel, df, confidence float64) {
	ev.Seal = SealUndetermined
	if !known {
		ev.LeakWhy = "its low end does not count in enough bands: record it again with less noise below 900 Hz"
		return
	}
	se, pooled := math.Hypot(own, panel), stats.PooledDF(own*own, 0, panel*panel, df)
	k := stats.Coverage(confidence, pooled)
	ev.LeakExcessDB = [3]float64{diff, diff - k*se, diff + k*se}
	margin := math.Abs(diff) - leakToleranceDB // beyond the tolerance, or short of it
	switch told := oneSided(confidence, pooled)*se < math.Abs(margin); {
	case df == 0:
		ev.LeakWhy = "one listener does not tell how leaks differ between people: more listeners would"
	case told && margin < 0:
		ev.Seal = SealAsWorn
	case told && diff > 0:
		ev.Seal = SealLeaks
	case told:
		ev.Seal = SealTighter
	case own > panel:
		ev.LeakWhy = fmt.Sprintf("its own loss at 50 Hz is known to ±%.1f dB only: a recording with less noise below 100 Hz, or a leak made on purpose in the survey, would tell", k*own)
	default:
		ev.LeakWhy = fmt.Sprintf("leaks differ between listeners, whose mean loss at 50 Hz is known to ±%.1f dB only: ", stats.Coverage(confidence, df)*panel)
		if n := listenersToTell(own, panel, df, math.Abs(margin), confidence); n > 0 {
			ev.LeakWhy += fmt.Sprintf("about %d listeners in all would tell", n)
		} else {
			ev.LeakWhy += fmt.Sprintf("it lies too close to the tolerance of %.1f dB for more listeners to tell", leakToleranceDB)
		}
	}
}

// oneSided is the one-sided quantile of Student's t, normal for df of 0.
func oneSided(confidence, df float64) float64 { return stats.Coverage(2*confidence-1, df) }

// mostListeners is the largest panel that is advised.
const mostListeners = 40

// listenersToTell is how many listeners, who differ as those of the panel do, would
// bring the one-sided limit of a difference within margin; 0 when no panel of a
// sensible size does.
func listenersToTell(own, panel, df, margin, confidence float64) int {
	for n := df + 2; n <= mostListeners; n++ {
		v := panel * panel * (df + 1) / n
		pooled := stats.PooledDF(own*own, 0, v, n-1)
		if oneSided(confidence, pooled)*math.Sqrt(own*own+v) < margin {
			return int(n)
		}
	}
	return 0
}
