package survey

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/band"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// zoneEdgesHz part the ranges in which the response bends differently with
// displacement: an ear is small against the wavelength, comparable, large.
var zoneEdgesHz = [...]float64{1500, 3000, 4500, 6500, 9000, 12500}

// neighbourZone is the weight of the zones next to a zone in the choice of its kernel: the
// response does not change its nature from one zone to the next. Our choice, no source.
const neighbourZone = 0.3

// FitEar fits the surface of one ear (0 left, 1 right) to survey rows and returns it with
// its report, which other rooms complete; slip holds a variance multiplier per row, N_ii of
// the package comment. It fails with ErrNoSurvey on fewer than FewestRows, where no band
// counts in all of them, where all rows have the same level, and where they determine no
// surface.
func FitEar(rows []seat.Seating, ear int, slip []float64) (Ear, *Report, error) {
	e := Ear{BaseDB: make([]float64, band.Count), Scatter: make([]float64, band.Count), Valid: make([]bool, band.Count)}
	n := len(rows)
	if n < FewestRows {
		return Ear{}, nil, fmt.Errorf("%w: %d usable survey rows, at least %d are needed", ErrNoSurvey, n, FewestRows)
	}
	rotates, some := false, false
	for b := range e.Valid {
		e.Valid[b] = true
		for _, s := range rows {
			e.Valid[b] = e.Valid[b] && s.Ears[ear].Counts(b)
		}
		some = some || e.Valid[b]
	}
	if !some {
		return Ear{}, nil, fmt.Errorf("%w: no band counts in every survey row of the %s ear", ErrNoSurvey, seat.EarName(ear))
	}
	for _, s := range rows {
		e.At = append(e.At, s.Survey.Vector())
		rotates = rotates || s.Survey.RotationDeg != 0
	}
	y, mean := centred(rows, ear, e.Valid)
	if still(y, e.Valid) {
		return Ear{}, nil, fmt.Errorf("%w: the level of the %s ear is the same in every survey row, as an electrical signal's is: see which channel the microphone is on", ErrNoSurvey, seat.EarName(ear))
	}
	fit := fitSurface(responseModels(rotates), e.At, y, e.Valid, slip)
	if fit == nil {
		return Ear{}, nil, fmt.Errorf("%w: the survey rows of the %s ear do not determine a surface", ErrNoSurvey, seat.EarName(ear))
	}
	e.settle(fit.zones, y, mean, slip)
	rep := &Report{Displacements: countDistinct(e.At), Method: fit.method, HeldOutDB: fit.heldOutDB}
	return e, rep, nil
}

// settle computes the surface for given kernels (Zones with Inv) from the
// levels y about their mean, rows × band.Count, and that mean, dB.
func (e *Ear) settle(zones []Zone, y *mat.Dense, mean, slip []float64) {
	n := len(e.At)
	e.Zones = zones
	w, inv := mat.NewDense(n, band.Count, nil), mat.NewDense(n, n, nil)
	for _, z := range e.Zones {
		for i, row := range z.Inv {
			inv.SetRow(i, row)
		}
		stats.Multiply(w.Slice(0, n, z.From, z.To).(*mat.Dense), inv, y.Slice(0, n, z.From, z.To).(*mat.Dense))
		k0 := make([]float64, n)
		trace := 0.0
		for i := range e.At {
			k0[i] = z.Kernel.At(new([3]float64), &e.At[i])
			trace += z.Inv[i][i] * slip[i]
		}
		for b := z.From; b < z.To; b++ {
			if !e.Valid[b] {
				continue
			}
			e.BaseDB[b] = mean[b]
			var sq float64
			for i := range n {
				v := w.At(i, b)
				e.BaseDB[b] += k0[i] * v
				sq += slip[i] * v * v // E = σ² tr(A N) for y ~ σ²A⁻¹
			}
			e.Scatter[b] = sq / trace
		}
	}
	e.Weights = stats.RowsOf(w)
	stats.SmoothVariance(e.Scatter, e.Valid, band.Fraction/3)
	for b := range e.Scatter {
		e.Scatter[b] = math.Sqrt(e.Scatter[b])
	}
}

// Without returns the surface with the same kernels and without the rows whose numbers are
// out; rows and slip are those of FitEar. False when too few rows are left.
func (e *Ear) Without(rows []seat.Seating, ear int, slip []float64, out []int) (Ear, bool) {
	drop := map[int]bool{}
	for _, i := range out {
		drop[i] = true
	}
	r := Ear{BaseDB: make([]float64, band.Count), Scatter: make([]float64, band.Count), Valid: e.Valid}
	var kept []seat.Seating
	var keptSlip []float64
	for i, s := range rows {
		if !drop[i] {
			kept, keptSlip, r.At = append(kept, s), append(keptSlip, slip[i]), append(r.At, e.At[i])
		}
	}
	n := len(kept)
	if n < FewestRows {
		return r, false
	}
	y, mean := centred(kept, ear, e.Valid)
	zones := append([]Zone(nil), e.Zones...)
	for zi := range zones {
		if zi > 0 && zones[zi].Kernel == zones[zi-1].Kernel { // zones often agree
			zones[zi].Inv = zones[zi-1].Inv
			continue
		}
		inv, ok := kernelInverse(zones[zi].Kernel, r.At, keptSlip)
		if !ok {
			return r, false
		}
		zones[zi].Inv = stats.RowsOf(inv)
	}
	r.settle(zones, y, mean, keptSlip)
	return r, true
}

// centred returns the rows' levels about their mean per kept band, rows × band.Count, and
// that mean, dB; 0 in bands that are not valid.
func centred(rows []seat.Seating, ear int, valid []bool) (*mat.Dense, []float64) {
	n := len(rows)
	y := mat.NewDense(n, band.Count, nil)
	mean := make([]float64, band.Count)
	for b, ok := range valid {
		if !ok {
			continue
		}
		for i := range rows {
			mean[b] += rows[i].Ears[ear].LevelDB[b] / float64(n)
		}
		for i := range rows {
			y.Set(i, b, rows[i].Ears[ear].LevelDB[b]-mean[b])
		}
	}
	return y, mean
}

// still reports whether the rows differ by a level alone: the RMS over rows and
// bands that count, each row about its mean, is below what any microphone's noise
// and any movement leave.
func still(y *mat.Dense, valid []bool) bool {
	const stillDB = 0.005
	n, _ := y.Dims()
	var sum, count float64
	for i := range n {
		var x []float64
		for b, ok := range valid {
			if ok {
				x = append(x, y.At(i, b))
			}
		}
		if len(x) > 1 {
			_, sd := stats.MeanSD(x)
			sum += sd * sd
			count++
		}
	}
	return sum < stillDB*stillDB*count
}

// kernelInverse returns A = (K+N)⁻¹, rows × rows; false when K+N is singular.
func kernelInverse(k Kernel, at [][3]float64, slip []float64) (*mat.SymDense, bool) {
	n := len(at)
	gram := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			v := k.At(&at[i], &at[j])
			if i == j {
				v += slip[i]
			}
			gram.SetSym(i, j, v)
		}
	}
	factor, ok := stats.Factorize(gram)
	if !ok {
		return nil, false
	}
	return factor.Inverse(), true
}

// makeZones snaps the zones to whole position bands.
func makeZones() []Zone {
	bands := NewBands()
	var zones []Zone
	from := 0
	for _, hz := range zoneEdgesHz {
		r := 0
		for r < bands.N && bands.Hz[r] < hz {
			r++
		}
		to, _ := bands.Kept(r)
		zones = append(zones, Zone{From: from, To: to})
		from = to
	}
	return append(zones, Zone{From: from, To: band.Count})
}
