package placing

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// earInfo is the information of a sound that tells each cup's place by itself, with
// standard deviations, mm and degrees, of the left and of the right one; 0 is an ear
// that was not recorded.
func earInfo(left, right [3]float64) (info [HeadsetDim][HeadsetDim]float64) {
	for a := range 3 {
		for e, sd := range [2]float64{left[a], right[a]} {
			if sd > 0 {
				info[3*e+a][3*e+a] = 1 / (sd * sd)
			}
		}
	}
	return info
}

// The variance of the mean of both cups is multiplied by the one temper, that of half
// their difference by the other, in closed form; equal tempers divide the information.
func TestTemper(t *testing.T) {
	sd := [3]float64{0.6, 0.8, 3}
	p := Mode{info: earInfo(sd, sd), gradient: [HeadsetDim]float64{1, 2, 3, 4, 5, 6}}
	for _, c := range []Temper{{1, 1}, {4, 4}, {4, 1}, {2.5, 1.5}, {2, 5}, {2, 0.4}} {
		info, pull := c.of(p.explained())
		dense := mat.NewDense(HeadsetDim, HeadsetDim, nil)
		for i, row := range info {
			dense.SetRow(i, row[:])
		}
		var cov mat.Dense
		if err := cov.Inverse(dense); err != nil {
			t.Fatal(err)
		}
		for a := range 3 {
			v := sd[a] * sd[a]
			mean, half := (cov.At(a, a)+cov.At(a, 3+a))/2, (cov.At(a, a)-cov.At(a, 3+a))/2
			if math.Abs(mean-c.Headset*v/2) > 1e-9 || math.Abs(half-c.Apart*v/2) > 1e-9 {
				t.Errorf("%+v, axis %d: variances %.3f and %.3f, want %.3f and %.3f", c, a, mean, half, c.Headset*v/2, c.Apart*v/2)
			}
			// The top of the sound stays where it is: both parts of the step are as without.
			stepMean, stepHalf := v*(p.gradient[a]+p.gradient[3+a]), v*(p.gradient[a]-p.gradient[3+a])
			var step mat.VecDense
			step.MulVec(&cov, mat.NewVecDense(HeadsetDim, pull[:]))
			if m, h := step.AtVec(a)+step.AtVec(3+a), step.AtVec(a)-step.AtVec(3+a); math.Abs(m-stepMean) > 1e-9 || math.Abs(h-stepHalf) > 1e-9 {
				t.Errorf("%+v, axis %d: steps %.3f and %.3f, want %.3f and %.3f", c, a, m, h, stepMean, stepHalf)
			}
		}
	}
}

// One ear alone tells with the information over the headset's temper, and so do cups
// so far apart that the surface errs for each in its own way.
func TestTemperAsHeadset(t *testing.T) {
	sd := [3]float64{0.6, 0.8, 3}
	far := Mode{info: earInfo(sd, sd), Pos: [HeadsetDim]float64{10, 0, 0, -10, 0, 0}}
	blind := [3]float64{0.6, 0.8, 0} // a rotation that shows nothing
	for name, p := range map[string]Mode{"one ear": {info: earInfo(sd, [3]float64{})}, "an axis unseen": {info: earInfo(blind, blind)},
		"no ear": {info: earInfo([3]float64{}, [3]float64{})}, "cups 20 mm apart": far} {
		info, _ := Temper{Headset: 4, Apart: 1.5}.of(p.explained())
		for i := range HeadsetDim {
			for j := range HeadsetDim {
				if want := p.info[i][j] / 4; math.Abs(info[i][j]-want) > 1e-3 {
					t.Errorf("%s, %d %d: %.4f, want %.4f", name, i, j, info[i][j], want)
				}
			}
		}
	}
	if got := (Temper{Headset: 3}).AtLeast(1); got != (Temper{3, 3}) {
		t.Errorf("a temper of the headset alone: %+v", got)
	}
	if got := (Temper{Headset: 1, Apart: 2}).AtLeast(1.5); got != (Temper{1.5, 2}) {
		t.Errorf("raised to 1.5: %+v", got)
	}
}
