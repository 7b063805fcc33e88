package earlier

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/reading"
)

// Check says why what an earlier study knows cannot be taken into a study on this fixture
// with these listeners, with what to do; nil when it can. listeners are the ids of the
// study's subjects.
func (p *Panel) Check(fixture Fixture, listeners []string) error {
	const leave = "; or take the file out of [panel] earlier"
	if p.Point != capture.Blocked {
		return fmt.Errorf("what it knows is of the %q point, not of the %s entrance: run that study again with this version%s", p.Point, capture.Blocked, leave)
	}
	if !slices.Equal(p.BandsHz, bandsHz()) {
		return fmt.Errorf("its bands are not those of this version: run that study again with it%s", leave)
	}
	if p.Fixture.Name != fixture.Name {
		return fmt.Errorf("it was made on fixture %q, this study on %q: what is known of one fixture says nothing of another%s", p.Fixture.Name, fixture.Name, leave)
	}
	if p.Fixture.Coupler != fixture.Coupler {
		return fmt.Errorf("fixture %q had the coupler %q there and has %q here: give a fixture whose coupler was changed another name, or correct fixture.coupler%s", fixture.Name, p.Fixture.Coupler, fixture.Coupler, leave)
	}
	if p.Fixture.ReferenceDB != nil && fixture.ReferenceDB != nil {
		for i, v := range rounded(fixture.ReferenceDB) {
			if i >= len(p.Fixture.ReferenceDB) || math.Abs(v-p.Fixture.ReferenceDB[i]) > 0.01 {
				return fmt.Errorf("the reference of fixture %q is another than there (first at %.0f Hz): a reference belongs to one fixture; correct fixture.reference, or name the fixture otherwise%s", fixture.Name, p.BandsHz[i], leave)
			}
		}
	}
	if what := p.impossible(); what != "" {
		return fmt.Errorf("%s cannot be: run that study again%s", what, leave)
	}
	for _, b := range p.Bare {
		for _, c := range b.Ears {
			if n := len(c.LevelDB); n != 0 && n != band.Count || len(c.StdErrDB) != n || len(c.Valid) != n {
				return fmt.Errorf("the bare ears of %s do not have %d bands: run that study again%s", b.Subject, band.Count, leave)
			}
		}
	}
	if !slices.ContainsFunc(p.Listeners, func(l string) bool { return slices.Contains(listeners, l) }) {
		return fmt.Errorf("none of its listeners (%s) is in this study (%s): the same people need the same names%s", strings.Join(p.Listeners, ", "), strings.Join(listeners, ", "), leave)
	}
	return nil
}

// impossible names a number in the file that no study can have found; "" when there is
// none. A checksum that fits does not say that a run wrote the file.
func (p *Panel) impossible() string {
	within := func(v, low, high float64) bool { return v >= low && v <= high }
	for _, b := range p.Bare {
		for _, c := range b.Ears {
			for i, v := range c.LevelDB {
				if !within(v, -maxLevelDB, maxLevelDB) || i < len(c.StdErrDB) && !within(c.StdErrDB[i], 0, maxDB) {
					return fmt.Sprintf("a level of %g dB of the bare ears of %s, or its standard error,", v, b.Subject)
				}
			}
		}
	}
	for _, e := range p.Entrances {
		if e.Findings < 1 || !within(e.ForwardMM, -maxMM, maxMM) || !within(e.UpMM, -maxMM, maxMM) {
			return fmt.Sprintf("an entrance of %s found %d times at %g and %g mm", e.Subject, e.Findings, e.ForwardMM, e.UpMM)
		}
	}
	for _, l := range []reading.Learned{p.Readings.One, p.Readings.Landmark, p.Readings.FixtureLandmark} {
		if !within(l.MM, 0, maxMM) || !within(l.DF, 0, math.MaxInt32) {
			return fmt.Sprintf("readings that err by %g mm with %g degrees of freedom", l.MM, l.DF)
		}
	}
	for _, m := range p.Models {
		for _, s := range m.Sensitivity {
			for _, v := range append(s.SummaryDB[:], s.SeatingDB[:]...) {
				if !within(v, 0, maxDB) {
					return fmt.Sprintf("a sensitivity of %g dB of %s", v, m.Model)
				}
			}
		}
	}
	return ""
}

// What is beyond any level, in any unit; any interval; any reading and place of an entrance.
const (
	maxLevelDB = 400
	maxDB      = 1e6
	maxMM      = 1000
)

// Shared says what two studies have both, by which one recording would count twice; ""
// when nothing. Equal levels in all bands are one recording, even if its file was written anew.
func (p *Panel) Shared(q *Panel) string {
	if both := p.SharedRecordings(q.Recordings); len(both) > 0 {
		return Named(both)
	}
	for _, a := range p.Bare {
		for _, b := range q.Bare {
			if a.Subject == b.Subject && len(a.Ears[0].LevelDB) > 0 && slices.Equal(a.Ears[0].LevelDB, b.Ears[0].LevelDB) && slices.Equal(a.Ears[1].LevelDB, b.Ears[1].LevelDB) {
				return "the bare-ear recording of " + a.Subject
			}
		}
	}
	return ""
}

// SharedRecordings are those that hold what one of the study's does, as they are named.
func (p *Panel) SharedRecordings(others []Recording) (both []Recording) {
	own := map[string]bool{}
	for _, r := range p.Recordings {
		own[r.SHA256] = true
	}
	for _, r := range others {
		if own[r.SHA256] {
			both = append(both, r)
		}
	}
	return both
}

// Named is one recording or several in words.
func Named(all []Recording) string {
	switch len(all) {
	case 1:
		return "the recording " + all[0].File
	case 2:
		return "the recordings " + all[0].File + " and " + all[1].File
	}
	return fmt.Sprintf("the recording %s with %d more", all[0].File, len(all)-1)
}
