package fitcorr

import (
	"asworn/capture"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/seat"
)

// Listener is what one person's ordinary seatings of a model come to on average.
type Listener struct {
	Seatings int // whose offset is known; with 0 the rest is zero
	// Ears and Headset are mean offsets from the fixture's marked position.
	Ears    [2]Estimate
	Headset Estimate
	// LossDB is the level loss at 50 Hz per ear, dB: mean, least, most; meant where
	// Seals is true, which it is not of an open model.
	LossDB [2][3]float64
	Seals  [2]bool
}

// Listener averages the ordinary seatings of a subject.
func (m ModelAnalysis) Listener(who string) Listener {
	var out Listener
	var ears [2][]Estimate
	var headset []Estimate
	var leaks [2][]Leak
	for _, o := range m.Offsets {
		if o.Subject != who || o.Survey {
			continue
		}
		out.Seatings++
		headset = append(headset, o.Headset)
		for e := range ears {
			ears[e], leaks[e] = append(ears[e], o.Ears[e]), append(leaks[e], o.Leak[e])
		}
	}
	if out.Seatings == 0 {
		return out
	}
	out.Headset = seat.Mean(headset)
	for _, e := range capture.Ears {
		out.Ears[e] = seat.Mean(ears[e])
		loss := &out.LossDB[e]
		loss[0], loss[1], loss[2], out.Seals[e] = seal.MeanLoss(leaks[e])
	}
	return out
}
