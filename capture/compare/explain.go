package compare

import (
	"context"
	"fmt"
	"math"

	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/capture/workers"
)

// limits of a cause: its least size, and its score over the usual one of good
// recordings. Common practice, no source; docs/developing/quality.md shows how
// often they err.
var limits = [...]struct{ size, over float64 }{
	gainOfBoth: {2, 3},
	gainOfOne:  {2, 3},
	blocked:    {4, 3},
}

const (
	squeezeSure = 5.0    // logarithm of the likelihood with a compressor over that without …
	squeezeOver = 1.5    // … beyond so many times the usual
	shapeOver   = 1.5    // of what is left, from which it is unlike its group; …
	wornOver    = 2.0    // … of what is worn: people scatter with longer tails
	outOver     = 1.05   // … of an ear on a fixture that has lost low frequencies too
	doubtOver   = 1.0    // … from which other groups are looked at, of what is worn
	memberOver  = 1.3    // … up to which it passes for a member of another
	outLowDB    = 2.5    // loss at low frequencies of a microphone that is out
	otherSure   = 0.99   // of that; …
	otherSurer  = 0.9999 // … where it does fit its own group
	explained   = 0.3    // part of a difference that may be left when its cause is named
	ownPrior    = 0.99   // that a row is what the sheet says
)

// compareLevels holds each recording against the others of its own group, and
// against all groups where it does not fit.
func compareLevels(out [][]finding.Finding, rows []study.Seating, recs []Traits, jobs int, judge func(int) bool) {
	same := sameContent(out, rows, recs, judge)
	loops := compareLoopbacks(out, recs, judge)
	s := newSchool(rows, recs, jobs)
	var asked []int
	for _, g := range s.groups {
		for _, i := range g.members {
			if judge(i) && !same[i] && !loops[i] && !finding.Has(out[i], finding.ChannelsSwapped) {
				s.law(g) // one after the other, each on all workers
				asked = append(asked, i)
			}
		}
	}
	_ = workers.All(context.Background(), len(asked), jobs, func(k int) { // ends with its work alone
		i := asked[k]
		out[i] = append(out[i], s.explain(i)...)
	})
}

// explain names what makes a recording differ from its group: the cause that
// explains it best, or that none does.
func (s *school) explain(i int) []finding.Finding {
	g := s.own[i]().g
	l := s.law(g)
	c := l.judged[i]
	if !c.ok[0] && !c.ok[1] {
		return nil
	}
	best := -1
	for k, a := range c.accounts {
		if !l.notable(a) {
			continue
		}
		if best < 0 || math.Abs(a.score) > math.Abs(c.accounts[best].score) {
			best = k
		}
	}
	limit := g.kind.limit()
	left := c.shape
	if best >= 0 {
		left = [2]float64{c.left(best, 0), c.left(best, 1)}
	}
	doubt := max(c.shape[0], c.shape[1]) > doubtOver*l.shape && max(left[0], left[1]) > doubtOver*l.shape
	sure := otherSure
	if !doubt {
		sure = otherSurer
	}
	if doubt || g.kind == (kind{fixture: true}) { // where any displacement may be, hardly anything is unlike
		if name, p := s.bestOther(g, i); p >= sure {
			return []finding.Finding{finding.New(finding.OtherGroup,
				fmt.Sprintf("it resembles %s more than the other recordings of %s (probability %.4f)", name, g.name, p)).Of(p, "probability")}
		}
	}
	if best >= 0 && (max(left[0], left[1]) < limit*l.shape || square(left) < explained*square(c.shape)) {
		return []finding.Finding{c.name(c.accounts[best], s.recs[i], g)}
	}
	var found []finding.Finding
	for e := range left {
		if left[e] > limit*l.shape || g.kind.fixture && left[e] > outOver*l.shape && c.low[e] < -max(outLowDB, l.lowDB) {
			found = append(found, c.unlike(study.Ear(e), l, g))
		}
	}
	return found
}

// notable reports whether a cause explains more than it does of good recordings.
func (l law) notable(a account) bool {
	if a.cause == compressed {
		usual := usualScore * l.usual[compressed]
		return a.score*a.score > 2*squeezeSure+squeezeOver*usual*usual
	}
	if a.cause == blocked && a.size > 0 { // a microphone does not become more sensitive at high frequencies
		return false
	}
	least := limits[a.cause]
	return math.Abs(a.size) >= least.size && math.Abs(a.score) >= least.over*l.usual[a.cause]
}

// limit is what is left of a difference, over the usual, from which it is unlike its group.
func (k kind) limit() float64 {
	if k.fixture {
		return shapeOver
	}
	return wornOver
}

func square(x [2]float64) float64 { return x[0]*x[0] + x[1]*x[1] }

// name words a cause.
func (c instance) name(a account, own Traits, g *group) finding.Finding {
	switch a.cause {
	case gainOfBoth:
		what := "the gain of the recorder or the level of the player is not as it was"
		if own.Loopback {
			what = "the loopback is as usual: the gain of the microphones, or of the headphone amplifier, is not as it was"
		}
		return finding.New(finding.GainChanged,
			finding.Text("both ears are %+.1f dB from the other recordings of %s at all frequencies; %s", a.size, g.name, what)).Of(a.size, "dB")
	case gainOfOne:
		return finding.New(finding.GainChanged,
			finding.Text("the %s ear is %+.1f dB from the other recordings of %s at all frequencies: the gain of its channel, or its microphone, is not as it was", a.ear, a.size, g.name)).
			On(a.ear.String()).Of(a.size, "dB")
	case blocked:
		return finding.New(finding.MicrophoneBlocked,
			fmt.Sprintf("the %s ear has lost %.1f dB at high frequencies against the other recordings of %s, as if something lay over the microphone", a.ear, -a.size, g.name)).
			On(a.ear.String()).Of(-a.size, "dB")
	default:
		return finding.New(finding.Compression,
			fmt.Sprintf("what is loud is quieter than in the other recordings of %s: of each decibel above some level about %.0f %% is lost, as by a compressor or a limiter", g.name, 100*a.size)).
			Of(100*a.size, "%")
	}
}

// unlike words a shape that no cause explains.
func (c instance) unlike(e study.Ear, l law, g *group) finding.Finding {
	over := c.shape[e] / l.shape
	if c.low[e] < -max(outLowDB, l.lowDB/2) {
		return finding.New(finding.MicrophoneOut,
			finding.Text("the %s ear differs from the other recordings of %s as if the microphone had come out of the ear: %+.1f dB at low frequencies, %.1f times the usual scatter above", e, g.name, c.low[e], over)).
			On(e.String()).Of(over, "scatter")
	}
	return finding.New(finding.UnlikeGroup,
		fmt.Sprintf("the %s ear differs from the other recordings of %s by %.1f times the usual scatter", e, g.name, over)).
		On(e.String()).Of(over, "scatter")
}

// bestOther returns the group at the same point that explains a recording best,
// when that is not its own and it could be a member, and the probability that it
// is. Levels are set aside, for a gain is no sign of another subject.
func (s *school) bestOther(own *group, i int) (string, float64) {
	mine, best, name, fits, others := math.Inf(-1), math.Inf(-1), "", false, 0
	for _, g := range s.groups {
		first := s.rows[g.members[0]]
		mineToo := g.kind == own.kind && first.Model == s.rows[i].Model && first.Subject == s.rows[i].Subject && first.Unit == s.rows[i].Unit
		if first.Point != s.rows[i].Point || g.kind.bare != own.kind.bare || g.kind.displaced && !own.kind.displaced {
			continue
		}
		// Where on its own fixture a headphone sits is the matter of its position.
		if !mineToo && first.Model == s.rows[i].Model && first.Subject == s.rows[i].Subject {
			continue
		}
		l := s.law(g)
		log, ears, member := 0.0, 0, true
		for e := range study.Ears {
			o, ok := g.about(s.rows, s.recs, study.Ear(e), i)
			if !ok {
				continue
			}
			m, ok := l.metricOf(g, e, o)
			if !ok {
				continue
			}
			ears++
			shape, n := m.shapeOf(m.d), float64(len(m.at)-1)
			log += -m.logDet/2 - (freedom+n)/2*math.Log1p(n*shape*shape/freedom)
			member = member && shape < memberOver*l.shape
		}
		switch {
		case ears == 0:
		case mineToo:
			mine = log
		default:
			others++
			if log > best {
				best, name, fits = log, g.name, member
			}
		}
	}
	if name == "" || !fits {
		return "", 0
	}
	odds := mine + math.Log(ownPrior) - best - math.Log((1-ownPrior)/float64(others))
	return name, 1 / (1 + math.Exp(min(700, odds)))
}
