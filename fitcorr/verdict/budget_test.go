package verdict

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/fitcorr/placing"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
)

func budgetOptions() seat.Options {
	opt := seat.DefaultOptions()
	opt.Reading = capture.ReadingUncertainty{OneMM: 0.5, LandmarkMM: 0.3, FixtureLandmarkMM: 1}
	return opt
}

func targetOf(cov mat.Symmetric) *Target {
	t := &Target{DF: 12, Listeners: 8, Seatings: 40}
	for i := range placing.HeadsetDim {
		for j := range placing.HeadsetDim {
			t.Cov[i][j] = cov.At(i, j)
		}
	}
	return t
}

func same(common, own float64) *mat.SymDense {
	return placing.HeadsetCov([3]float64{common, common, 1}, [3]float64{own, own, 1})
}

// Where most of the variance is the fixture's landmark, that is what to mend, not
// more listeners; the terms add up to the whole; and the action's rates are above those of now.
func TestBudgetNamesLargestTerm(t *testing.T) {
	opt := budgetOptions()
	target := targetOf(same(1.05, 0.2))
	target.Read, target.Ruler = true, &Ruler{OneVar: 0.25 / 40, LandmarkVar: 0.09 / 8}
	at := position.FixtureSeating{Cov: same(0.3, 0.3)}
	var v Verdict
	v.Outcome, v.Headset.Off.DF, v.DistanceMM = Undetermined, 12, [3]float64{1, 0, 3.4}
	s := seat.Seating{Read: &capture.Reading{}, ReadWorth: 4}
	v.settle(s, at, target, opt)
	if len(v.Settle) == 0 || !strings.Contains(v.Settle[0].Do, "the fixture's canal entrance four times") || strings.Contains(fmt.Sprint(v.Settle), "twice the listeners") {
		t.Errorf("settle %q", v.Settle)
	}
	var sum float64
	for _, x := range v.Budget {
		sum += x.MM * x.MM
	}
	if want := sharedOf(targetCov(target)).plus(sharedOf(at.Cov)).headset(); math.Abs(sum-want) > 0.02*want {
		t.Errorf("terms add up to %.3f mm², the whole is %.3f", sum, want)
	}
	_, use, move := budget(s, at, target, 12, opt)
	if b := v.Budget[0]; b.Use < use+0.2 || b.Move < move || b.AfterMM > 0.6*b.MM {
		t.Errorf("now use %.2f, move %.2f; then %+v", use, move, b)
	}
}

// Without readings they come first, and a seating that was not read where the panel was is read.
func TestBudgetReads(t *testing.T) {
	opt := seat.DefaultOptions()
	target := targetOf(same(1.4, 0.4))
	at := position.FixtureSeating{Cov: same(0.4, 0.3)}
	terms, _, _ := budget(seat.Seating{}, at, target, 8, opt)
	if terms[0].Action != "reading positions with a ruler on listeners and fixture" {
		t.Errorf("without readings: %+v", terms)
	}
	target = targetOf(same(0.3, 0.2))
	target.Read, target.Ruler = true, &Ruler{OneVar: 0.02, LandmarkVar: 0.05}
	at.Cov = same(1.5, 0.3)
	terms, _, _ = budget(seat.Seating{}, at, target, 8, opt)
	if terms[0].Action != "reading its position 4 times with a ruler" || terms[0].AfterMM > 0.7 {
		t.Errorf("a seating that nobody read: %+v", terms)
	}
	at.MarkVariance = [2]float64{2, 2}
	terms, _, _ = budget(seat.Seating{Read: &capture.Reading{}, ReadWorth: 4}, at, target, 8, opt)
	if terms[0].Source != "the mark between the two surveys" {
		t.Errorf("a loose mark: %+v", terms)
	}
}

// The expected rates are those of the tests that they speak of (TestPositionYaw's draws).
func TestRates(t *testing.T) {
	opt := seat.DefaultOptions()
	use, move := rates(shared{0.36, 0.16}, 0, opt)
	near := cupRates(t, [2]float64{}, [2]float64{}, 0.6, 0.4, 0)
	far := cupRates(t, [2]float64{6, 0}, [2]float64{6, 0}, 0.6, 0.4, 0)
	if math.Abs(use-near[Use]) > 0.05 || math.Abs(move-far[Move]) > 0.03 {
		t.Errorf("use %.2f, move %.2f; drawn anew %.2f, %.2f", use, move, near[Use], far[Move])
	}
	if again, _ := rates(shared{0.36, 0.16}, 0, opt); again != use {
		t.Error("not the same twice")
	}
	if use, move := rates(shared{9, 1}, 0, opt); use != 0 || move > 0.3 {
		t.Errorf("nothing known: use %.2f, move %.2f", use, move)
	}
}

// Several places give no verdict: what would tell is one reading.
func TestPlacesAreNamed(t *testing.T) {
	v := Verdict{Outcome: Undetermined}
	at := position.FixtureSeating{Offset: position.Offset{Places: []placing.Place{{ForwardMM: 5.2, UpMM: -1, Probability: 0.6}, {ForwardMM: -6, UpMM: 0.4, Probability: 0.4}}}}
	v.settle(seat.Seating{}, at, targetOf(same(1, 0.3)), seat.DefaultOptions())
	if want := "one reading of its position with a ruler: the sound cannot tell 5 mm forward and 1 mm down from 6 mm back and 0 mm up, of the marked position"; len(v.Settle) != 1 || v.Settle[0].String() != want {
		t.Errorf("%q, want %q", v.Settle, want)
	}
}
