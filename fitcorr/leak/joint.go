package leak

import "gonum.org/v1/gonum/mat"

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
	scatter   Scatter      // between seatings
	weight    []*mat.Dense // per curve: inverse covariance, n × n, dB⁻², zero where left out
	weightSum [][]float64  // per curve: weight times a column of ones, n
	logDet    []float64    // per curve: log-determinant of the covariance
	sealed    []float64    // dB, n
	gain      []float64    // dB, per curve
	leak      []Params     // per curve
	reference Params       // what the reference leaks in common; zero corner: nothing
	source    Source

	referenceCov Covariance // set by covariance
	alike        *pooled    // the curves without a leak for these weights and classes; nil before they are asked for
	judged       []Estimate // of judge, at these values; nil where it was not asked since
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

// leaks reports whether curve i has a leak of its own.
func (j *joint) leaks(i int) bool { return j.leak[i].CornerHz > 0 }

// leakOf is what curve i leaks: on its own, or with the reference.
func (j *joint) leakOf(i int) Params {
	if j.leaks(i) {
		return j.leak[i]
	}
	return j.reference
}

// left is what curve i leaves unexplained at frequency k, dB, where its leak makes h; 0 where
// the point is left out, whose level may be NaN.
func (j *joint) left(i, k int, h float64) float64 {
	if j.weight[i].At(k, k) == 0 {
		return 0
	}
	return j.curves[i].LevelDB[k] - j.sealed[k] - j.gain[i] - h
}

// residual sets r to what curve i leaves unexplained, dB, n, where its leak makes level, and returns it.
func (j *joint) residual(i int, r, level []float64) []float64 {
	for k, h := range level {
		r[k] = j.left(i, k, h)
	}
	return r
}

// objective is the weighted sum of squares with the priors.
func (j *joint) objective() float64 { return newNormal(j).objective() }
