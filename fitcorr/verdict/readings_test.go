package verdict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/reading"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

func readAt(subject string, worth, forward, up float64) seat.Seating {
	return seat.Seating{Subject: subject, Model: "Model A", Read: &capture.Reading{ForwardMM: forward, UpMM: up}, ReadWorth: worth}
}

// The difference of readings and its uncertainty in closed form.
func TestByReadingsClosedForm(t *testing.T) {
	opt := seat.DefaultOptions()
	opt.Reading = capture.ReadingUncertainty{OneMM: 1, LandmarkMM: 0.7, FixtureLandmarkMM: 0.5}
	ss := []seat.Seating{readAt("L01", 0, 4, 1), readAt("L01", 2, 6, 2), readAt("L02", 4, 5, 0), readAt("fixture", 0, 99, 99)}
	target := Target{Ruler: NewRuler(ss, opt)}
	got := ByReadings(readAt("fixture", 4, 8, 5), &target, opt)
	// One reading: 1/4 of the seating, (1 + 1/2 + 1/4)/9 of the mean; landmarks:
	// weights 2/3 and 1/3 of the listeners.
	one, landmark := 0.25+1.75/9, 0.49*5/9
	fixture := 0.25 + placing.ReadTurnMM*placing.ReadTurnMM
	v := one + landmark + fixture
	df := v * v / ((one*one + landmark*landmark + fixture*fixture) / reading.StatedDF)
	if got.DistanceMM[0] != 5 {
		t.Errorf("distance %v, want 5 mm from the means 5 and 1", got.DistanceMM)
	}
	var e seat.Estimate
	e.Value, e.DF = [3]float64{3, 4}, df
	e.Cov[0][0], e.Cov[1][1] = v, v
	if _, want := judgeAlone(e, 3, 0.95); math.Abs(got.DistanceMM[1]-want[1]) > 1e-6 || math.Abs(got.DistanceMM[2]-want[2]) > 1e-6 {
		t.Errorf("limits %v, want %v", got.DistanceMM, want)
	}
	// The tests by hand: equal errors in both axes, so the upper limit is a t quantile.
	near := ByReadings(readAt("fixture", 4, 5, 1), &target, opt)
	limit := stats.TScale(df, 0.05) * 1.6448536 * math.Sqrt(v)
	if (near.Outcome == Use) != (limit <= 3) {
		t.Errorf("at the mean with an upper limit of %.2f mm: %s", limit, near.Outcome)
	}
	if a := ByReadings(seat.Seating{Subject: "fixture"}, &target, opt); a != nil {
		t.Errorf("not read: %+v", a)
	}
	if r := NewRuler(ss[:1], opt); r != nil {
		t.Errorf("one reading is no panel: %+v", r)
	}
}

// With errors as stated, readings alone are right about as often as they say, and
// four per fixture seating tell a seating in place and one 6 mm off.
func TestByReadingsRates(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 24))
	opt := seat.DefaultOptions()
	opt.Reading = capture.ReadingUncertainty{OneMM: 1, LandmarkMM: 0.7, FixtureLandmarkMM: 0.5}
	const studies = 1500
	for _, c := range []struct {
		each, mm     float64
		want         Outcome
		least, wrong float64
	}{{4, 0, Use, 0.8, 0.01}, {4, 6, Move, 0.9, 0.01}, {1, 0, Use, 0.15, 0.01}, {1, 6, Move, 0.5, 0.01}} {
		said := map[Outcome]float64{}
		for range studies {
			n := func(sd float64) float64 { return sd * rng.NormFloat64() }
			var ss []seat.Seating
			var mean [2]float64
			for l := range 8 {
				landmark := [2]float64{n(0.7), n(0.7)}
				for range 5 {
					at := [2]float64{n(2), n(2)}
					mean[0], mean[1] = mean[0]+at[0]/40, mean[1]+at[1]/40
					ss = append(ss, readAt(fmt.Sprint(l), c.each, at[0]+landmark[0]+n(1/math.Sqrt(c.each)), at[1]+landmark[1]+n(1/math.Sqrt(c.each))))
				}
			}
			f := readAt("fixture", c.each, mean[0]+c.mm+n(0.5)+n(0.3)+n(1/math.Sqrt(c.each)), mean[1]+n(0.5)+n(0.3)+n(1/math.Sqrt(c.each)))
			said[ByReadings(f, &Target{Ruler: NewRuler(ss, opt)}, opt).Outcome] += 1.0 / studies
		}
		t.Logf("%g readings each, %g mm off: %v", c.each, c.mm, said)
		wrong := said[Move]
		if c.want == Move {
			wrong = said[Use]
		}
		if said[c.want] < c.least || wrong > c.wrong {
			t.Errorf("%g readings each, %g mm off: %v", c.each, c.mm, said)
		}
	}
}
