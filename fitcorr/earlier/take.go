package earlier

import (
	"fmt"
	"slices"
	"strings"

	"asworn/capture/study"
	"asworn/fitcorr/reading"
	"asworn/fitcorr/seat"
)

// Taken is a study with what earlier ones know of its panel.
type Taken struct {
	// Seatings are the study's, readings referred to entrances found in all studies,
	// and remembered bare ears of listeners who have none here.
	Seatings []seat.Seating
	Reading  study.ReadingUncertainty
	// Changes say who is not who he was, the fixture too, and what to do; nil when
	// nobody is found to have changed.
	Changes  []string
	Findings []string // what agrees, and what was taken, in plain words
}

// Take takes in what earlier studies know. Seatings have their readings already, as
// read makes them of rows (readings.csv) with Stated; stated is that too. confidence is of the tests
// together. Readings are taken from the mean of the study's own findings of each entrance, so that
// landmarks err by 1/√n of one finding without earlier studies too. Nobody who fails a test is believed, nor the fixture when it fails.
func Take(ss []seat.Seating, rows []study.ReadingRow, read reading.Result, stated study.ReadingUncertainty, earlier []Panel, confidence float64) Taken {
	listeners := listenersOf(ss)
	stepped := read.Stepped(stated)
	one := stepped.Uncertainty(stated)
	out := Taken{Seatings: slices.Clone(ss), Reading: landmarks(one, stepped, nil, listeners)}
	if len(earlier) == 0 {
		return out
	}
	now := Of("", Fixture{}, ss, rows, read, nil)
	size := (1 - confidence) / float64(len(earlier))
	type somebody struct {
		study int
		who   string
	}
	left := map[somebody]bool{}
	for i, p := range earlier {
		c := Compare(now.Bare, p.Bare, size)
		for _, d := range c.Doubts {
			left[somebody{i, d.Subject}] = true
			out.Changes = append(out.Changes, d.words(p.Study, c.Doubts))
		}
		if d := c.Fixture; d != nil {
			left[somebody{i, d.Subject}] = true
			out.Changes = append(out.Changes, fmt.Sprintf("The bare ears of all listeners differ alike from those in study %q (%.1f times what recording them again does): the fixture's ear is another, or the loudspeaker stands otherwise. "+
				"The fixture's entrance and the bare ears of that study are not used; compare the fixture's ear, and put the loudspeaker where it stood.", p.Study, d.Ratio))
		}
		if same := len(c.Listeners) - len(c.Doubts); same > 0 {
			out.Findings = append(out.Findings, fmt.Sprintf("Bare ears agree with those in study %q: %d of %d listeners compared.", p.Study, same, len(c.Listeners)))
		} else if len(c.Listeners) == 0 {
			out.Findings = append(out.Findings, fmt.Sprintf("Bare ears were not recorded both here and in study %q: that listeners of one name are one person is taken on trust.", p.Study))
		}
	}
	is := func(i int, who string) bool { return left[somebody{i, who}] }
	refer, moved := toMean(rows, earlier, is, one.LandmarkMM, one.FixtureLandmarkMM, 1-confidence)
	for _, m := range moved {
		out.Changes = append(out.Changes, fmt.Sprintf("The canal's entrance of %s was found %.1f mm from where it was in study %q: another person of that name, or found from another point of the head. "+
			"That study's finding is not used; look at the rows without a model in both readings.csv.", m.Subject, m.MM, m.Study))
	}
	bare := reference(ss, earlier, is)
	for i := range out.Seatings {
		if s := &out.Seatings[i]; !s.OnFixture() && s.Read != nil {
			r := *s.Read
			mine, fixtures := refer[s.Subject].ByMM, refer[fixtureSubject].ByMM
			r.ForwardMM += mine[0] - fixtures[0] // the fixture's readings stay, so that a later one needs no reference
			r.UpMM += mine[1] - fixtures[1]
			s.Read = &r
		}
	}
	out.Reading = landmarks(one, stepped, refer, listeners)
	out.Seatings = append(out.Seatings, bare...)
	if n := len(refer); n > 0 {
		out.Findings = append(out.Findings, fmt.Sprintf("Readings are referred to the canal's entrance as found in all studies together: %s.", referred(refer)))
	}
	if len(bare) > 0 {
		var who []string
		for _, s := range bare {
			if !s.OnFixture() && !slices.Contains(who, s.Subject) {
				who = append(who, s.Subject)
			}
		}
		out.Findings = append(out.Findings, "Bare ears are those of earlier studies: "+strings.Join(who, ", ")+".")
	}
	return out
}

// listenersOf are the people of a study's seatings.
func listenersOf(ss []seat.Seating) (out []string) {
	for _, s := range ss {
		if !s.OnFixture() && !slices.Contains(out, s.Subject) {
			out = append(out, s.Subject)
		}
	}
	return out
}

// words names somebody who is not who he was.
func (d Doubt) words(study string, all []Doubt) string {
	text := fmt.Sprintf("The bare ears of %s are not those of %s in study %q (they differ by %.1f times what recording a person again does)", d.Subject, d.Subject, study, d.Ratio)
	mend := "what that study knows of %s is not used; look whether the name is right and the microphone sat at the entrance"
	if d.As != "" {
		text += ", but fit those of " + d.As
		mend = "correct the name in one of the two sheets; what that study knows of %s is not used"
		if slices.ContainsFunc(all, func(o Doubt) bool { return o.Subject == d.As && o.As == d.Subject }) {
			text += ", and the other way round: the two names are exchanged"
		}
	}
	return text + ": " + fmt.Sprintf(mend, d.Subject) + "."
}

func referred(refer map[string]Refer) string {
	var names []string
	for who := range refer {
		names = append(names, who)
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}
