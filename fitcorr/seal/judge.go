package seal

import (
	"cmp"
	"fmt"
	"math"
	"sync"

	"asworn/capture/band"
	"asworn/fitcorr/leak"
	"asworn/fitcorr/seat"
)

// The low end on which a leak is judged: kept bands from 17.8 Hz to 891 Hz,
// joined by fours to 1/6 octave. Above it the position of cup and microphone
// rules.
const (
	LeakBands = 17 * band.Fraction / 3
	leakJoin  = 4
)

// Seal says what the data show about the seal of a model.
type Seal struct {
	// Open reports that the model has no seal to judge; Told whether the data
	// decide it either way. An undecided model counts as closed.
	Open, Told bool
	Reason     string // in plain words
}

// Leaks estimates the leak of every blocked-entrance seating of one model,
// survey rows included, keyed by Seating.ID, and reports whether the model is
// open by design. See JudgeSeal, which also says why.
func Leaks(ss []seat.Seating, opt seat.Options) (map[string][2]Leak, bool) {
	leaks, seal := Judge(ss, opt)
	return leaks, seal.Open
}

// Judge is Leaks with the reason for the choice between closed and open.
//
// All seatings of an ear, worn and on the fixture, share one sealed curve; each has a
// gain and, where the data ask for it, a leak (package leak). The low end hardly depends
// on the shape of an ear but for its volume, which the gain takes up. A model of which
// only one seating is known has no entry. The map is by the id of the seating, per ear.
// No seatings give an empty map.
func Judge(ss []seat.Seating, opt seat.Options) (map[string][2]Leak, Seal) {
	out := make(map[string][2]Leak, len(ss))
	var results [2]*leak.Result
	var used [2][]int
	var errs [2]error
	fit := func(ear int) {
		freq, curves, use := leakCurves(ss, ear)
		used[ear] = use
		results[ear], errs[ear] = leak.Fit(freq, curves)
	}
	if opt.Jobs == 1 {
		fit(0)
		fit(1)
	} else {
		var both sync.WaitGroup
		both.Go(func() { fit(0) })
		both.Go(func() { fit(1) })
		both.Wait()
	}
	if err := cmp.Or(errs[0], errs[1]); err != nil {
		return nil, Seal{Reason: fmt.Sprintf("seal not judged: %v", err)}
	}
	seal := judgeOpen(ss, results, used)
	for ear, res := range results {
		for n, i := range used[ear] {
			both := out[ss[i].ID]
			both[ear] = leakOf(res.Curves[n], seal.Open)
			out[ss[i].ID] = both
		}
	}
	return out, seal
}

// leakCurves joins the low bands of one ear. Points without a single valid
// band are left out of the fit by an infinite variance; a seating with less
// than half the range is left out altogether.
func leakCurves(ss []seat.Seating, ear int) (freq []float64, curves []leak.Curve, use []int) {
	all := band.All()[:LeakBands]
	n := LeakBands / leakJoin
	freq = make([]float64, n)
	for k := range n {
		freq[k] = math.Sqrt(all[leakJoin*k].Lower * all[leakJoin*k+leakJoin-1].Upper)
	}
	for i, s := range ss {
		c := s.Ears[ear]
		if len(c.LevelDB) < LeakBands {
			continue
		}
		lc := leak.Curve{LevelDB: make([]float64, n), VarDB: make([]float64, n)}
		valid := 0
		for k := range n {
			var sum, vari, m float64
			for b := leakJoin * k; b < leakJoin*(k+1); b++ {
				if c.Counts(b) {
					sum += c.LevelDB[b]
					vari += c.StdErrDB[b] * c.StdErrDB[b]
					m++
				}
			}
			lc.VarDB[k] = math.Inf(1)
			if m == leakJoin { // a part of the bands would sit at another frequency
				lc.LevelDB[k], lc.VarDB[k] = sum/m, vari/(m*m)
				valid++
			}
		}
		if 2*valid >= n {
			curves, use = append(curves, lc), append(use, i)
		}
	}
	return freq, curves, use
}

// Limits of the choice between closed and open (documented in docs/leak.md).
const (
	sealLossDB  = 1.0 // a loss at 50 Hz that shows that there is a seal to lose
	largeLossDB = 3.0 // one that no pad on an open back makes, where the back rules
	openLossDB  = 6.0 // what even the best seating of an open model loses at 50 Hz
	openFallDB  = 6.0 // fall of the common low end that no closed cup shows
	flatFallDB  = 3.0 // fall below which the cup counts as closed
)

// judgeOpen decides between a cup that can leak and one that is open by
// design. A model is open when even its best seating leaks heavily, when a
// leak made on purpose changes little, or when every seating falls nearly
// alike at low frequencies; it is closed when some seating lost its seal, which
// counts for more than a leak made on purpose, as that may just have been small,
// or when the low end is flat.
func judgeOpen(ss []seat.Seating, results [2]*leak.Result, used [2][]int) Seal {
	const fifty, chance = 50.0, 0.01
	best, worst, onPurpose, purposeUpTo := math.Inf(1), 0.0, 0.0, math.Inf(-1)
	for ear, res := range results {
		best = math.Min(best, res.ReferenceLossDB(fifty))
		for n, e := range res.Curves {
			loss, se := e.LossDB(fifty)
			s := ss[used[ear][n]]
			made := s.Displaced() && s.Seal != ""
			if made {
				purposeUpTo = math.Max(purposeUpTo, loss+2*se)
			}
			if e.Leaking && e.P < chance/float64(len(res.Curves)) {
				worst = math.Max(worst, loss)
				if made {
					onPurpose = math.Max(onPurpose, loss)
				}
			}
		}
	}
	fall := math.Min(results[0].FallDB(), results[1].FallDB())
	switch {
	case best > openLossDB:
		return Seal{true, true, fmt.Sprintf("open by design: even the best seating loses %.1f dB at 50 Hz", best)}
	case onPurpose > sealLossDB:
		return Seal{false, true, fmt.Sprintf("closed: a leak made on purpose takes %.1f dB at 50 Hz", onPurpose)}
	case worst > largeLossDB:
		return Seal{false, true, fmt.Sprintf("closed: seatings lose up to %.1f dB at 50 Hz", worst)}
	case !math.IsInf(purposeUpTo, -1) && purposeUpTo < sealLossDB:
		return Seal{true, true, fmt.Sprintf("open by design: a leak made on purpose takes less than %.1f dB at 50 Hz", purposeUpTo)}
	case fall > openFallDB:
		return Seal{true, true, fmt.Sprintf("open by design: every seating falls by %.1f dB from 150 Hz to 25 Hz, and they differ by no more than %.1f dB at 50 Hz", fall, worst)}
	case worst > sealLossDB:
		return Seal{false, true, fmt.Sprintf("closed: seatings lose up to %.1f dB at 50 Hz", worst)}
	case fall < flatFallDB:
		return Seal{false, true, "closed: the low end is flat and no seating leaks"}
	}
	return Seal{false, false, "closed or open not told: no seating leaks, and the low end neither is flat nor falls steeply; a survey row with a leak made on purpose would settle it"}
}
