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

// of returns the information of the sound about a mode, HeadsetDim square, tempered, and
// the gradient of its log likelihood. The error of the sound is taken as one of covariance
// H⁻¹·apart and one that is common to both cups, (headset − apart)·(U'HU)⁻¹ with U'd the
// sum of both cups; the inverse of that sum is
//
//	H/apart − (1/apart − 1/headset)·HU(U'HU)⁻¹U'H.
//
// An ear that was not recorded leaves H/headset.
func (t Temper) of(p Mode) (*mat.Dense, [HeadsetDim]float64) {
	t = t.filled()
	far := math.Hypot(p.Pos[0]-p.Pos[3], p.Pos[1]-p.Pos[4]) / alikeMM
	alike := math.Exp(-far * far / 2)
	apart := alike*t.Apart + (1-alike)*t.Headset
	hu, pulls := mat.NewDense(HeadsetDim, 3, nil), mat.NewVecDense(3, nil)
	for i := range HeadsetDim {
		for a := range 3 {
			hu.Set(i, a, p.info.At(i, a)+p.info.At(i, 3+a))
		}
		pulls.SetVec(i%3, pulls.AtVec(i%3)+p.gradient[i])
	}
	both := mat.NewDense(3, 3, nil)
	for a := range 3 {
		for b := range 3 {
			both.Set(a, b, hu.At(a, b)+hu.At(3+a, b))
		}
	}
	var inverse, gain mat.Dense
	if inverse.Inverse(both) != nil { // an axis that shows nothing
		apart = t.Headset
		inverse = *mat.NewDense(3, 3, nil)
	}
	gain.Mul(hu, &inverse)
	info := mat.NewDense(HeadsetDim, HeadsetDim, nil)
	info.Mul(&gain, hu.T())
	common := mat.NewVecDense(HeadsetDim, nil)
	common.MulVec(&gain, pulls)
	var pull [HeadsetDim]float64
	more := 1/apart - 1/t.Headset
	for i := range HeadsetDim {
		pull[i] = p.gradient[i]/apart - more*common.AtVec(i)
		for j := range HeadsetDim {
			info.Set(i, j, p.info.At(i, j)/apart-more*info.At(i, j))
		}
	}
	return info, pull
}
