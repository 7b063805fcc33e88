package simulate

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"

	"asworn/capture"
)

// drawLeaks says whose glasses or hair leak, where leaks belong to listeners.
func (s *Study) drawLeaks(src *rand.Rand) {
	r := &drawer{Rand: src, d: s.Design}
	for range s.Design.Listeners {
		height := -1.0
		if s.Design.LeakListeners {
			leaks, h := r.Float64() < s.Design.LeakChance, r.Float64()
			height = 0
			if leaks {
				height = r.d.slitHeight(h)
			}
		}
		s.leaks = append(s.leaks, height)
	}
}

// slitMM is the slit of one ear of one worn seating of a listener whose own slit
// is so high, in mm: the same every time but for a tenth; or, below 0, as the
// placement happens to be.
func (r *drawer) slitMM(own float64) float64 {
	leaks, h := r.Float64() < r.d.LeakChance, r.Float64()
	switch {
	case own >= 0:
		return own * (0.9 + 0.2*h)
	case leaks:
		return r.d.slitHeight(h)
	}
	return 0
}

// slitHeight is the quantile of the height of a slit, in mm.
func (d Design) slitHeight(p float64) float64 {
	if d.Laws == NormalLaws {
		return 0.15 + 0.3*p
	}
	return min(0.8, max(0.08, 0.22*math.Exp(0.6*distuv.UnitNormal.Quantile(p))))
}

// PeopleLossDB is the mean level loss at 50 Hz, in dB, of everybody who might have
// been on the panel: the expectation over who leaks and how much, at the people's mean position.
func (s *Study) PeopleLossDB(model int, e capture.Ear) float64 {
	if s.Open[model] {
		return 0
	}
	const steps = 12
	w := s.Worn[model].Mean
	p := Placement{Displacement: capture.Displacement{ForwardMM: w[0], UpMM: w[1], RotationDeg: w[2]}}
	tight := s.World.Seal(model, 0, e, p).LossDB[1]
	sum := 0.0
	for i := range steps {
		p.SlitMM = s.Design.slitHeight((float64(i) + 0.5) / steps)
		sum += s.World.Seal(model, 0, e, p).LossDB[1]
	}
	return tight + s.Design.LeakChance*(sum/steps-tight)
}
