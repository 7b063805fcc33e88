package standout

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// MinGroup is the number of seatings from which a group is searched for
// stand-outs.
const MinGroup = 5

// standOutJoin kept bands make one column of the test: 1/6 octave.
const standOutJoin = 4

// standOutBand is a range of kept bands that is judged on its own.
type standOutBand struct {
	name     string
	from, to int // kept bands
}

// standOutBands: the seal owns the low end, position the upper. Between 282 Hz
// and 447 Hz neither does; above 17.8 kHz hardly any microphone is repeatable.
var standOutBands = []standOutBand{
	{"low", 0, 12 * band.Fraction / 3},                       // 17.8 Hz to 282 Hz
	{"high", 14 * band.Fraction / 3, 30 * band.Fraction / 3}, // 447 Hz to 17.8 kHz
}

// Find searches each group of ordinary seatings (same model, unit,
// subject and point; five or more) for members that differ from the rest, left
// and right ear, low and high band told apart. The probability of flagging
// anything on one ear of a group without stand-outs is 1 − opt.Confidence,
// shared equally among its bands (package standout holds the test and its
// sources). All members are listed, in the order of the groups' first
// appearance.
func Find(ss []seat.Seating, opt seat.Options) []StandOut {
	type class struct { // seatings that share the nature of their scatter
		model string
		point capture.Point
	}
	var classes []class
	groups := map[class][]standOutGroup{}
	index := map[standOutKey]int{}
	for _, s := range ss {
		if s.Model == "" || s.Displaced() {
			continue
		}
		c := class{s.Model, s.Point}
		key := standOutKey{s.Model, s.Unit, s.Subject, s.Point}
		if _, ok := groups[c]; !ok {
			classes = append(classes, c)
		}
		at, ok := index[key]
		if !ok {
			at = len(groups[c])
			index[key] = at
			groups[c] = append(groups[c], standOutGroup{key: key})
		}
		groups[c][at].members = append(groups[c][at].members, s)
	}
	var out []StandOut
	for _, c := range classes {
		large := slices.DeleteFunc(groups[c], func(g standOutGroup) bool { return len(g.members) < MinGroup })
		out = append(out, standOutClass(large, 1-opt.Confidence)...)
	}
	return out
}

type standOutKey struct {
	model, unit, subject string
	point                capture.Point
}

func (k standOutKey) String() string {
	parts := []string{k.model}
	if k.unit != "" {
		parts = append(parts, "unit "+k.unit)
	}
	return strings.Join(append(parts, k.subject, string(k.point)), ", ")
}

type standOutGroup struct {
	key     standOutKey
	members []seat.Seating
}

// standOutClass tests groups that share a model and a point. The scale of each
// column and the effective dimension are learnt from all of them.
func standOutClass(groups []standOutGroup, size float64) []StandOut {
	tests := float64(len(standOutBands))
	type cell struct {
		members map[int]Member // by place in the group
		hz      []float64
		scale   []float64
	}
	found := make([]map[[2]int]cell, len(groups))
	for g := range found {
		found[g] = map[[2]int]cell{}
	}
	for b, sb := range standOutBands {
		for _, ear := range capture.Ears {
			var rows [][][]float64
			var noise [][]float64
			var who [][]int // place in the group of each row
			var of []int    // group of each set of rows
			for g := range groups {
				r, n, w := standOutColumns(groups[g].members, int(ear), sb)
				if len(w) >= MinGroup {
					rows, noise, who, of = append(rows, r), append(noise, n), append(who, w), append(of, g)
				}
			}
			hz, use := standOutUse(rows, sb)
			if len(use) == 0 {
				continue
			}
			for g := range rows {
				for i := range rows[g] {
					rows[g][i] = pick(rows[g][i], use)
				}
				noise[g] = pick(noise[g], use)
			}
			scale := columnScale(rows)
			floor := make([]float64, len(rows))
			for g := range rows {
				for k, s := range scale {
					floor[g] += noise[g][k] / (s * s)
					for i := range rows[g] {
						rows[g][i][k] /= s
					}
				}
			}
			for g := range rows {
				like := slices.Delete(slices.Clone(rows), g, g+1)
				c := cell{map[int]Member{}, hz, scale}
				for i, m := range Test(rows[g], floor[g], size/tests, like...) {
					c.members[who[g][i]] = m
				}
				found[of[g]][[2]int{int(ear), b}] = c
			}
		}
	}
	var out []StandOut
	for g := range groups {
		for i, s := range groups[g].members {
			for _, ear := range capture.Ears {
				for b, sb := range standOutBands {
					c := found[g][[2]int{int(ear), b}]
					m, ok := c.members[i]
					if !ok {
						continue
					}
					so := StandOut{
						ID: s.ID, Group: groups[g].key.String(), Ear: ear.String(), Band: sb.name,
						Distance: m.Distance, P: math.Min(1, tests*m.P), Size: size, Flagged: m.Flagged,
					}
					far := 0.0
					for k, d := range m.Delta {
						if math.Abs(d) > far {
							far, so.WorstHz, so.WorstDB = math.Abs(d), c.hz[k], d*c.scale[k]
						}
					}
					out = append(out, so)
				}
			}
		}
	}
	return out
}

// standOutColumns joins kept bands to columns; a column with an invalid band
// is NaN. noise is the mean variance of each column from measurement noise. A
// member without two thirds of its columns is left out, lest it cost the
// others theirs; who tells the place of each row in members.
func standOutColumns(members []seat.Seating, ear int, sb standOutBand) (rows [][]float64, noise []float64, who []int) {
	n := (sb.to - sb.from) / standOutJoin
	noise = make([]float64, n)
	for i, s := range members {
		row, vari, valid := make([]float64, n), make([]float64, n), 0
		for k := range row {
			for b := sb.from + k*standOutJoin; b < sb.from+(k+1)*standOutJoin; b++ {
				if !s.Ears[ear].Counts(b) {
					row[k] = math.NaN()
					continue
				}
				row[k] += s.Ears[ear].LevelDB[b] / standOutJoin
				vari[k] += math.Pow(s.Ears[ear].StdErrDB[b]/standOutJoin, 2)
			}
			if !math.IsNaN(row[k]) {
				valid++
			}
		}
		if 3*valid < 2*n {
			continue
		}
		rows, who = append(rows, row), append(who, i)
		for k, v := range vari {
			noise[k] += v
		}
	}
	for k := range noise {
		noise[k] /= math.Max(1, float64(len(rows)))
	}
	return rows, noise, who
}

// standOutUse returns the columns that are valid in every seating, with their
// frequencies.
func standOutUse(rows [][][]float64, sb standOutBand) (hz []float64, use []int) {
	all := band.All()
	for k := range (sb.to - sb.from) / standOutJoin {
		ok := len(rows) > 0
		for _, g := range rows {
			for _, row := range g {
				ok = ok && !math.IsNaN(row[k])
			}
		}
		if ok {
			first := sb.from + k*standOutJoin
			hz = append(hz, math.Sqrt(all[first].Lower*all[first+standOutJoin-1].Upper))
			use = append(use, k)
		}
	}
	return hz, use
}

func pick(v []float64, use []int) []float64 {
	out := make([]float64, len(use))
	for i, k := range use {
		out[i] = v[k]
	}
	return out
}

// columnScale returns a robust spread per column, in dB: the median over all
// members of the absolute deviation from their own group's median, smoothed
// over an octave and drawn towards its trend over frequency (a power law) the
// more, the fewer members there are. Scales that followed every column would
// favour the member that happens to agree least where the others happen to
// agree most, and the test would lose its size.
func columnScale(rows [][][]float64) []float64 {
	const least, half, caution = 0.02, 3, 5 // dB; columns on either side; members
	n := len(rows[0][0])
	x, y := make([]float64, n), make([]float64, n)
	free := 0.0
	for _, g := range rows {
		free += float64(len(g) - 1)
	}
	for k := range n {
		var dev []float64
		for _, g := range rows {
			var col []float64
			for _, row := range g {
				col = append(col, row[k])
			}
			m := stats.Median(col)
			for _, v := range col {
				dev = append(dev, math.Abs(v-m))
			}
		}
		x[k], y[k] = float64(k), math.Log(math.Max(1.4826*stats.Median(dev), least))
	}
	out := make([]float64, n)
	level, slope := stat.LinearRegression(x, y, nil, n < 2)
	follow := free / (free + caution)
	for k := range out {
		trend := level + slope*x[k]
		local := stat.Mean(y[max(0, k-half):min(n, k+half+1)], nil)
		out[k] = math.Exp(trend + follow*(local-trend))
	}
	return out
}

// String says the finding in one line.
func (s StandOut) String() string {
	return fmt.Sprintf("%s, %s ear, %s band: %.1f times the group's scatter (p = %.2g), most at %.0f Hz: %+.1f dB",
		s.ID, s.Ear, s.Band, s.Distance, s.P, s.WorstHz, s.WorstDB)
}

// StandOut tests one ear of one seating against its own group.
type StandOut struct {
	ID       string  `json:"id"`
	Group    string  `json:"group"` // model, subject and point, in words
	Ear      string  `json:"ear"`
	Band     string  `json:"band"` // "low" (seal) or "high" (position)
	Distance float64 `json:"distance"`
	P        float64 `json:"p"`    // tail probability, corrected for members and bands
	Size     float64 `json:"size"` // the false-alarm probability that the test keeps, per ear of a group
	Flagged  bool    `json:"flagged"`
	WorstHz  float64 `json:"worst_hz"` // where it differs most
	WorstDB  float64 `json:"worst_db"`
}
