package leak

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestFitRecovers holds the fit to the bar of the method: the corner within
// 10 % wherever the loss at 50 Hz exceeds 3 dB, intervals that cover.
func TestFitRecovers(t *testing.T) {
	f := gridHz()
	var n, corner, corner3, cover, coverLoss, nLoss, sealed, falseLeaks, missed, bad int
	var worst float64
	for study := range 12 {
		gen := toy{rand.New(rand.NewPCG(7, uint64(study))), 0.4, 0.3}
		cs, truth := gen.seatings(f, 30)
		res, err := Fit(f, cs)
		if err != nil {
			t.Fatal(err)
		}
		if study == 0 {
			t.Logf("scatter %+v reference %+v", res.Scatter, res.Reference)
		}
		for i, e := range res.Curves {
			loss50 := 0.0
			if truth[i].CornerHz > 0 {
				loss50 = truth[i].LossDB(50)
			} else {
				sealed++
				if e.Leaking {
					falseLeaks++
				}
			}
			for _, hz := range []float64{20, 50, 100} {
				est, se := e.LossDB(hz)
				tr := 0.0
				if truth[i].CornerHz > 0 {
					tr = truth[i].LossDB(hz)
				}
				nLoss++
				if math.Abs(est-tr) <= 1.96*se+0.02 {
					coverLoss++
				}
			}
			if loss50 <= 3 {
				continue
			}
			if !e.Leaking {
				missed++
				continue
			}
			n++
			off := math.Abs(e.CornerHz/truth[i].CornerHz - 1)
			worst = math.Max(worst, off)
			if off <= 0.1 {
				corner++
			} else if bad++; bad < 10 {
				t.Logf("true %+v est %+v se %.2f", truth[i], e.Params, e.CornerSE())
			}
			if math.Abs(e.ThreeDBHz()/truth[i].ThreeDBHz()-1) <= 0.1 {
				corner3++
			}
			if math.Abs(math.Log(e.CornerHz/truth[i].CornerHz)) <= 1.96*math.Sqrt(e.Cov[0][0]) {
				cover++
			}
		}
	}
	t.Logf("leaks above 3 dB at 50 Hz: %d, missed %d; corner within 10 %%: %d, 3 dB frequency within 10 %%: %d, worst corner %.0f %%", n, missed, corner, corner3, 100*worst)
	t.Logf("cover of corner %.3f, of losses %.3f (%d); sealed called leaking %d of %d", float64(cover)/float64(n), float64(coverLoss)/float64(nLoss), nLoss, falseLeaks, sealed)
}
