package standout

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"asworn/capture"
	"asworn/fitcorr/seat"
)

// MinGroup is the number of seatings from which a group is searched for stand-outs.
// Common practice, no source.
const MinGroup = 5

// Band names one of the two ranges of frequency in which seatings are compared.
type Band string

// The low end is the seal's, the upper range the position's.
const (
	Low  Band = "low"
	High Band = "high"
)

// StandOut is what the search says about one ear of one seating in one range.
type StandOut struct {
	ID       string      `json:"id"`
	Group    string      `json:"group"` // model, subject and point, in words
	Ear      capture.Ear `json:"ear"`
	Band     Band        `json:"band"`
	Distance float64     `json:"distance"` // from the rest of the group, in units of the scatter expected of it, a ratio
	P        float64     `json:"p"`        // tail probability, corrected for the group's members, ears and ranges
	Size     float64     `json:"size"`     // the false-alarm probability that the search keeps, per study and per group
	Flagged  bool        `json:"flagged"`
	// SameAs is the ID of a flagged seating that shows the same thing: the same
	// placement, ear and range, recorded at the other point. Empty otherwise.
	SameAs  string  `json:"same_as,omitempty"`
	WorstHz float64 `json:"worst_hz"` // middle of the octave where it differs most
	WorstDB float64 `json:"worst_db"` // by how much there
}

// String says the finding in one line.
func (s StandOut) String() string {
	return fmt.Sprintf("%s, %s ear, %s band: %.1f times the group's scatter (p = %.2g), most at %.0f Hz: %+.1f dB",
		s.ID, s.Ear, s.Band, s.Distance, s.P, s.WorstHz, s.WorstDB)
}

// Find searches each group of ordinary seatings (same model, unit, subject and
// point; five or more) for members that differ from the rest, left and right ear,
// low and high range told apart. Groups on one subject, at any point and of any
// model, teach how a group scatters (package comment).
//
// A seating is flagged when its p is below the size, 1 − opt.Confidence, and its
// group stands the test of all groups together (Benjamini & Hochberg, JRSS B
// 57(1), 1995): the probability of flagging anything in a study without
// stand-outs is the size, and so it is in each group. All members are listed, the
// groups in the order of their first appearance.
func Find(ss []seat.Seating, opt seat.Options) []StandOut {
	size := 1 - opt.Confidence
	var subjects []string
	bySubject := map[string][]*group{}
	index := map[groupKey]*group{}
	var all []*group
	for _, s := range ss {
		if s.Model == "" || s.Displaced() {
			continue
		}
		key := groupKey{s.Model, s.Unit, s.Subject, s.Point}
		g := index[key]
		if g == nil {
			g = &group{key: key}
			index[key], all = g, append(all, g)
		}
		g.members = append(g.members, s)
	}
	all = slices.DeleteFunc(all, func(g *group) bool { return len(g.members) < MinGroup })
	for _, g := range all {
		if bySubject[g.key.subject] == nil {
			subjects = append(subjects, g.key.subject)
		}
		bySubject[g.key.subject] = append(bySubject[g.key.subject], g)
	}
	for _, who := range subjects {
		for _, r := range ranges {
			testRange(bySubject[who], r, size)
		}
	}
	limit := studyLimit(all, size)
	var out []StandOut
	for _, g := range all {
		least := g.least()
		for i := range g.found {
			if least > limit {
				g.found[i].Flagged = false
			}
		}
		slices.SortStableFunc(g.found, func(a, b finding) int { return cmp.Compare(a.order(), b.order()) })
		for _, f := range g.found {
			out = append(out, f.StandOut)
		}
	}
	sameCause(out, all)
	return out
}

type groupKey struct {
	model, unit, subject string
	point                capture.Point
}

func (k groupKey) String() string {
	parts := []string{k.model}
	if k.unit != "" {
		parts = append(parts, "unit "+k.unit)
	}
	return strings.Join(append(parts, k.subject, k.point.Short()), ", ")
}

// group is the ordinary seatings of one model and unit on one subject at one point.
type group struct {
	key     groupKey
	members []seat.Seating
	found   []finding
}

type finding struct {
	StandOut
	member, ear, band int // band counts ranges
}

// order is member, then ear, then range.
func (f finding) order() int { return (f.member*2+f.ear)*len(ranges) + f.band }

// least is the smallest p of the group, 1 without any.
func (g *group) least() float64 {
	p := 1.0
	for _, f := range g.found {
		p = min(p, f.P)
	}
	return p
}

// studyLimit is the p up to which groups stand out by Benjamini and Hochberg's
// procedure, below 0 when none does.
func studyLimit(groups []*group, size float64) float64 {
	var p []float64
	for _, g := range groups {
		if len(g.found) > 0 {
			p = append(p, g.least())
		}
	}
	slices.Sort(p)
	limit := -1.0
	for i, v := range p {
		if v <= size*float64(i+1)/float64(len(p)) {
			limit = v
		}
	}
	return limit
}

// testRange tests all groups of one subject, both ears, in one range of bands.
func testRange(groups []*group, r bandRange, size float64) {
	tests := float64(len(capture.Ears) * len(ranges)) // of a group
	var sets []columns
	for _, g := range groups {
		for _, ear := range capture.Ears {
			if c := columnsOf(g, ear, r); len(c.who) >= fewest {
				sets = append(sets, c)
			}
		}
	}
	sets, hz := comparable(sets, r)
	if len(sets) == 0 {
		return
	}
	rows, noise := make([][][]float64, len(sets)), make([]float64, len(sets))
	for i, c := range sets {
		rows[i] = c.rows
	}
	scale := columnScale(rows)
	for i, c := range sets {
		for k, s := range scale {
			noise[i] += c.noise[k] / (s * s) / float64(len(scale))
			for j := range c.rows {
				c.rows[j][k] /= s
			}
		}
	}
	for i, found := range Test(rows, noise, size/tests) {
		c := sets[i]
		for j, m := range found {
			so := StandOut{
				ID: c.group.members[c.who[j]].ID, Group: c.group.key.String(), Ear: c.ear, Band: r.name,
				Distance: m.Distance, P: math.Min(1, tests*m.P), Size: size, Flagged: m.Flagged,
			}
			far := -1.0
			for k, d := range m.Delta {
				if math.Abs(d) > far {
					far, so.WorstHz, so.WorstDB = math.Abs(d), hz[k], d*scale[k]
				}
			}
			c.group.found = append(c.group.found, finding{so, c.who[j], int(c.ear), r.index})
		}
	}
}

// sameCause names, of flagged seatings that are one placement recorded at both
// points, the first; found is in the order of the groups.
func sameCause(found []StandOut, groups []*group) {
	type place struct {
		model, unit, subject string
		number               int
		ear                  capture.Ear
		band                 Band
	}
	byID := map[string]place{}
	for _, g := range groups {
		for _, s := range g.members {
			byID[s.ID] = place{model: s.Model, unit: s.Unit, subject: s.Subject, number: s.Number}
		}
	}
	first := map[place]string{}
	for i := range found {
		if !found[i].Flagged {
			continue
		}
		p := byID[found[i].ID]
		p.ear, p.band = found[i].Ear, found[i].Band
		if id, ok := first[p]; ok {
			found[i].SameAs = id
			continue
		}
		first[p] = found[i].ID
	}
}
