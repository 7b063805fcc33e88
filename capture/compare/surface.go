package compare

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/band"
	"asworn/capture/order"
	"asworn/capture/study"
)

// Limits of the surface of a survey. Common practice, no source.
const (
	surveyLeast  = 6     // displacements that make a survey
	leakToHz     = 630   // up to which a deliberate leak may reach
	slopeSD      = 0.7   // dB per mm, what is thought of the slopes before any was seen
	bendSD       = 0.15  // dB per mm²
	turnSD       = 0.3   // dB per degree
	levelSD      = 100.0 // dB, of the level itself
	scatterSD    = 0.7   // dB, of a recording about the surface
	usualLeakDB  = 10.0  // well below the corner
	usualMoveMM  = 4.0   // of a headphone that is placed normally
	surveyOddity = 2.0   // scatter over the usual from which a row of a survey counts less
)

// surface is a second-order polynomial in the displacement, per ear and third
// octave: least squares with normal priors on the coefficients.
type surface struct {
	members []int
	design  [][]float64
	levels  [2][][]float64 // of the members, NaN where they do not count
	weight  []float64      // of the members: one that fits the others badly counts less
	whole   [2]fit         // to all members
}

const terms = 7

func designOf(d study.Displacement) []float64 {
	f, u := d.ForwardMM, d.UpMM
	return []float64{1, f, u, f * f, u * u, f * u, d.RotationDeg}
}

func surfaceOf(rows []study.Seating, recs []Traits, members []int) surface {
	s := surface{members: members}
	for _, i := range members {
		s.design = append(s.design, designOf(*rows[i].Survey))
		s.weight = append(s.weight, 1)
		for e := range study.Ears {
			l := recs[i].LevelDB[e]
			if rows[i].Seal != "" {
				l = append([]float64(nil), l...)
				for _, b := range thirds(0, leakToHz) {
					l[b] = math.NaN()
				}
			}
			s.levels[e] = append(s.levels[e], l)
		}
	}
	odd := make([]float64, len(members))
	for k, i := range members {
		var square []float64
		for e := range study.Ears {
			at, _ := s.at(*rows[i].Survey, study.Ear(e), i)
			for _, b := range thirds(shapeFromHz, shapeToHz) {
				if v := s.levels[e][k][b] - at[b]; !math.IsNaN(v) {
					square = append(square, v*v)
				}
			}
		}
		odd[k] = math.Sqrt(mean(square))
	}
	usual := order.Median(over(odd, every(len(odd))))
	for k, o := range odd {
		if o > surveyOddity*usual {
			s.weight[k] = math.Pow(surveyOddity*usual/o, 4)
		}
	}
	for e := range s.whole {
		s.whole[e] = s.fit(study.Ear(e), -1)
	}
	return s
}

// fit is the surface of one ear.
type fit struct {
	terms [][]float64  // coefficients per third octave; nil where too few recordings count
	chol  mat.Cholesky // of the normal matrix of the last third
}

// fit leaves recording but out.
func (s surface) fit(e study.Ear, but int) (f fit) {
	f.terms = make([][]float64, band.Thirds)
	prior := [terms]float64{levelSD, slopeSD, slopeSD, bendSD, bendSD, bendSD, turnSD}
	var before []bool // which recordings the normal matrix is of
	for b := range f.terms {
		right, n := mat.NewVecDense(terms, nil), 0
		use := make([]bool, len(s.design))
		for k, x := range s.design {
			y := s.levels[e][k][b]
			if use[k] = s.members[k] != but && !math.IsNaN(y); use[k] {
				n++
				for p, v := range x {
					right.SetVec(p, right.AtVec(p)+s.weight[k]*v*y)
				}
			}
		}
		if n < groupLeast {
			continue
		}
		if !slices.Equal(use, before) {
			normal := mat.NewSymDense(terms, nil)
			for k, x := range s.design {
				if use[k] {
					normal.SymRankOne(normal, s.weight[k], mat.NewVecDense(terms, x))
				}
			}
			for p, sd := range prior {
				normal.SetSym(p, p, normal.At(p, p)+scatterSD*scatterSD/(sd*sd))
			}
			if !f.chol.Factorize(normal) {
				continue
			}
			before = use
		}
		var c mat.VecDense
		if f.chol.SolveVecTo(&c, right) == nil {
			f.terms[b] = c.RawVector().Data
		}
	}
	return f
}

// at is what the survey says of a displacement, without recording but, and the
// variance of a recording about that over its variance about the true surface.
func (s surface) at(d study.Displacement, e study.Ear, but int) (levels []float64, spread float64) {
	f := s.whole[e]
	if f.terms == nil || slices.Contains(s.members, but) {
		f = s.fit(e, but)
	}
	levels = make([]float64, band.Thirds)
	x := designOf(d)
	for b := range levels {
		if f.terms[b] == nil {
			levels[b] = math.NaN()
			continue
		}
		for p, v := range f.terms[b] {
			levels[b] += v * x[p]
		}
	}
	spread = 1
	if v := mat.NewVecDense(terms, x); f.chol.SymmetricDim() == terms {
		spread += quadratic(&f.chol, v)
	}
	return levels, spread
}

// moves are the changes of level along and across, and their bends.
func (s surface) moves() (out [2][][]float64) {
	for e, f := range s.whole {
		for p, size := range [terms]float64{0, usualMoveMM, usualMoveMM, usualMoveMM * usualMoveMM, usualMoveMM * usualMoveMM, usualMoveMM * usualMoveMM, 0} {
			if size == 0 {
				continue
			}
			m := make([]float64, band.Thirds)
			for b := range m {
				if f.terms[b] != nil {
					m[b] = size * f.terms[b][p]
				}
			}
			out[e] = append(out[e], m)
		}
	}
	return out
}
