package survey

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/capture/band"
	"asworn/fitcorr/stats"
)

// Survey is how the level of one model at one point moves on the fixture
// when the headphone moves. It is a Gaussian process over displacement, per
// kept band, whose kernel is chosen by held-out prediction (docs/offsets.md).
// The zero value knows nothing; FitEar makes useful ears.
type Survey struct {
	Model string `json:"model"`
	Ears  [2]Ear `json:"ears"`
}

// Ear is the survey of one ear. Slices over bands follow band.All; without a survey all
// are nil (Known).
type Ear struct {
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

// ErrNoSurvey reports that a study has no usable position survey of a model's ear; errors
// that wrap it say why.
var ErrNoSurvey = errors.New("no position survey")

// Known reports whether the ear has a usable survey.
func (e *Ear) Known() bool { return len(e.At) > 0 }

// Predict returns, per kept band, the level change in dB when the headphone
// moves from the marked position by d (forward mm, up mm, rotation degrees),
// with its standard error, dB. Bands that the survey does not know hold 0 in both; see
// Ear.Valid. Both are nil without a survey of that ear.
func (s *Survey) Predict(ear int, d [3]float64) (deltaDB, stderrDB []float64) {
	e := &s.Ears[ear]
	if !e.Known() {
		return nil, nil
	}
	mark := e.AtMark()
	deltaDB, stderrDB = make([]float64, band.Count), make([]float64, band.Count)
	e.Change(deltaDB, d, mark)
	kd := make([]float64, len(e.At))
	var zero [3]float64
	for zi, z := range e.Zones {
		for i := range e.At {
			kd[i] = z.Kernel.At(&d, &e.At[i]) - mark[zi][i]
		}
		v := z.Kernel.At(&d, &d) - 2*z.Kernel.At(&d, &zero) + z.Kernel.At(&zero, &zero) - stats.QuadForm(z.Inv, kd)
		sd := math.Sqrt(math.Max(v, 0))
		for b := z.From; b < z.To; b++ {
			if e.Valid[b] {
				stderrDB[b] = sd * e.Scatter[b]
			}
		}
	}
	return deltaDB, stderrDB
}

// AtMark returns the kernel between the marked position and each row, per zone.
func (e *Ear) AtMark() [][]float64 {
	out := make([][]float64, len(e.Zones))
	for zi, z := range e.Zones {
		out[zi] = make([]float64, len(e.At))
		for i := range e.At {
			out[zi][i] = z.Kernel.At(new([3]float64), &e.At[i])
		}
	}
	return out
}

// Change writes Predict's level change alone, dB per kept band, to dst; mark is what AtMark
// returns.
func (e *Ear) Change(dst []float64, d [3]float64, mark [][]float64) {
	clear(dst)
	dk := make([]float64, len(e.At))
	for zi, z := range e.Zones {
		if zi == 0 || z.Kernel != e.Zones[zi-1].Kernel { // zones often agree
			for i := range e.At {
				dk[i] = z.Kernel.At(&d, &e.At[i]) - mark[zi][i]
			}
		}
		for i, v := range dk {
			floats.AddScaled(dst[z.From:z.To], v, e.Weights[i][z.From:z.To])
		}
	}
	for b, ok := range e.Valid {
		if !ok {
			dst[b] = 0
		}
	}
}

// Surface is BandSurface.At of the survey on the position bands, for one displacement.
func (e *Ear) Surface(bands Bands, d [3]float64) (level []float64, slope [3][]float64, excess []float64) {
	return e.On(bands).At(d)
}

// Reach returns the largest displacement of the survey per axis, mm, mm, degrees, without
// sign; 0 without a survey.
func (e *Ear) Reach() (r [3]float64) {
	for _, at := range e.At {
		for a, v := range at {
			r[a] = max(r[a], math.Abs(v))
		}
	}
	return r
}

// Slipped reports per row whether the fit raised its variance. The fit keeps
// (K+N)⁻¹; N's diagonal is 1 for an ordinary row.
func (e *Ear) Slipped() []bool {
	out := make([]bool, len(e.At))
	for _, z := range e.Zones {
		inv := mat.NewDense(len(e.At), len(e.At), nil)
		for i, row := range z.Inv {
			inv.SetRow(i, row)
		}
		var gram mat.Dense
		if gram.Inverse(inv) != nil {
			continue
		}
		for i := range e.At {
			out[i] = out[i] || gram.At(i, i)-z.Kernel.At(&e.At[i], &e.At[i]) > 1.5
		}
	}
	return out
}

// LeftOver is the fraction of row i's scatter, 0.1 to 1, that the surface leaves in its
// residual: A_ii of the package comment, averaged over the zones.
func (e *Ear) LeftOver(i int) float64 {
	var sum float64
	for _, z := range e.Zones {
		sum += z.Inv[i][i]
	}
	return math.Max(0.1, sum/float64(len(e.Zones)))
}

// TellsPlace reports per kept band, band.Count of them, whether it tells positions (LowHz to
// HighHz) and the surface is known there.
func (e *Ear) TellsPlace() []bool {
	out := make([]bool, band.Count)
	for b, f := range band.All() {
		out[b] = e.Valid[b] && f.Lower >= LowHz && f.Upper < HighHz
	}
	return out
}
