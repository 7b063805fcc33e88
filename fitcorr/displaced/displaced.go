// Package displaced says how the level of people's ears moves with the headphone,
// from listeners who wore it displaced on purpose. The fixture's survey says how the
// level moves on the fixture's ear; on a person's ear it moves otherwise, and
// the difference grows with the distance of the worn mean from the mark. Where
// listeners also wore the headphone displaced by stated amounts from their own
// usual place, the fixture and each of them are taken as one draw each of how
// the level of people moves, and positions are told with the mean of all
// (docs/offsets.md). It must not know seatings, nor how positions are told.
package displaced

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

// Listener is what one listener's rows of one model say about the slope, per ear:
// centred sums over the rows, usual seatings included as displacement 0.
type Listener struct {
	dd [3][3]float64   // Σ d d'; mm, mm, degrees
	dy [2][3][]float64 // Σ d y per band; nil without that ear
}

// Of returns the sums of one listener's rows: displacements d (mm, mm, degrees), and
// per ear the levels y (dB) without their own level, one value per band; nil in
// a row where the ear is lacking, which leaves the ear out.
func Of(d [][3]float64, y [2][][]float64) Listener {
	var out Listener
	var mean [3]float64
	for _, v := range d {
		for a := range 3 {
			mean[a] += v[a] / float64(len(d))
		}
	}
	for _, v := range d {
		for a := range 3 {
			for b := range 3 {
				out.dd[a][b] += (v[a] - mean[a]) * (v[b] - mean[b])
			}
		}
	}
	for e := range 2 {
		whole := len(y[e]) > 0
		for _, v := range y[e] {
			whole = whole && v != nil
		}
		if !whole {
			continue
		}
		for a := range 3 {
			out.dy[e][a] = make([]float64, len(y[e][0]))
			for i, v := range y[e] {
				for r := range v {
					out.dy[e][a][r] += (d[i][a] - mean[a]) * v[r]
				}
			}
		}
	}
	return out
}

// Pooled is the listeners' slopes of one ear. Its zero value is that of no listeners.
type Pooled struct {
	// Own is by how much a listener's slope differs from the fixture's, forward and up
	// alike: a variance per band, (dB/mm)².
	Own   []float64
	sum   [3][]float64 // of the listeners' slopes, dB per mm, mm and degree per band
	draws float64      // how many ears a mean is of, the fixture's included
}

// Pool returns the slopes of ear e of the listeners. A listener's slope is the ridge
// estimate about the fixture's: noise is the scatter of a seating (variance per
// band, dB²), and by how much ears differ is learned from the listeners (variances);
// local is what is assumed of it, (dB/mm)² per band, and without listeners all there is.
func Pool(listeners []Listener, e int, fixture [3][]float64, local, scatter []float64) Pooled {
	own := variances(listeners, e, fixture, local, scatter)
	if len(listeners) == 0 {
		return Pooled{Own: own}
	}
	n := len(scatter)
	out := Pooled{Own: own, draws: 1}
	for a := range out.sum {
		out.sum[a] = make([]float64, n)
	}
	for _, l := range listeners {
		if l.dy[e][0] == nil {
			continue
		}
		out.draws++
		for r := range n {
			// (DD + v/τ²)·Δ = Dy − DD·J for the difference Δ to the fixture.
			v := noise(scatter[r])
			info, rhs := stats.Symmetric3(l.dd), mat.NewVecDense(3, nil)
			for a := range 3 {
				v0 := l.dy[e][a][r]
				for b := range 3 {
					v0 -= l.dd[a][b] * fixture[b][r]
				}
				rhs.SetVec(a, v0)
				stats.AddSym(info, a, a, v/own[r])
			}
			var chol mat.Cholesky
			var diff mat.VecDense
			chol.Factorize(info) // positive definite by the ridge
			if chol.SolveVecTo(&diff, rhs) != nil {
				diff.CloneFromVec(mat.NewVecDense(3, nil)) // nothing to tell from the fixture's
			}
			for a := range 3 {
				out.sum[a][r] += fixture[a][r] + diff.AtVec(a)
			}
		}
	}
	return out
}

// noise is the variance of a row's level (dB²): the scatter, and what the mean of
// a sixth of an octave is not repeatable to.
func noise(scatter float64) float64 { return scatter + 0.05*0.05 }

// variances is by how much a listener's slope differs from the fixture's, as a variance
// per band ((dB/mm)²), forward and up alike: the mean over listeners, both axes and
// five neighbouring bands of the squared difference of the least-squares slopes, less
// what the noise of the rows adds to it. What is assumed, slopes that differ by as much
// as they are large (local), counts as priorListeners more, so that a single listener decides little.
func variances(listeners []Listener, e int, fixture [3][]float64, local, scatter []float64) []float64 {
	const (
		priorListeners = 2.0
		floor          = 0.02 // dB/mm
		reach          = 2    // bands to either side
	)
	n := len(scatter)
	square := make([]float64, n)
	heads := 0.0
	for _, l := range listeners {
		det := l.dd[0][0]*l.dd[1][1] - l.dd[0][1]*l.dd[0][1]
		if l.dy[e][0] == nil || det < 1 { // the rows do not move both ways
			continue
		}
		heads++
		for r := range n {
			var x [2]float64 // Dy − DD·J
			for a := range x {
				x[a] = l.dy[e][a][r] - l.dd[a][0]*fixture[0][r] - l.dd[a][1]*fixture[1][r] - l.dd[a][2]*fixture[2][r]
			}
			for a := range x {
				diff := (l.dd[1-a][1-a]*x[a] - l.dd[0][1]*x[1-a]) / det
				square[r] += (diff*diff - noise(scatter[r])*l.dd[1-a][1-a]/det) / 2
			}
		}
	}
	out := make([]float64, n)
	for r := range out {
		from, to := max(0, r-reach), min(n-1, r+reach)
		var s, p float64
		for q := from; q <= to; q++ {
			s += square[q] / float64(to-from+1)
			p += local[q] / float64(to-from+1)
		}
		out[r] = floor*floor + (math.Max(0, s)+priorListeners*p)/(heads+priorListeners)
	}
	return out
}

// Draws is how many ears the mean slope is of, the fixture's included. It is a count, 1
// or more: without displaced listeners it is the fixture's alone.
func (p Pooled) Draws() float64 { return math.Max(1, p.draws) }

// Mean is the mean of the fixture's slope and the listeners', one draw each. Both are dB
// per mm, mm, degree over the position bands. Without displaced listeners it is the
// fixture's.
func (p Pooled) Mean(fixture [3][]float64) (mean [3][]float64) {
	if p.draws == 0 {
		return fixture
	}
	for a := range mean {
		mean[a] = make([]float64, len(fixture[a]))
		for r := range mean[a] {
			mean[a][r] = (fixture[a][r] + p.sum[a][r]) / p.draws
		}
	}
	return mean
}

// Level turns the fixture's level at displacement d less that at the mark (dB per
// band) into that of people's mean, in place: the fixture's surface and the
// listeners' slopes, one draw each.
func (p Pooled) Level(level []float64, d [3]float64) []float64 {
	if p.draws == 0 {
		return level
	}
	for r, v := range level {
		for a := range 3 {
			v += p.sum[a][r] * d[a]
		}
		level[r] = v / p.draws
	}
	return level
}
