package verdict

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

func TestJudgeSeal(t *testing.T) {
	for _, c := range []struct {
		name            string
		diff, own, mean float64
		df              float64
		want            Seal
		why             string
	}{
		{"as worn", 0.2, 0.2, 0.3, 7, SealAsWorn, ""},
		{"leaks", 5, 0.5, 0.5, 7, SealLeaks, ""},
		{"seals better", -5, 0.5, 0.5, 7, SealTighter, ""},
		{"listeners differ", 0.3, 0.2, 0.9, 7, SealUndetermined, "15 listeners in all"},
		{"close to the tolerance", 1.5, 0.2, 0.9, 7, SealUndetermined, "too close"},
		{"its own loss", 0.3, 1.2, 0.3, 7, SealUndetermined, "less noise"},
		{"one listener", 0, 0.1, 0, 0, SealUndetermined, "one listener"},
	} {
		var e EarVerdict
		e.judgeSeal(true, c.diff, c.own, c.mean, c.df, 0.95)
		if e.Seal != c.want || (c.why == "") != (e.LeakWhy == "") || !strings.Contains(e.LeakWhy, c.why) {
			t.Errorf("%s: %s, %q; want %s, %q", c.name, e.Seal, e.LeakWhy, c.want, c.why)
		}
	}
	var e EarVerdict
	if e.judgeSeal(false, 0, 0, 0, 7, 0.95); e.Seal != SealUndetermined || e.LeakWhy == "" {
		t.Errorf("unknown: %+v", e)
	}
}

// On the border of the tolerance a seal is called as worn, or leaking, no more often
// than the size allows, with the panel's standard error an estimate.
func TestSealSize(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	const draws, own, panel, df = 4000, 0.15, 0.4, 7.0
	said := 0.0
	for range draws {
		var e EarVerdict
		stated := panel * math.Sqrt(distuv.ChiSquared{K: df, Src: rng}.Rand()/df)
		e.judgeSeal(true, leakToleranceDB+own*rng.NormFloat64()+panel*rng.NormFloat64(), own, stated, df, 0.95)
		if e.Seal == SealAsWorn {
			said += 1.0 / draws
		}
	}
	t.Logf("called as worn on the border in %.3f", said)
	if said > 0.05+0.011 {
		t.Errorf("called as worn on the border in %.3f", said)
	}
}
