package leak

import (
	"fmt"
	"math"
)

// Fit fits the seatings of one ear jointly: one sealed curve that all share,
// a gain and, where the data ask for it, a leak of each, and the scatter
// between seatings. The reference is the group of seatings in which no leak
// can be shown against the rest, so no single recording carries it. freqHz
// must rise; it should reach from about 18 Hz to about 1 kHz. At least two
// curves are needed: a leak shows only against another seating.
func Fit(freqHz []float64, curves []Curve) (*Result, error) {
	if len(curves) < 2 {
		return nil, fmt.Errorf("leak: %d seating: a leak shows only against another seating of the same headphone", len(curves))
	}
	for i, c := range curves {
		if len(c.LevelDB) != len(freqHz) || len(c.VarDB) != len(freqHz) {
			return nil, fmt.Errorf("leak: curve %d has %d levels and %d variances for %d frequencies", i, len(c.LevelDB), len(c.VarDB), len(freqHz))
		}
	}
	best, err := fitFrom(freqHz, curves, startPlain, startNear[0])
	if err != nil {
		return nil, err
	}
	ask, err := best.asksForCone()
	if err != nil {
		return nil, err
	}
	if ask {
		if best, err = searchCone(best); err != nil {
			return nil, err
		}
	}
	if best.judged == nil {
		if best.judged, err = best.judge(); err != nil {
			return nil, err
		}
	}
	return best.result(best.judged), nil
}

// muchScatter, in dB at 1 kHz, is more than the place of a cup makes.
const muchScatter = 2.0

// asksForCone reports whether the search of a source is worth its time: the
// plain circuit leaves much scatter, or
// the fit improves when a source is let in where it stands. Without leaks there
// is nothing to learn a source from.
func (j *joint) asksForCone() (bool, error) {
	const hint = 10.0 // drop of the objective
	if j.leaking() == 0 {
		return false, nil
	}
	if j.scatter.Rise > muchScatter {
		return true, nil
	}
	with := *j
	with.source = startCones[0]
	limit := j.objective() - hint
	err := with.fit(limit)
	return with.objective() < limit, err
}

// startNear are the distances in dB from the most low end within which a
// curve starts in the reference: usual, and strict for when that went wrong.
var startNear = [...]float64{1, 0.25}

// searchCone fits with the source free from several starts and returns the
// best of them, or plain when none is better by far.
func searchCone(plain *joint) (*joint, error) {
	best, limit := plain, plain.criterion()-plain.richer()
	for _, near := range startNear {
		for _, start := range startCones {
			cone, err := fitFrom(plain.freq, plain.curves, start, near)
			if err != nil {
				return nil, err
			}
			if v := cone.criterion(); v < limit {
				limit, best = v, cone
			}
			if best.scatter.Rise < muchScatter {
				return best, nil // it explains the data
			}
		}
	}
	return best, nil
}

// fitFrom fits from the start, with the source free when it is not zero.
func fitFrom(freqHz []float64, curves []Curve, source Source, near float64) (*joint, error) {
	j := &joint{freq: freqHz, curves: curves, source: source}
	if err := j.start(near); err != nil {
		return nil, err
	}
	if err := j.settle(); err != nil {
		return nil, err
	}
	leaks, err := j.seekReference()
	if leaks && err == nil { // classes and scatter may look different now
		err = j.settle()
	}
	return j, err
}

// leaking is the number of curves with a leak of their own.
func (j *joint) leaking() int {
	n := 0
	for i := range j.leak {
		if j.leaks(i) {
			n++
		}
	}
	return n
}

// criterion is minus twice the log-likelihood with the priors, plus the
// penalty of the Bayesian information criterion for each leak's two unknowns:
// what fits with different classes, scatter and source are compared by.
func (j *joint) criterion() float64 {
	v := j.objective() + 2*math.Log(float64(len(j.freq)))*float64(j.leaking())
	for _, d := range j.logDet {
		v += d
	}
	return v
}

// settle fits in rounds, since classes and scatter depend on each other, and
// leaves the fit at its minimum.
func (j *joint) settle() error {
	const rounds, learning = 4, 2
	j.judged = nil
	for round := range rounds {
		if err := j.fit(noLimit); err != nil {
			return err
		}
		if round < learning {
			if err := j.weigh(j.learnScatter()); err != nil {
				return err
			}
			if err := j.fit(noLimit); err != nil {
				return err
			}
		}
		est, err := j.judge()
		if err != nil {
			return err
		}
		if !j.reclass(est) && round > 0 {
			j.judged = est
			return nil
		}
	}
	return j.fit(noLimit)
}

// richer is the drop of the criterion that a leak of the reference or a source
// of its own must bring: far above chance (χ² with two or three degrees of
// freedom) and not from a trifle in every point, since both rest on the exact
// shape of the response.
func (j *joint) richer() float64 {
	return 25 + 0.05*float64(len(j.freq)*len(j.curves))
}

// referenceLossDB is what the reference must lose at lowHz, and by how many
// standard errors, for a leak of its own to be believed.
const (
	referenceLossDB = 1.0
	referenceSigmas = 3.0
)

// seekReference lets the reference seatings leak in common and keeps that when
// the data insist. It shows because the ratio of two leaking responses levels
// out below both corners, which one leak alone never does; without leaks there
// is no contrast, and the sealed curve takes it all up.
func (j *joint) seekReference() (found bool, err error) {
	if j.leaking() == 0 {
		return false, nil
	}
	limit, best := j.objective()-j.richer(), *j
	for _, start := range []Params{{20, 2}, {80, 1}} {
		with := *j
		with.reference = start
		if err := with.fit(limit); err != nil {
			return false, err
		}
		eq := newNormal(&with)
		v := eq.objective()
		if v >= limit {
			continue
		}
		if err := eq.linearise(); err != nil {
			return false, err
		}
		if _, err := eq.covariance(); err != nil {
			return false, err
		}
		loss, se := Estimate{Leaking: true, Params: with.reference, Cov: with.referenceCov, Source: with.source}.LossDB(lowHz)
		if loss > referenceLossDB && loss > referenceSigmas*se {
			limit, best, found = v, with, true
		}
	}
	*j = best
	return found, nil
}

func (j *joint) result(est []Estimate) *Result {
	for i := range est {
		e := &est[i]
		e.Leaking = j.leaks(i)
		e.Params, e.Source = j.leak[i], j.source
		if !e.Leaking && j.reference.CornerHz > 0 {
			e.Leaking, e.Params, e.Cov = true, j.reference, j.referenceCov
		}
	}
	return &Result{FreqHz: j.freq, Sealed: j.sealed, Curves: est, Scatter: j.scatter, Reference: j.reference, Source: j.source}
}
