package leak

import (
	"gonum.org/v1/gonum/mat"
)

// Curve is the low end of one ear of one seating, on the frequencies that are
// handed to Fit.
type Curve struct {
	LevelDB []float64 // dB re any level, the same for all curves
	VarDB   []float64 // variance of LevelDB from noise, dB²; +Inf leaves the point out
}

// joint is the model of all seatings of one ear,
//
//	level_i(f) = sealed(f) + gain_i + 20 lg|H(f; leak_i)| + scatter_i(f),
//
// with the sealed curve free at every frequency. Seatings whose leak has a
// corner of zero form the reference; reference is what they leak in common.
type joint struct {
	freq      []float64 // Hz, n, rising
	curves    []Curve
	scatter   Scatter         // between seatings
	weight    []*mat.SymDense // per curve: inverse covariance, n × n, dB⁻², zero where left out
	weightSum []*mat.Dense    // per curve: weight times a column of ones, n × 1
	logDet    []float64       // per curve: log-determinant of the covariance
	sealed    []float64       // dB, n
	gain      []float64       // dB, per curve
	leak      []Params        // per curve
	reference Params          // what the reference leaks in common; zero corner: nothing
	source    Source

	referenceCov Covariance // set by covariance
}

// globals lays out the global unknowns: the sealed curve, then the reference
// leak where it is fitted (its first index, else −1), then the source.
func (j *joint) globals() (total, reference, source int) {
	total, reference = len(j.freq), -1
	if j.reference.CornerHz > 0 {
		reference, total = total, total+2
	}
	return total + j.source.unknowns(), reference, total
}

// h writes 20 lg|H| of curve i and returns it.
func (j *joint) h(i int, dst []float64) []float64 {
	p := j.leak[i]
	if p.CornerHz == 0 {
		p = j.reference
	}
	for k, f := range j.freq {
		dst[k] = 0
		if p.CornerHz > 0 {
			dst[k] = j.source.levelDB(p, f)
		}
	}
	return dst
}

// objective is the weighted sum of squares with the priors.
func (j *joint) objective() float64 {
	n := len(j.freq)
	sum, r, h := 0.0, mat.NewVecDense(n, nil), make([]float64, n)
	prior := func(p Params) {
		if p.CornerHz > 0 {
			res, _ := priorTerms(p)
			sum += res[0]*res[0] + res[1]*res[1]
		}
	}
	for i := range j.curves {
		j.residual(i, r, h)
		sum += mat.Inner(r, j.weight[i], r) + j.gain[i]*j.gain[i]/(gainSD*gainSD)
		prior(j.leak[i])
	}
	prior(j.reference)
	res, _ := j.source.prior()
	for _, r := range res {
		sum += r * r
	}
	return sum
}

// residual sets r to what curve i leaves unexplained; h is scratch.
func (j *joint) residual(i int, r *mat.VecDense, h []float64) {
	j.leave(i, r, j.h(i, h))
}

// leave is residual with h known.
func (j *joint) leave(i int, r *mat.VecDense, h []float64) {
	for k := range h {
		v := j.curves[i].LevelDB[k] - j.sealed[k] - j.gain[i] - h[k]
		if j.weight[i].At(k, k) == 0 {
			v = 0 // left out; the level may be NaN
		}
		r.SetVec(k, v)
	}
}
