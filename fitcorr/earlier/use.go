package earlier

import (
	"math"
	"slices"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/fitcorr/reading"
	"asworn/fitcorr/seat"
)

const (
	statedDF       = reading.StatedDF
	fixtureSubject = capture.FixtureSubject
)

// Stated joins what a lab states of its readings with what earlier studies' readings
// showed, by degrees of freedom.
func Stated(u study.ReadingUncertainty, earlier []Panel) study.ReadingUncertainty {
	join := func(to *float64, of func(Readings) reading.Learned) {
		sum, df := statedDF**to**to, float64(statedDF)
		for _, p := range earlier {
			l := of(p.Readings)
			sum += l.DF * l.MM * l.MM
			df += l.DF
		}
		*to = math.Sqrt(sum / df)
	}
	join(&u.OneMM, func(r Readings) reading.Learned { return r.One })
	join(&u.LandmarkMM, func(r Readings) reading.Learned { return r.Landmark })
	join(&u.FixtureLandmarkMM, func(r Readings) reading.Learned { return r.FixtureLandmark })
	return u
}

// landmarks are the standard uncertainties of landmarks, of one finding in u, once readings are
// from the mean of all findings of an entrance: this study's and those that they are referred to. The
// fixture's is one head; listeners count together, those without repeated findings with one.
func landmarks(u study.ReadingUncertainty, read reading.Result, refer map[string]Refer, listeners []string) study.ReadingUncertainty {
	findings := func(who string) float64 { return max(1, float64(read.Findings[who]), refer[who].Findings) }
	apart := read.ApartMM * read.ApartMM // readers' differences do not average out
	u.FixtureLandmarkMM = math.Sqrt((u.FixtureLandmarkMM*u.FixtureLandmarkMM-apart)/findings(fixtureSubject) + apart)
	var share, n float64
	for _, who := range listeners {
		n++
		share += 1 / findings(who)
	}
	if n > 0 {
		u.LandmarkMM *= math.Sqrt(share / n)
	}
	return u
}

// reference makes remembered bare ears into seatings of this study: those of
// listeners who are in it and have none of their own here. A listener's difference
// from the fixture is that of the study in which both were recorded, so that neither
// loudspeaker nor room need be the same; without bare ears of the fixture here the
// first earlier study's stand for them. left says whose of which study are to be left out.
func reference(ss []seat.Seating, earlier []Panel, left func(study int, who string) bool) []seat.Seating {
	var listeners, bare []string
	fixture := map[string][][2]seat.Curve{} // by the loudspeaker's place
	for _, s := range ss {
		switch {
		case s.Model == "" && s.Point == capture.Blocked && s.OnFixture():
			fixture[s.Loudspeaker] = append(fixture[s.Loudspeaker], s.Ears)
		case s.Model == "" && s.Point == capture.Blocked:
			bare = append(bare, s.Subject)
		case !s.OnFixture():
			listeners = append(listeners, s.Subject)
		}
	}
	var out []seat.Seating
	references := 0 // taken of the fixture
	for i, p := range earlier {
		if left(i, fixtureSubject) {
			continue
		}
		theirs := map[string][][2]seat.Curve{}
		for _, b := range p.Bare {
			if b.Subject == fixtureSubject {
				theirs[b.Loudspeaker] = append(theirs[b.Loudspeaker], b.Ears)
			}
		}
		for k, b := range p.Bare {
			if b.Subject == fixtureSubject || !slices.Contains(listeners, b.Subject) || slices.Contains(bare, b.Subject) || left(i, b.Subject) || theirs[b.Loudspeaker] == nil {
				continue
			}
			s := seat.Seating{ID: id(i, k), Subject: b.Subject, Point: capture.Blocked, Number: len(out) + 1, Loudspeaker: b.Loudspeaker}
			if len(fixture[b.Loudspeaker]) == 0 {
				fixture[b.Loudspeaker] = theirs[b.Loudspeaker]
				for _, ears := range theirs[b.Loudspeaker] {
					references++
					out = append(out, seat.Seating{ID: id(i, -references), Subject: fixtureSubject, Point: capture.Blocked, Number: references, Loudspeaker: b.Loudspeaker, Ears: ears})
				}
			}
			for e := range s.Ears {
				s.Ears[e] = rebased(b.Ears[e], meanCurve(theirs[b.Loudspeaker], e), meanCurve(fixture[b.Loudspeaker], e))
			}
			out = append(out, s)
		}
	}
	return out
}
