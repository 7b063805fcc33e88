package fitcorr

import (
	"fmt"
	"math"
	"sort"

	"asworn/capture/band"

	"gonum.org/v1/gonum/mat"
)

// zoneEdgesHz part the ranges in which the response bends differently with
// displacement: an ear is small against the wavelength, comparable, large.
var zoneEdgesHz = [...]float64{2000, 6000}

// minSurveyRows is the least number of rows that can hold a level, two slopes
// and a residual.
const minSurveyRows = 5

// surveyRows are the rows that say how the response moves: deliberate
// displacements without a deliberate leak, at the blocked entrance, on the fixture.
func surveyRows(ss []Seating, fixture bool) []Seating {
	var out []Seating
	for _, s := range ss {
		if s.Survey != nil && s.Seal == "" && s.Point == blocked && (s.Subject == fixtureSubject) == fixture {
			out = append(out, s)
		}
	}
	return out
}

// fitEarSurvey fits the surface of one ear to survey rows and returns it with
// its report; slip holds a row's variance multiplier (1 = ordinary) and may be
// raised for rows that do not fit.
func fitEarSurvey(rows []Seating, ear int, slip []float64) (EarSurvey, *SurveyReport, error) {
	e := EarSurvey{BaseDB: make([]float64, band.Count), Scatter: make([]float64, band.Count), Valid: make([]bool, band.Count)}
	n := len(rows)
	if n < minSurveyRows {
		return EarSurvey{}, nil, fmt.Errorf("%w: %d usable survey rows, at least %d are needed", ErrNoSurvey, n, minSurveyRows)
	}
	rotates, some := false, false
	for b := range e.Valid {
		e.Valid[b] = true
		for _, s := range rows {
			e.Valid[b] = e.Valid[b] && s.Ears[ear].counts(b)
		}
		some = some || e.Valid[b]
	}
	if !some {
		return EarSurvey{}, nil, fmt.Errorf("%w: no band counts in every survey row of the %s ear", ErrNoSurvey, earName(ear))
	}
	y := mat.NewDense(n, band.Count, nil)
	mean := make([]float64, band.Count)
	for _, s := range rows {
		e.At = append(e.At, s.Survey.Vector())
		rotates = rotates || s.Survey.RotationDeg != 0
	}
	for b, ok := range e.Valid {
		if !ok {
			continue
		}
		for _, s := range rows {
			mean[b] += s.Ears[ear].LevelDB[b] / float64(n)
		}
		for i, s := range rows {
			y.Set(i, b, s.Ears[ear].LevelDB[b]-mean[b])
		}
	}
	zones := makeZones()
	var best *surfaceFit
	for _, fam := range kernelFamilies(rotates) {
		f := fitFamily(fam, e.At, y, e.Valid, zones, slip)
		// A richer model must earn its place.
		if f != nil && (best == nil || f.heldOutDB < 0.97*best.heldOutDB) {
			best = f
		}
	}
	if best == nil {
		return EarSurvey{}, nil, fmt.Errorf("%w: the survey rows of the %s ear do not determine a surface", ErrNoSurvey, earName(ear))
	}
	e.Zones = best.zones
	w := mat.NewDense(n, band.Count, nil)
	for zi, z := range e.Zones {
		part := w.Slice(0, n, z.From, z.To).(*mat.Dense)
		part.Mul(best.inv[zi], y.Slice(0, n, z.From, z.To))
		k0 := make([]float64, n)
		for i, at := range e.At {
			k0[i] = z.Kernel.At([3]float64{}, at)
		}
		trace := 0.0
		for i := range n {
			trace += best.inv[zi].At(i, i) * slip[i]
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
	e.Weights = rowsOf(w)
	smoothVariance(e.Scatter, e.Valid, band.Fraction/3)
	for b := range e.Scatter {
		e.Scatter[b] = math.Sqrt(e.Scatter[b])
	}
	rep := &SurveyReport{Displacements: countDistinct(e.At), Method: best.method, HeldOutDB: best.heldOutDB}
	return e, rep, nil
}

// surfaceFit is one response model fitted to one ear.
type surfaceFit struct {
	method    string
	zones     []Zone
	inv       []*mat.Dense
	heldOutDB float64
	// heldOut is the error of each row predicted without its displacement, and
	// lever that error's variance in units of the scatter's.
	heldOut *mat.Dense
}

// makeZones snaps the zones to whole position bands.
func makeZones() []Zone {
	bands := newPositionBands()
	var zones []Zone
	from := 0
	for _, hz := range zoneEdgesHz {
		r := 0
		for r < bands.n && bands.hz[r] < hz {
			r++
		}
		to, _ := bands.kept(r)
		zones = append(zones, Zone{From: from, To: to})
		from = to
	}
	return append(zones, Zone{From: from, To: band.Count})
}

// fitFamily chooses the kernel of a family per zone by marginal likelihood
// with the scatter's variance profiled out per band, and holds out each
// displacement in turn.
func fitFamily(fam kernelFamily, at [][3]float64, y *mat.Dense, valid []bool, zones []Zone, slip []float64) *surfaceFit {
	n := len(at)
	f := &surfaceFit{method: fam.method, zones: append([]Zone(nil), zones...), heldOut: mat.NewDense(n, band.Count, nil)}
	f.inv = make([]*mat.Dense, len(zones))
	lowest := newPositionBands().first // the leak's range has no say
	score := make([]float64, len(zones))
	for zi := range score {
		score[zi] = math.Inf(-1)
	}
	for _, k := range fam.kernels {
		gram := mat.NewSymDense(n, nil)
		for i := range n {
			for j := i; j < n; j++ {
				v := k.At(at[i], at[j])
				if i == j {
					v += slip[i]
				}
				gram.SetSym(i, j, v)
			}
		}
		var chol mat.Cholesky
		if !chol.Factorize(gram) {
			continue
		}
		var inv mat.SymDense
		if chol.InverseTo(&inv) != nil {
			continue
		}
		for zi, z := range zones {
			ll, m := 0.0, 0.0
			for b := z.From; b < z.To; b++ {
				if !valid[b] || b < lowest {
					continue
				}
				col := y.ColView(b)
				q := mat.Inner(col, &inv, col)
				ll += -0.5*chol.LogDet() - 0.5*float64(n-1)*math.Log(q+1e-9)
				m++
			}
			if m > 0 && ll > score[zi] {
				score[zi] = ll
				f.zones[zi].Kernel = k
				f.inv[zi] = mat.DenseCopyOf(&inv)
			}
		}
	}
	var known []Zone
	var knownInv []*mat.Dense
	var sum, count float64
	for zi := range f.zones {
		if f.inv[zi] == nil {
			continue
		}
		z := f.zones[zi]
		z.Inv = rowsOf(f.inv[zi])
		known, knownInv = append(known, z), append(knownInv, f.inv[zi])
		holdOut(f, z, f.inv[zi], at, y)
		for b := z.From; b < z.To; b++ {
			if valid[b] && b >= lowest {
				for i := range n {
					if slip[i] == 1 {
						sum += f.heldOut.At(i, b) * f.heldOut.At(i, b)
						count++
					}
				}
			}
		}
	}
	if len(known) == 0 || count == 0 {
		return nil
	}
	f.zones, f.inv = known, knownInv
	f.heldOutDB = math.Sqrt(sum / count)
	return f
}

// holdOut predicts each displacement's rows without them:
// e_G = (A_GG)⁻¹ (A y)_G with A = (K+N)⁻¹.
func holdOut(f *surfaceFit, z Zone, inv *mat.Dense, at [][3]float64, y *mat.Dense) {
	n := len(at)
	var ay mat.Dense
	ay.Mul(inv, y.Slice(0, n, z.From, z.To))
	for _, group := range sameDisplacement(at) {
		g := len(group)
		agg := mat.NewDense(g, g, nil)
		part := mat.NewDense(g, z.To-z.From, nil)
		for a, i := range group {
			for c, j := range group {
				agg.Set(a, c, inv.At(i, j))
			}
			part.SetRow(a, ay.RawRowView(i))
		}
		var e mat.Dense
		if e.Solve(agg, part) != nil {
			continue
		}
		for a, i := range group {
			for b := z.From; b < z.To; b++ {
				f.heldOut.Set(i, b, e.At(a, b-z.From))
			}
		}
	}
}

// sameDisplacement groups rows of equal displacement, in order of appearance.
func sameDisplacement(at [][3]float64) [][]int {
	index := map[[3]float64]int{}
	var groups [][]int
	for i, d := range at {
		g, ok := index[d]
		if !ok {
			g = len(groups)
			index[d] = g
			groups = append(groups, nil)
		}
		groups[g] = append(groups[g], i)
	}
	return groups
}

func countDistinct(at [][3]float64) int { return len(sameDisplacement(at)) }

// smoothVariance replaces each valid value by the mean over ±half bands.
func smoothVariance(v []float64, valid []bool, half int) {
	src := append([]float64(nil), v...)
	for b := range v {
		if valid != nil && !valid[b] {
			continue
		}
		var sum, m float64
		for j := max(0, b-half); j <= min(len(v)-1, b+half); j++ {
			if valid == nil || valid[j] {
				sum += src[j]
				m++
			}
		}
		v[b] = sum / m
	}
}

func medianOf(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	n := len(s)
	return (s[(n-1)/2] + s[n/2]) / 2
}
