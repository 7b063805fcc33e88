package fitcorr

import (
	"fmt"

	"gonum.org/v1/gonum/mat"
)

// A seating whose level no position on that ear explains — a microphone that
// fell out of place, hair in the cup, a folded pinna — must not bend the ear, the
// scatter and the mean of everybody. Its squared residual is held against the
// usual one, a median, of its model and of the listener; far above that, the
// variance of that ear of that seating is raised by the ratio, and it is named.

// doubtFar is how many times the usual squared residual makes a seating
// doubtful; a sum over some thirty bands hardly reaches twice by chance.
const (
	doubtFar  = 5.0
	doubtTail = 1e-3 // and its tail probability under the model must be below this
)

// doubt sets the doubt of every worn seating from the residuals of a fit.
func (p *panel) doubt(fit *panelFit) {
	type place struct{ li, model, ear int }
	squares := map[place][]float64{} // per listener, and with li −1 over all
	type entry struct {
		w  *wornSeating
		li int
		q  [2]float64
	}
	var all []entry
	n := p.bands.n
	p.eachSeating(fit, allModels, func(li int, w *wornSeating, _ *blockPosterior, sp *seatPosterior) {
		e := entry{w: w, li: li}
		for ear := range 2 {
			if !w.obs.present[ear] {
				continue
			}
			e.q[ear] = squaredResidual(sp.resid[ear*n:(ear+1)*n], w, ear, n) * w.doubtOf(ear)
			for _, of := range []int{li, -1} {
				k := place{of, w.model, ear}
				squares[k] = append(squares[k], e.q[ear])
			}
		}
		all = append(all, e)
	})
	for _, e := range all {
		for ear := range 2 {
			e.w.doubt[ear] = 1
			if !e.w.obs.present[ear] {
				continue
			}
			usual := medianOf(squares[place{-1, e.w.model, ear}])
			if own := squares[place{e.li, e.w.model, ear}]; len(own) > 2 {
				usual = max(usual, medianOf(own))
			}
			if ratio := e.q[ear] / max(usual, 1e-9); ratio > doubtFar && chiTail(e.q[ear], residualFreedom(e.w, ear)) < doubtTail {
				e.w.doubt[ear] = ratio
			}
		}
	}
}

// doubtOf is the factor on the variance of one ear of a seating, 1 without doubt.
func (w *wornSeating) doubtOf(ear int) float64 { return max(1, w.doubt[ear]) }

// squaredResidual is r'V⁻¹r of one ear of a worn seating.
func squaredResidual(resid []float64, w *wornSeating, e, n int) float64 {
	r := mat.NewVecDense(n, resid)
	return mat.Inner(r, w.inner.SliceSym(e*n, (e+1)*n), r)
}

// doubts names the doubtful seatings of model m.
func (p *panel) doubts(m int, su *modelSetup) (out []string) {
	for _, l := range p.listeners {
		for i := range l.worn {
			w := &l.worn[i]
			for ear := range 2 {
				if d := w.doubtOf(ear); w.model == m && d > 1 {
					out = append(out, fmt.Sprintf("seating %s: no position explains the level of the %s ear (squared residual %.0f times the usual one), and it hardly counts: the microphone may have fallen out of place, or the headphone sat unlike this listener's other seatings; look, and record it again if in doubt",
						su.seatings[w.id].ID, earName(ear), d))
				}
			}
		}
	}
	return out
}
