package verdict

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/seat"
)

// cupTrial draws the estimates of a headset whose cups truly lie at left and
// right (forward, up; mm), with an error that both cups share and one of their own.
func cupTrial(rng *rand.Rand, left, right [2]float64, common, own, df float64) ([2]seat.Estimate, seat.Estimate) {
	cov := placing.HeadsetCov([3]float64{common, common, 1}, [3]float64{own, own, 1})
	scale := 1.0
	if df > 0 { // the stated variance is itself an estimate
		scale = distuv.ChiSquared{K: df, Src: rng}.Rand() / df
	}
	var pos [placing.HeadsetDim]float64
	for a := range 2 {
		c := common * rng.NormFloat64()
		pos[a] = left[a] + c + own*rng.NormFloat64()
		pos[3+a] = right[a] + c + own*rng.NormFloat64()
	}
	var stated mat.SymDense
	stated.ScaleSym(scale, cov)
	ears, head := placing.Estimates(pos, &stated, cov)
	ears[0].DF, ears[1].DF, head.DF = df, df, df
	return ears, head
}

const cupDraws = 2000

func cupRates(t *testing.T, left, right [2]float64, common, own, df float64) map[Outcome]float64 {
	t.Helper()
	const draws = cupDraws
	rng := rand.New(rand.NewPCG(7, 8))
	rates := map[Outcome]float64{}
	at := newSizes(0.05, df)
	for range draws {
		ears, head := cupTrial(rng, left, right, common, own, df)
		var tests [parts]mixtureTests
		for i, e := range [parts]seat.Estimate{ears[0], ears[1], head} {
			tests[i] = oneTest(newDistanceTests(e, 3))
		}
		rates[decide(tests, at).Outcome] += 1.0 / draws
	}
	t.Logf("left %v, right %v, errors %g mm shared, %g mm own, %g degrees of freedom: %v", left, right, common, own, df, rates)
	return rates
}

// On the border of each hypothesis no more is said than its size allows,
// however much the errors of the cups have in common and whichever cup it is.
func TestPositionSize(t *testing.T) {
	const most = 0.05 + 0.015 // three Monte Carlo standard errors
	at := func(mm, degrees float64) [2]float64 {
		s, c := math.Sincos(degrees * math.Pi / 180)
		return [2]float64{mm * c, mm * s}
	}
	for _, c := range []struct{ common, own, df float64 }{{0.6, 0.1, 0}, {0.6, 0.4, 0}, {0.1, 0.6, 0}, {0, 0.8, 0}, {0.6, 0.4, 10}} {
		for _, cups := range [][2][2]float64{{at(3, 0), at(3, 0)}, {at(3, 40), at(3, 40)}, {at(3, 0), at(3, 180)}, {at(3, 0), at(0, 0)}, {at(3, 90), at(3, 0)}, {at(3, 0), at(3, 30)}} {
			r := cupRates(t, cups[0], cups[1], c.common, c.own, c.df)
			if r[Use] > most || r[Move] > most {
				t.Errorf("cups %v: matches in %.3f, adjust in %.3f of the cases on the border", cups, r[Use], r[Move])
			}
		}
	}
}

// Cups displaced in opposite directions leave the mean in place: four millimetres
// are never as good as none, six are found.
func TestPositionYaw(t *testing.T) {
	for _, c := range []struct {
		mm                 float64
		want               Outcome
		least, mostMatches float64
	}{{0, Use, 0.75, 1}, {2, Undetermined, 0.9, 0.1}, {4, Undetermined, 0.4, 0.01}, {6, Move, 0.95, 0}} {
		r := cupRates(t, [2]float64{c.mm, 0}, [2]float64{-c.mm, 0}, 0.6, 0.5, 12)
		if r[c.want] < c.least || r[Use] > c.mostMatches {
			t.Errorf("%g mm: %v", c.mm, r)
		}
	}
}

// The cups cannot be shown to be in by a mean that is.
func TestPositionDecides(t *testing.T) {
	at := func(l, r [2]float64, sd float64) Position {
		ears, head := placing.Estimates([6]float64{l[0], l[1], 0, r[0], r[1]}, placing.HeadsetCov([3]float64{}, [3]float64{sd, sd, 1}), placing.WornPrior())
		return JudgePosition(ears, head, 3, 0.95)
	}
	for _, c := range []struct {
		name        string
		left, right [2]float64
		outcome     Outcome
		decides     Part
	}{
		{"both in", [2]float64{0.5, 0}, [2]float64{0, 1}, Use, RightCup},
		{"one in", [2]float64{0.5, 0}, [2]float64{0, 2.8}, Undetermined, RightCup},
		{"opposite", [2]float64{5, 0}, [2]float64{-6, 0}, Move, RightCup},
		{"headset alone", [2]float64{3.7, 0}, [2]float64{3.7, 0}, Move, Headset},
	} {
		p := at(c.left, c.right, 0.4)
		if p.Outcome != c.outcome || p.Decides != c.decides {
			t.Errorf("%s: %s by the %s, want %s by the %s", c.name, p.Outcome, p.Decides, c.outcome, c.decides)
		}
		want := map[Part]float64{LeftCup: math.Hypot(c.left[0], c.left[1]), RightCup: math.Hypot(c.right[0], c.right[1]), Headset: math.Hypot((c.left[0]+c.right[0])/2, (c.left[1]+c.right[1])/2)}[c.decides]
		if d := p.Distance(); math.Abs(d[0]-want) > 1e-9 || d[1] > d[0] || d[2] < d[0] {
			t.Errorf("%s: distance %v, want %.2f", c.name, d, want)
		}
	}
}
