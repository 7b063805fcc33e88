package position

import (
	"math"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/seat"
)

// believeChance is the probability with which readings of seatings that sound places as well as it
// states would have it believed less (our choice: it costs width and no answer).
const believeChance = 1e-2

// Believe holds all ordinary seatings that were read on the fixture against what the sound
// alone says of them. A survey's held-out rows calibrate it by a dozen displacements; where its surface is wrong
// between them, as over cups that answer nearly alike to opposite displacements, the readings of
// the seatings show it all together before any of them shows it alone. By a likelihood ratio
// (Wilks, Ann. Math. Stat. 9(1), 1938, quoted from memory) of the temper of the headset that gives the readings their greatest
// density, with the prior of calibrate about the survey's own, against that one, the
// temper is raised or left; it is never lowered. Seatings are then placed anew, before any reading
// joins. Without a mark nothing changes.
func (m *Model) Believe() {
	if !m.Mark.Known() {
		return
	}
	temper, gain := m.mostBelieved()
	// Twice the gain is χ² of one degree of freedom, half of the time 0 as the temper is not lowered.
	if gain <= 0 || math.Erfc(math.Sqrt(gain))/2 > believeChance {
		return
	}
	m.note("%s: the positions read on the fixture lie farther from where the sound has the seatings than it states: its standard uncertainties there are taken to be %.1f times as large",
		m.Point.Words(), math.Sqrt(temper/m.Temper.Headset))
	m.Temper.Headset = temper
	m.place(seat.Seating.OrdinaryOnFixture)
	for i, s := range m.Seatings {
		if s.OrdinaryOnFixture() && m.Placed[i].Cov != nil {
			m.Placed[i].Apart(m.ApartMM)
		}
	}
}

// mostBelieved is the temper of the headset, from the model's own on, that the readings of ordinary
// seatings make the most probable, and by how much their log density is then greater, without the prior.
func (m *Model) mostBelieved() (temper, gain float64) {
	own := m.Temper.Headset
	trials := make([]placing.Trial, len(m.Seatings))
	for i, s := range m.Seatings {
		if s.OrdinaryOnFixture() && s.Read != nil && m.Placed[i].Cov != nil {
			trials[i] = placing.NewTrial(m.Placed[i].modes, placing.FixturePrior())
		}
	}
	score := func(t float64) (sum float64) {
		for i, s := range m.Seatings {
			if f := m.Placed[i]; s.OrdinaryOnFixture() && s.Read != nil && f.Cov != nil {
				at, variance := m.Mark.PlaceRead(s)
				sum += trials[i].Posterior(placing.Temper{Headset: t, Apart: m.Temper.Apart}.AtLeast(f.doubt)).LogDensity(at, variance, f.Offset.Headset.DF)
			}
		}
		return sum
	}
	base := score(own)
	temper = own
	best := 0.0
	for k := 1; k < temperSteps; k++ {
		t := own * math.Pow(temperMost/own, float64(k)/(temperSteps-1))
		log := math.Log(t / own)
		g := score(t) - base
		if posterior := g - log*log/(2*temperLogSD*temperLogSD); posterior > best {
			best, temper, gain = posterior, t, g
		}
	}
	return temper, gain
}
