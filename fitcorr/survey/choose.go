package survey

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/stats"
)

// surfaceFit is the response model chosen for one ear.
type surfaceFit struct {
	method    string // in words
	zones     []Zone
	heldOutDB float64 // RMS error of each row predicted without its displacement
}

// fitSurface chooses the response model of each zone by leave-one-displacement-out
// prediction: the logarithm of the density that a surface made without a
// displacement gives to the levels measured there (leftOut), summed
// over displacements and bands, those of neighbouring zones with the weight neighbourZone.
// Unlike the plain prediction error it does not
// let the outermost displacements rule, which no surface predicts well from
// within and a good one knows that it does not. It returns nil where no zone
// has a band that counts.
func fitSurface(models []responseModel, at [][3]float64, y *mat.Dense, valid []bool, slip []float64) *surfaceFit {
	zones := makeZones()
	bands := choosing(valid)
	y = columns(y, bands)
	held := newHolder(at, y, slip)
	score, inverse := scores(models, zones, at, held, bands, slip)
	fit := &surfaceFit{}
	var sum, count float64
	chosen := map[string]int{}
	for zi, z := range zones {
		if !slices.Contains(valid[min(max(lowestBand(), z.From), z.To):z.To], true) {
			continue
		}
		best := mostProbable(score, zi)
		if inverse[best] == nil {
			continue
		}
		z.Kernel, z.Inv = models[best].kernel, stats.RowsOf(inverse[best])
		fit.zones = append(fit.zones, z)
		chosen[models[best].method]++
		h := held.leaveOut(inverse[best])
		for c, b := range bands {
			if b >= z.From && b < z.To {
				sum += h.square[c]
				count += h.rows
			}
		}
	}
	if count == 0 {
		return nil
	}
	fit.heldOutDB = math.Sqrt(sum / count)
	fit.method = inWords(chosen, len(fit.zones))
	return fit
}

// lowestBand is the first kept band that has a say in the choice: those below are the
// leak's range.
func lowestBand() int { return NewBands().First }

// choosing are the numbers of the kept bands that have a say in the choice, rising.
func choosing(valid []bool) (bands []int) {
	for b := lowestBand(); b < len(valid); b++ {
		if valid[b] {
			bands = append(bands, b)
		}
	}
	return bands
}

// columns returns those columns of y, rows × columns; an empty matrix for none.
func columns(y *mat.Dense, numbers []int) *mat.Dense {
	if len(numbers) == 0 {
		return new(mat.Dense)
	}
	n, _ := y.Dims()
	out := mat.NewDense(n, len(numbers), nil)
	for i := range n {
		from, to := y.RawRowView(i), out.RawRowView(i)
		for c, b := range numbers {
			to[c] = from[b]
		}
	}
	return out
}

// scores are the log densities of the response models, per zone and model, −Inf for one
// that is singular, and A = (K+N)⁻¹ per model, rows × rows, nil then; held has the levels in
// bands.
func scores(models []responseModel, zones []Zone, at [][3]float64, held *holder, bands []int, slip []float64) (score [][]float64, inverse []*mat.SymDense) {
	score, inverse = make([][]float64, len(zones)), make([]*mat.SymDense, len(models))
	for zi := range score {
		score[zi] = make([]float64, len(models))
	}
	for mi, m := range models {
		inv, ok := kernelInverse(m.kernel, at, slip)
		if !ok {
			for zi := range score {
				score[zi][mi] = math.Inf(-1)
			}
			continue
		}
		inverse[mi] = inv
		h := held.leaveOut(inv)
		for zi, z := range zones {
			from, _ := slices.BinarySearch(bands, z.From)
			to, _ := slices.BinarySearch(bands, z.To)
			score[zi][mi] = h.logDensity(from, to)
		}
	}
	return score, inverse
}

// mostProbable is the model of the highest score in zone zi, its neighbours counted in; the
// simpler one of equals.
func mostProbable(score [][]float64, zi int) int {
	total := func(mi int) float64 {
		v := score[zi][mi]
		if zi > 0 {
			v += neighbourZone * score[zi-1][mi]
		}
		if zi < len(score)-1 {
			v += neighbourZone * score[zi+1][mi]
		}
		return v
	}
	best := 0
	for mi := range score[zi] {
		if total(mi) > total(best) {
			best = mi
		}
	}
	return best
}

// leftOut is how well displacements are predicted from all others. Slices are per band.
type leftOut struct {
	square   []float64 // sum over rows of the squared error, dB²
	rows     float64   // held out; slipped ones have no say
	variance []float64 // of the scatter, dB²
	error    []float64 // squared error by its covariance, in units of the scatter's variance
	logDets  float64   // of these, less
}

// logDensity is that of the levels held out, with the scatter's variance of each band, summed over the
// bands from to to−1. Variances are multiplied, as many as a number holds: a logarithm takes longer.
func (h leftOut) logDensity(from, to int) float64 {
	sum, product := float64(to-from)*h.logDets, 1.0
	for b := from; b < to; b++ {
		sum -= h.error[b] / h.variance[b]
		if product *= h.variance[b]; product < 1e-100 || product > 1e100 || b == to-1 {
			sum, product = sum-h.rows*math.Log(product), 1
		}
	}
	return sum / 2
}

// holder holds displacements out, by one kernel after the other.
type holder struct {
	y      *mat.Dense // levels about their mean, rows × bands
	groups [][]int    // rows of one displacement of which none slipped
	// Work space: (K+N)⁻¹, the same times y, the errors of one group, and what leaveOut returns.
	inv, ay, e *mat.Dense
	out        leftOut
}

func newHolder(at [][3]float64, y *mat.Dense, slip []float64) *holder {
	groups := slices.DeleteFunc(SameDisplacement(at), func(group []int) bool {
		return slices.ContainsFunc(group, func(i int) bool { return slip[i] > 1 })
	})
	_, bands := y.Dims()
	return &holder{y, groups, mat.NewDense(len(at), len(at), nil), mat.DenseCopyOf(y), new(mat.Dense),
		leftOut{square: make([]float64, bands), variance: make([]float64, bands), error: make([]float64, bands)}}
}

// leaveOut predicts each displacement's rows without them, from the inverse
// (K+N)⁻¹ of all and the levels y about their mean, rows × bands: the error is
// (inv_GG)⁻¹ (inv y)_G and its covariance, in units of the scatter's variance,
// (inv_GG)⁻¹ (Rasmussen & Williams 2006, section 5.4.2, for groups). What it returns holds until
// it is called again.
func (o *holder) leaveOut(inverse *mat.SymDense) leftOut {
	y, inv, ay := o.y, o.inv, o.ay
	n, bands := y.Dims()
	h := o.out
	clear(h.square)
	clear(h.variance)
	clear(h.error)
	if bands == 0 {
		return h
	}
	inv.Copy(inverse)
	stats.Multiply(ay, inv, y)
	for i := range n {
		a := ay.RawRowView(i)
		for b, v := range y.RawRowView(i) {
			h.variance[b] += v * a[b]
		}
	}
	for b := range h.variance {
		h.variance[b] = h.variance[b]/float64(n-1) + 1e-9
	}
	for _, group := range o.groups {
		if len(group) == 1 { // as most are
			i := group[0]
			own := inv.At(i, i)
			if own <= 0 {
				continue
			}
			h.rows, h.logDets = h.rows+1, h.logDets+math.Log(own)
			per := 1 / own
			for b, v := range ay.RawRowView(i) {
				e := v * per
				h.square[b] += e * e
				h.error[b] += e * v
			}
			continue
		}
		logDet, ok := LeftOutErrors(o.e, group, inv.At, ay.RawRowView)
		if !ok {
			continue
		}
		h.rows += float64(len(group))
		h.logDets += logDet
		for a, i := range group {
			own := ay.RawRowView(i)
			for b, v := range o.e.RawRowView(a) {
				h.square[b] += v * v
				h.error[b] += v * own[b]
			}
		}
	}
	return h
}

// LeftOutErrors sets e to by how much each row of a group lies above what all rows
// outside the group predict, (inv_GG)⁻¹ (inv y)_G, rows by bands, and returns log|inv_GG|;
// false where that is singular. ay(i) is row i of inv y. What e held is overwritten.
func LeftOutErrors(e *mat.Dense, group []int, inv func(i, j int) float64, ay func(i int) []float64) (logDet float64, ok bool) {
	e.Reset()
	e.ReuseAs(len(group), len(ay(group[0])))
	if len(group) == 1 { // as most are
		i := group[0]
		own := inv(i, i)
		floats.ScaleTo(e.RawRowView(0), 1/own, ay(i))
		return math.Log(own), own > 0
	}
	own := mat.NewSymDense(len(group), nil)
	for a, i := range group {
		for c, j := range group[:a+1] {
			own.SetSym(a, c, inv(i, j))
		}
		copy(e.RawRowView(a), ay(i))
	}
	factor, ok := stats.Factorize(own)
	if !ok {
		return 0, false
	}
	factor.Solve(e)
	return factor.LogDet(), true
}

// inWords says which response models were chosen in how many zones.
func inWords(chosen map[string]int, zones int) string {
	var out []string
	for _, method := range slices.Sorted(maps.Keys(chosen)) {
		n := chosen[method]
		if n == zones {
			return method
		}
		out = append(out, fmt.Sprintf("%s in %d", method, n))
	}
	return fmt.Sprintf("%s of %d frequency ranges", strings.Join(out, ", "), zones)
}
