package seal

import (
	"math"

	"asworn/fitcorr/stats"
)

// PanelLoss is what a panel loses to leaks at one ear, at 20, 50 and 100 Hz in dB.
// Glasses and hair belong to people, so the mean is over listeners, each the mean
// of their seatings, and its standard error comes from how listeners differ.
type PanelLoss struct {
	MeanDB [3]float64 // mean over listeners
	SE     [3]float64 // its standard error, with DF degrees of freedom (panelSpreadDB); 0 of one listener
	SD     [3]float64 // over seatings; 0 of one seating
	DF     float64    // listeners − 1
}

// What is assumed of how far listeners' mean losses lie apart, with how many degrees
// of freedom: one in four who lose 7 dB do. Leaks are rare and large, so that a panel that
// happens to hold few of those who leak shows too little of it (our choice, no source;
// TestRareLeaks). It only raises what the panel shows, and only where there is more than one listener.
const (
	panelSpreadDB = 3.0
	panelSpreadDF = 7.0
)

// OfPanel sums up the leaks of one ear; subjects names who wore each. Those
// without a class are left out; without any the result is zero.
func OfPanel(subjects []string, leaks []Leak) (p PanelLoss) {
	var who []string
	var loss [3][]float64
	for i, l := range leaks {
		if l.Class == "" {
			continue
		}
		who = append(who, subjects[i])
		for k, v := range l.LossDB {
			loss[k] = append(loss[k], v)
		}
	}
	if len(who) == 0 {
		return PanelLoss{}
	}
	for k, x := range loss {
		p.MeanDB[k], p.SE[k], p.DF = stats.GroupMean(who, x)
		_, p.SD[k] = stats.MeanSD(x)
		if n := p.DF + 1; n > 1 {
			shown := p.SE[k] * p.SE[k] * n
			p.SE[k] = math.Sqrt(math.Max(shown, (panelSpreadDF*panelSpreadDB*panelSpreadDB+p.DF*shown)/(panelSpreadDF+p.DF)) / n)
		}
		for _, v := range []*float64{&p.SE[k], &p.SD[k]} {
			if math.IsNaN(*v) {
				*v = 0
			}
		}
	}
	return p
}
