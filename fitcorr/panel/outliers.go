package panel

import (
	"fmt"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/order"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// residualTail is the tail probability of what is left of one ear of a worn
// seating after ear, position, level and leak tail.
func residualTail(resid []float64, w *wornSeating, e, n int) float64 {
	return stats.ChiTail(squaredResidual(resid, w, e, n)*w.inflationOf(e), residualFreedom(w, e))
}

// residualFreedom is the degrees of freedom of that residual: the bands that
// count less three of position and two of level.
func residualFreedom(w *wornSeating, e int) float64 {
	dof := -5.0
	for _, v := range w.obs.Variance[e] {
		if v < survey.MissingVar {
			dof++
		}
	}
	return dof
}

// markOutliers sets the variance inflation of every worn seating from the residuals of a fit.
func (fit *panelFit) markOutliers() {
	type place struct{ li, model, ear int }
	squares := map[place][]float64{} // per listener, and with li −1 over all
	type entry struct {
		w  *wornSeating
		li int
		q  [2]float64
	}
	var all []entry
	n := fit.Bands.N
	fit.each(allModels, func(li int, w *wornSeating, sp *seatPosterior) {
		e := entry{w: w, li: li}
		for ear := range 2 {
			if !w.obs.Present[ear] {
				continue
			}
			e.q[ear] = squaredResidual(sp.resid[ear*n:(ear+1)*n], w, ear, n) * w.inflationOf(ear)
			for _, of := range []int{li, -1} {
				k := place{of, w.model, ear}
				squares[k] = append(squares[k], e.q[ear])
			}
		}
		all = append(all, e)
	})
	for _, e := range all {
		for ear := range 2 {
			e.w.inflation[ear] = 1
			if !e.w.obs.Present[ear] {
				continue
			}
			usual := order.Median(squares[place{-1, e.w.model, ear}])
			if own := squares[place{e.li, e.w.model, ear}]; len(own) > 2 {
				usual = max(usual, order.Median(own))
			}
			if ratio := e.q[ear] / max(usual, 1e-9); ratio > position.DoubtFar && stats.ChiTail(e.q[ear], residualFreedom(e.w, ear)) < outlierTail {
				e.w.inflation[ear] = ratio
			}
		}
	}
}

// squaredResidual is r'V⁻¹r of one ear of a worn seating.
func squaredResidual(resid []float64, w *wornSeating, e, n int) float64 {
	r := mat.NewVecDense(n, resid)
	return mat.Inner(r, w.kind.inner[e], r)
}

// readingDoubt is from what factor on its variance a reading is named: of normal errors
// one in 3,000 lies so far off.
const readingDoubt = 2

// doubts names the doubtful seatings of model m.
func (p *panel) doubts(m int, su *position.Model) (out []string) {
	for _, l := range p.listeners {
		for i := range l.worn {
			w := &l.worn[i]
			if w.model == m && w.read != nil && w.readDoubt > readingDoubt {
				out = append(out, fmt.Sprintf("seating %s: the position read there lies beyond chance from where the sound and the other readings have it, and counts 1/%.0f of what others do: check the entry, or read it again",
					su.Seatings[w.id].ID, w.readDoubt))
			}
			for ear := range 2 {
				if d := w.inflationOf(ear); w.model == m && d > 1 {
					out = append(out, fmt.Sprintf("seating %s: no position explains the level of the %s ear (squared residual %.0f times the usual one), and it hardly counts: the microphone may have fallen out of place, or the headphone sat unlike this listener's other seatings; look, and record it again if in doubt",
						su.Seatings[w.id].ID, seat.EarName(ear), d))
				}
			}
		}
	}
	return out
}
