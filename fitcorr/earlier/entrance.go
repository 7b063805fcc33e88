package earlier

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"asworn/capture/study"
)

// What findings of a canal's entrance in several studies are worth. A reading is
// taken from the entrance as it was found at the time, and that error is the same in
// all readings on that head; the fixture's does not average out over listeners. Where
// the entrance was found from a point of the head that stays, the findings of several
// studies are of one entrance: their mean errs less, and readings are referred to it.

// entrances gathers the findings of readings.csv: rows without a model.
func entrances(rows []study.ReadingRow) []Entrance {
	var out []Entrance
	for _, r := range rows {
		if r.Model != "" {
			continue
		}
		i := slices.IndexFunc(out, func(e Entrance) bool { return e.Subject == r.Subject && e.Side == r.Side })
		if i < 0 {
			i = len(out)
			out = append(out, Entrance{Subject: r.Subject, Side: r.Side})
		}
		e := &out[i]
		e.Findings++
		e.ForwardMM += (r.ForwardMM - e.ForwardMM) / float64(e.Findings)
		e.UpMM += (r.UpMM - e.UpMM) / float64(e.Findings)
	}
	return out
}

// head is one head's entrance in one study: the mean of its sides, as often found as the least of them.
type head struct {
	at       [2]float64
	findings float64
	sides    [3]bool // by study.Side
}

func headOf(es []Entrance, who string) (head, bool) {
	var h head
	var n float64
	for _, e := range es {
		if e.Subject != who {
			continue
		}
		h.at[0] += e.ForwardMM
		h.at[1] += e.UpMM
		h.sides[e.Side] = true
		if n == 0 || float64(e.Findings) < h.findings {
			h.findings = float64(e.Findings)
		}
		n++
	}
	if n == 0 {
		return h, false
	}
	h.at[0] /= n
	h.at[1] /= n
	return h, true
}

// Refer is what readings on one head are to be moved by, mm, to be from the mean of
// all findings, and how many findings that is the mean of.
type Refer struct {
	ByMM     [2]float64
	Findings float64
}

// Moved is a head whose entrance lies where it was not.
type Moved struct {
	Subject, Study string
	MM             float64
}

// toMean refers the readings of a study to the mean entrance of each head over
// it and the earlier ones. left says whose entrances of which earlier study (by
// number) are to be left out. landmarkMM and fixtureMM are the standard deviations of one finding
// per axis; a head whose findings differ by more than they explain is named, with size as
// the probability of any false alarm, and not referred. Equal figures of two studies count once. A head needs findings on the
// same sides in both.
func toMean(rows []study.ReadingRow, earlier []Panel, left func(study int, who string) bool, landmarkMM, fixtureMM, size float64) (map[string]Refer, []Moved) {
	now := entrances(rows)
	var heads []string
	for _, e := range now {
		if !slices.Contains(heads, e.Subject) {
			heads = append(heads, e.Subject)
		}
	}
	out := map[string]Refer{}
	var moved []Moved
	tests := math.Max(1, float64(len(heads)*len(earlier)))
	for _, who := range heads {
		h, _ := headOf(now, who)
		sd := landmarkMM
		if who == fixtureSubject {
			sd = fixtureMM
		}
		seen := [][2]float64{h.at}
		sum, n := [2]float64{h.findings * h.at[0], h.findings * h.at[1]}, h.findings
		for i, p := range earlier {
			before, ok := headOf(p.Entrances, who)
			if !ok || before.sides != h.sides || left(i, who) {
				continue
			}
			d := math.Hypot(before.at[0]-h.at[0], before.at[1]-h.at[1])
			square := d * d / (sd * sd * (1/h.findings + 1/before.findings))
			// The standard deviation is stated, or little better: Snedecor's F of two axes.
			if (distuv.F{D1: 2, D2: 2 * statedDF}).Survival(square/2) < size/tests {
				moved = append(moved, Moved{who, p.Study, d})
				continue
			}
			if slices.Contains(seen, before.at) {
				continue // the same figures may have been copied, and one error is in both
			}
			seen = append(seen, before.at)
			for a := range sum {
				sum[a] += before.findings * before.at[a]
			}
			n += before.findings
		}
		if n == h.findings {
			continue
		}
		out[who] = Refer{[2]float64{h.at[0] - sum[0]/n, h.at[1] - sum[1]/n}, n}
	}
	return out, moved
}
