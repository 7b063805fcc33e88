package fitcorr

import (
	"errors"
	"math"

	"asworn/capture/band"

	"gonum.org/v1/gonum/mat"
)

// Survey is how the blocked-entrance level of one model moves on the fixture
// when the headphone moves. It is a Gaussian process over displacement, per
// kept band, whose kernel is chosen by held-out prediction (docs/offsets.md).
// The zero value knows nothing; only Analyse makes a useful one.
type Survey struct {
	Model string       `json:"model"`
	Ears  [2]EarSurvey `json:"ears"`
}

// EarSurvey is the survey of one ear. Slices over bands follow band.All.
type EarSurvey struct {
	At      [][3]float64 `json:"at"`      // displacement per row: mm, mm, degrees
	Zones   []Zone       `json:"zones"`   // frequency ranges with a kernel of their own
	BaseDB  []float64    `json:"base_db"` // level at the marked position per kept band
	Weights [][]float64  `json:"weights"` // per row and kept band: (K+N)⁻¹(y − mean of y)
	Scatter []float64    `json:"scatter"` // dB, standard deviation of one row about the surface
	Valid   []bool       `json:"valid"`   // kept bands on which the surface is known
}

// Zone is a range of kept bands that shares a kernel.
type Zone struct {
	From   int         `json:"from"` // first kept band
	To     int         `json:"to"`   // one past the last
	Kernel Kernel      `json:"kernel"`
	Inv    [][]float64 `json:"inv"` // (K+N)⁻¹, rows by rows, in units of the scatter's variance
}

// ErrNoSurvey reports that a study has no position survey of a model's ear.
var ErrNoSurvey = errors.New("no position survey")

// Known reports whether the ear has a usable survey.
func (e *EarSurvey) Known() bool { return len(e.At) > 0 }

// Predict returns, per kept band, the level change in dB when the headphone
// moves from the marked position by d (forward mm, up mm, rotation degrees),
// with its standard error. Bands that the survey does not know hold 0 and a
// standard error of 0 in both; see EarSurvey.Valid. Both are nil without a
// survey of that ear.
func (s *Survey) Predict(ear int, d [3]float64) (deltaDB, stderrDB []float64) {
	e := &s.Ears[ear]
	if !e.Known() {
		return nil, nil
	}
	deltaDB, stderrDB = make([]float64, band.Count), make([]float64, band.Count)
	n := len(e.At)
	kd := make([]float64, n)
	var zero [3]float64
	for _, z := range e.Zones {
		for i, at := range e.At {
			kd[i] = z.Kernel.At(d, at) - z.Kernel.At(zero, at)
		}
		v := z.Kernel.At(d, d) - 2*z.Kernel.At(d, zero) + z.Kernel.At(zero, zero) - quadForm(z.Inv, kd)
		sd := math.Sqrt(math.Max(v, 0))
		for b := z.From; b < z.To; b++ {
			if !e.Valid[b] {
				continue
			}
			for i := range kd {
				deltaDB[b] += kd[i] * e.Weights[i][b]
			}
			stderrDB[b] = sd * e.Scatter[b]
		}
	}
	return deltaDB, stderrDB
}

// surface evaluates the survey at d on the position bands: level relative to
// BaseDB, slope per axis, and the variance of the surface (not of the change)
// in units of the scatter's variance.
func (e *EarSurvey) surface(bands positionBands, d [3]float64) (level []float64, slope [3][]float64, excess []float64) {
	level, excess = make([]float64, bands.n), make([]float64, bands.n)
	for a := range slope {
		slope[a] = make([]float64, bands.n)
	}
	n := len(e.At)
	k, k0 := make([]float64, n), make([]float64, n)
	g := make([][3]float64, n)
	var zero [3]float64
	for _, z := range e.Zones {
		for i, at := range e.At {
			k[i], g[i] = z.Kernel.Grad(d, at)
			k0[i] = z.Kernel.At(zero, at)
		}
		v := math.Max(z.Kernel.At(d, d)-quadForm(z.Inv, k), 0)
		for r := range bands.n {
			lo, hi := bands.kept(r)
			if lo < z.From || lo >= z.To {
				continue
			}
			var m float64
			for b := lo; b < hi; b++ {
				if !e.Valid[b] {
					continue
				}
				m++
				for i := range n {
					w := e.Weights[i][b]
					level[r] += (k[i] - k0[i]) * w
					for a := range slope {
						slope[a][r] += g[i][a] * w
					}
				}
			}
			excess[r] = v
			if m > 0 {
				level[r] /= m
				for a := range slope {
					slope[a][r] /= m
				}
			}
		}
	}
	return level, slope, excess
}

// levelAt is surface without slopes and variance.
func (e *EarSurvey) levelAt(bands positionBands, d [3]float64) []float64 {
	level := make([]float64, bands.n)
	dk := make([]float64, len(e.At))
	var zero [3]float64
	for _, z := range e.Zones {
		for i, at := range e.At {
			dk[i] = z.Kernel.At(d, at) - z.Kernel.At(zero, at)
		}
		for r := range bands.n {
			lo, hi := bands.kept(r)
			if lo < z.From || lo >= z.To {
				continue
			}
			var m float64
			for b := lo; b < hi; b++ {
				if !e.Valid[b] {
					continue
				}
				m++
				for i, v := range dk {
					level[r] += v * e.Weights[i][b]
				}
			}
			level[r] /= max(m, 1)
		}
	}
	return level
}

// reach returns the largest displacement of the survey per axis.
func (e *EarSurvey) reach() (r [3]float64) {
	for _, at := range e.At {
		for a, v := range at {
			r[a] = max(r[a], math.Abs(v))
		}
	}
	return r
}

func quadForm(m [][]float64, x []float64) float64 {
	var sum float64
	for i, row := range m {
		var t float64
		for j, v := range row {
			t += v * x[j]
		}
		sum += x[i] * t
	}
	return sum
}

func rowsOf(m mat.Matrix) [][]float64 {
	r, c := m.Dims()
	out := make([][]float64, r)
	for i := range out {
		out[i] = make([]float64, c)
		for j := range out[i] {
			out[i][j] = m.At(i, j)
		}
	}
	return out
}
