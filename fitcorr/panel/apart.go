package panel

import (
	"asworn/capture"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
)

// readApart is half of what the left cup lies before and above the right one on the mean of the
// panel's worn seatings, as a ruler has it where both cups were read by themselves: against
// the survey's rows at the same point, whose cups were displaced alike. Sound says next to nothing of it,
// since a left ear that is unlike the fixture's looks the same. Each ear's entrance is found by
// itself, with the errors of landmarks that are stated of the head's. A worn seating counts as
// one, as in the panel's mean; those that were not read are taken to be like the others. False without
// such readings on as many seatings and rows as a mark takes.
func readApart(su *position.Model, u capture.ReadingUncertainty) (at, variance [placing.ReadDim]float64, ok bool) {
	var sum [2][placing.ReadDim]float64 // of worn seatings, and of the survey's rows
	var one, n [2]float64
	heads := map[string]float64{}
	for _, s := range su.Seatings {
		k := 0
		switch {
		case s.ReadApart == nil || s.Read == nil:
			continue
		case s.OnFixture() && s.Displaced() && s.Survey.RotationDeg == 0:
			k = 1
		case s.Worn():
			heads[s.Subject]++
		default:
			continue
		}
		sum[k][0] += s.ReadApart.ForwardMM
		sum[k][1] += s.ReadApart.UpMM
		one[k] += 1 / s.ReadApartWorth
		n[k]++
	}
	if n[0] < placing.ReadFewest || n[1] < placing.ReadFewest {
		return at, variance, false
	}
	var listeners float64 // Σ share²
	for _, k := range heads {
		listeners += k * k / (n[0] * n[0])
	}
	const half = 0.5 // half the difference of two ears' errors, each with the variance of one
	for a := range at {
		at[a] = sum[0][a]/n[0] - sum[1][a]/n[1]
		variance[a] = u.OneMM*u.OneMM*(one[0]/(n[0]*n[0])+one[1]/(n[1]*n[1])) +
			half*(u.FixtureLandmarkMM*u.FixtureLandmarkMM+u.LandmarkMM*u.LandmarkMM*listeners)
	}
	return at, variance, true
}
