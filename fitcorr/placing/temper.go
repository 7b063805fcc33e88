package placing

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Temper are ratios that divide the information of the sound, as a survey's held-out rows
// show it, so that what is stated is no narrower than what they show:
// Headset of where the mean of both cups lies, Apart of half their difference. What a
// surface gets wrong it mostly gets wrong for both cups alike, so that Apart is the
// smaller as a rule, and may be below 1; 0 stands for Headset, which is 1 or more.
type Temper struct{ Headset, Apart float64 }

// filled is the temper without zeros.
func (t Temper) filled() Temper {
	t.Headset = math.Max(1, t.Headset)
	if t.Apart <= 0 {
		t.Apart = t.Headset
	}
	return t
}

// AtLeast raises both to the ratio.
func (t Temper) AtLeast(ratio float64) Temper {
	t = t.filled()
	return Temper{math.Max(ratio, t.Headset), math.Max(ratio, t.Apart)}
}

// alikeMM is how far apart two cups may lie for the surface to err alike for both,
// one standard deviation of a normal curve: half a usual survey's reach (our choice, no
// source). Survey rows displace both cups alike and tell nothing of cups that lie apart.
const alikeMM = 4.0

// explained is what the temper of a mode goes by, whatever it is.
type explained struct {
	*Mode
	alike  float64                         // how far the surface errs alike for both cups, 0 to 1
	pair   bool                            // both ears were recorded, and every axis shows
	common [HeadsetDim][HeadsetDim]float64 // HU(U'HU)⁻¹U'H
	pull   [HeadsetDim]float64             // HU(U'HU)⁻¹U' times the gradient
}

func (p *Mode) explained() explained {
	far := math.Hypot(p.Pos[0]-p.Pos[3], p.Pos[1]-p.Pos[4]) / alikeMM
	x := explained{Mode: p, alike: math.Exp(-far * far / 2)}
	var hu [HeadsetDim][3]float64
	var pulls [3]float64
	both := mat.NewDense(3, 3, nil)
	for i := range HeadsetDim {
		for a := range 3 {
			hu[i][a] = p.info[i][a] + p.info[i][3+a]
			both.Set(i%3, a, both.At(i%3, a)+hu[i][a])
		}
		pulls[i%3] += p.gradient[i]
	}
	var inverse mat.Dense
	if x.pair = inverse.Inverse(both) == nil; !x.pair {
		return x
	}
	for i := range HeadsetDim {
		for b := range 3 {
			var gain float64
			for a := range 3 {
				gain += hu[i][a] * inverse.At(a, b)
			}
			x.pull[i] += gain * pulls[b]
			for j := range HeadsetDim {
				x.common[i][j] += gain * hu[j][b]
			}
		}
	}
	return x
}

// of returns the information of the sound about a mode, tempered, and
// the gradient of its log likelihood. The error of the sound is taken as one of covariance
// H⁻¹·apart and one that is common to both cups, (headset − apart)·(U'HU)⁻¹ with U'd the
// sum of both cups; the inverse of that sum is
//
//	H/apart − (1/apart − 1/headset)·HU(U'HU)⁻¹U'H.
//
// An ear that was not recorded leaves H/headset.
func (t Temper) of(x explained) (info [HeadsetDim][HeadsetDim]float64, pull [HeadsetDim]float64) {
	t = t.filled()
	apart := x.alike*t.Apart + (1-x.alike)*t.Headset
	if !x.pair {
		apart = t.Headset
	}
	more := 1/apart - 1/t.Headset
	for i := range info {
		pull[i] = x.gradient[i]/apart - more*x.pull[i]
		for j := range info[i] {
			info[i][j] = x.info[i][j]/apart - more*x.common[i][j]
		}
	}
	return info, pull
}
