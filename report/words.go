package report

import (
	"math"
	"path"
	"strconv"
	"strings"

	"asworn/capture"
	"asworn/fitcorr"
)

// action is what an operator does about one fixture seating.
type action int

const (
	actUse action = iota
	actMove
	actReseal
	actMoveReseal
	actUnsure
	actRefused
)

func (a action) word() string {
	return [...]string{"use", "move", "reseal", "move, reseal", "undetermined", "refused"}[a]
}

func (a action) tone() Tone {
	return [...]Tone{Good, Act, Act, Act, Unsure, Bad}[a]
}

// actionFor puts position and seal together. A cup that seals better than it
// does on people cannot be mended by hand: it is told in the leak line, not as
// an action.
func actionFor(v fitcorr.Verdict) action {
	reseal := leaks(v.Ears[0]) || leaks(v.Ears[1])
	switch {
	case v.Outcome == fitcorr.Adjust && reseal:
		return actMoveReseal
	case v.Outcome == fitcorr.Adjust:
		return actMove
	case reseal:
		return actReseal
	case v.Outcome == fitcorr.Matches:
		return actUse
	}
	return actUnsure
}

func leaks(e fitcorr.EarVerdict) bool {
	return e.LeakOutcome == fitcorr.Adjust && e.LeakExcessDB[0] > 0
}

// moveWords says what to do with a fixture seating: "left cup: 4 mm toward the
// nose, 1 mm down; reseal right". The move is the negative of the offset.
func moveWords(v fitcorr.Verdict, confidence float64) string {
	var out []string
	if v.Outcome == fitcorr.Adjust {
		out = append(out, cupMoves(v)...)
		if r := turn(v.Headset.Off, confidence); r != "" {
			out = append(out, r)
		}
		if len(out) == 0 {
			out = append(out, "take off and place again")
		}
	}
	var cups []string
	for _, ear := range capture.Ears {
		if leaks(v.Ears[ear]) {
			cups = append(cups, ear.String())
		}
	}
	switch len(cups) {
	case 1:
		out = append(out, "reseal "+cups[0])
	case 2:
		out = append(out, "reseal both cups")
	}
	if len(out) == 0 && v.Outcome == fitcorr.Matches {
		return "leave as it is"
	}
	if len(out) == 0 {
		return "cannot be told yet"
	}
	return join(out)
}

// cupMoves names the cups whose position is shown to be off, or both when only
// the headset as a whole is.
func cupMoves(v fitcorr.Verdict) []string {
	var per [2]string
	for _, ear := range capture.Ears {
		if v.Ears[ear].Outcome == fitcorr.Adjust {
			per[ear] = slide(v.Ears[ear].Off)
		}
	}
	switch {
	case per[0] == "" && per[1] == "":
		if s := slide(v.Headset.Off); s != "" {
			return []string{"both cups: " + s}
		}
		return nil
	case per[0] == per[1]:
		return []string{"both cups: " + per[0]}
	}
	var out []string
	for _, ear := range capture.Ears {
		if per[ear] != "" {
			out = append(out, ear.String()+" cup: "+per[ear])
		}
	}
	return out
}

// slide is the move in whole millimetres, which is what a hand can do.
func slide(off fitcorr.Estimate) string {
	var out []string
	say := func(a fitcorr.Axis, plus, minus string) {
		mm := math.Round(-off.Value[a])
		if !off.Seen[a] || mm == 0 {
			return
		}
		dir := plus
		if mm < 0 {
			dir = minus
		}
		out = append(out, strconv.Itoa(int(math.Abs(mm)))+" mm "+dir)
	}
	say(fitcorr.Forward, "toward the nose", "toward the back of the head")
	say(fitcorr.Up, "up", "down")
	return strings.Join(out, ", ")
}

// turn names a rotation only when it is at least 2° and told from zero.
func turn(off fitcorr.Estimate, confidence float64) string {
	deg := -off.Value[fitcorr.Rotation]
	if !off.Seen[fitcorr.Rotation] || math.Abs(deg) < 2 ||
		math.Abs(deg) < half(off, fitcorr.Rotation, confidence) {
		return ""
	}
	dir := "nose"
	if deg < 0 {
		dir = "back of the head"
	}
	return "turn the headband's top " + fixed(math.Abs(deg), 0) + "° toward the " + dir
}

// leakWords is the seal line of a fixture seating.
func leakWords(v fitcorr.Verdict, off *fitcorr.Offset) string {
	if off != nil && off.Leak[0].Class == "open" && off.Leak[1].Class == "open" {
		return "open: no seal to judge"
	}
	var per [2]string
	for _, ear := range capture.Ears {
		e := v.Ears[ear]
		db := e.LeakExcessDB
		switch {
		case e.LeakOutcome == fitcorr.Matches:
			per[ear] = "seals as worn"
		case e.LeakOutcome == fitcorr.Adjust && db[0] > 0:
			per[ear] = "loses " + fixed(db[0], 1) + " dB more than worn"
		case e.LeakOutcome == fitcorr.Adjust:
			per[ear] = "loses " + fixed(-db[0], 1) + " dB less than worn"
		default:
			per[ear] = "seal undetermined"
		}
	}
	if per[0] == per[1] {
		return "both: " + per[0]
	}
	return "left: " + per[0] + "; right: " + per[1]
}

// seatingName is how people call a recording: "Model A, L03, seating 2, blocked".
func seatingName(r Recording) string {
	model := r.Model
	if r.BareEar() {
		model = "bare ear"
	}
	s := model + ", " + r.Subject + ", seating " + strconv.Itoa(r.Number) + ", " + string(r.Point)
	if r.Survey != nil {
		s += ", displaced " + displacementWords(*r.Survey)
	}
	return oneLine(s)
}

func displacementWords(d capture.Displacement) string {
	return fixed(d.ForwardMM, 1) + " mm forward, " + fixed(d.UpMM, 1) + " mm up, " +
		fixed(d.RotationDeg, 1) + "°"
}

// shortFile is the file's name without the folders that all recordings share.
func shortFile(f string) string { return path.Base(f) }
