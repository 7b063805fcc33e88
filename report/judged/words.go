package judged

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"asworn/capture"
	"asworn/fitcorr"
	"asworn/fitcorr/seal"
	"asworn/report"
	"asworn/report/table"
	"asworn/report/text"
)

// Action is what an operator does about one fixture seating.
type Action int

// The actions. All but Refused are outcomes of a verdict, in the same word.
const (
	Use Action = iota
	Move
	Reseal
	MoveReseal
	Undetermined
	Refused
)

var outcomes = [...]fitcorr.Outcome{fitcorr.Use, fitcorr.Move, fitcorr.Reseal, fitcorr.MoveReseal, fitcorr.Undetermined}

// String is the word that reports use.
func (a Action) String() string {
	if int(a) < len(outcomes) {
		return string(outcomes[a])
	}
	return "rejected"
}

// Tone is the emphasis of the word.
func (a Action) Tone() table.Tone {
	return [...]table.Tone{table.Good, table.Act, table.Act, table.Act, table.Unsure, table.Bad}[a]
}

// ActionFor is the verdict on position and seal together; Undetermined of one
// that says nothing.
func ActionFor(v fitcorr.Verdict) Action {
	if i := slices.Index(outcomes[:], v.Together()); i >= 0 {
		return Action(i)
	}
	return Undetermined
}

// Leaks reports whether a cup leaks more than it does on people.
func Leaks(e fitcorr.EarVerdict) bool { return e.Seal == fitcorr.SealLeaks }

// MoveWords says what to do with a fixture seating: "left cup: 4 mm toward the
// nose, 1 mm down; reseal right". The move is the negative of the offset.
func MoveWords(v fitcorr.Verdict, opt report.Options) string {
	var out []string
	if v.Outcome == fitcorr.Move {
		out = append(out, cupMoves(v, opt)...)
		if r := turn(v.Headset.Off, opt.Confidence); r != "" {
			out = append(out, r)
		}
		if len(out) == 0 {
			out = append(out, "take off and place again")
		}
	}
	var cups []string
	for _, ear := range capture.Ears {
		if Leaks(v.Ears[ear]) {
			cups = append(cups, ear.String())
		}
	}
	switch len(cups) {
	case 1:
		out = append(out, "reseal "+cups[0])
	case 2:
		out = append(out, "reseal both cups")
	}
	if len(out) == 0 && v.Outcome == fitcorr.Use {
		return "leave as it is"
	}
	if len(out) == 0 {
		return "not decidable yet"
	}
	return text.Join(out)
}

// cupMoves names the cups that are shown to be off, or whose estimate is beyond
// the tolerance; both when only the headset as a whole is off, or when they
// need the same within a millimetre.
func cupMoves(v fitcorr.Verdict, opt report.Options) []string {
	var per [2]slide
	for _, ear := range capture.Ears {
		e := v.Ears[ear]
		if e.Outcome == fitcorr.Move || e.Outcome == fitcorr.Undetermined && e.DistanceMM[0] > opt.MaxOffsetMM {
			per[ear] = slideFor(e.Off, opt.Confidence)
		}
	}
	l, r := per[0], per[1]
	switch {
	case l.none() && r.none():
		if s := slideFor(v.Headset.Off, opt.Confidence); !s.none() {
			return []string{"both cups: " + s.words()}
		}
		return nil
	case !l.none() && !r.none() && l.near(r):
		return []string{"both cups: " + l.between(r).words()}
	}
	var out []string
	for _, ear := range capture.Ears {
		if !per[ear].none() {
			out = append(out, ear.String()+" cup: "+per[ear].words())
		}
	}
	return out
}

// slide is a move in mm forward and up; a part that is not told from zero is
// left out, unless neither is.
type slide [2]float64

func slideFor(off fitcorr.Estimate, confidence float64) slide {
	var all, told slide
	for _, a := range []fitcorr.Axis{fitcorr.Forward, fitcorr.Up} {
		if !off.Seen[a] {
			continue
		}
		all[a] = -off.Value[a]
		if off.Told(a, confidence) {
			told[a] = all[a]
		}
	}
	if told.none() {
		return all
	}
	return told
}

// none reports whether the move is less than a hand can do.
func (s slide) none() bool { return math.Abs(s[0]) < 0.5 && math.Abs(s[1]) < 0.5 }

func (s slide) near(t slide) bool {
	return math.Abs(s[0]-t[0]) <= 1 && math.Abs(s[1]-t[1]) <= 1
}

func (s slide) between(t slide) slide { return slide{(s[0] + t[0]) / 2, (s[1] + t[1]) / 2} }

// words gives whole millimetres: a hand does no better.
func (s slide) words() string {
	var out []string
	for i, dir := range [2][2]string{{"toward the nose", "toward the back of the head"}, {"up", "down"}} {
		mm := math.Round(math.Abs(s[i]))
		if mm == 0 {
			continue
		}
		if s[i] > 0 {
			out = append(out, text.Fixed(mm, 0)+" mm "+dir[0])
		} else {
			out = append(out, text.Fixed(mm, 0)+" mm "+dir[1])
		}
	}
	return strings.Join(out, ", ")
}

// turn names a rotation only when it is at least 2° and told from zero.
func turn(off fitcorr.Estimate, confidence float64) string {
	deg := -off.Value[fitcorr.Rotation]
	if !off.Seen[fitcorr.Rotation] || math.Abs(deg) < 2 || !off.Told(fitcorr.Rotation, confidence) {
		return ""
	}
	dir := "nose"
	if deg < 0 {
		dir = "back of the head"
	}
	return "turn the headband's top " + text.Fixed(math.Abs(deg), 0) + "° toward the " + dir
}

// LeakWords is the seal line of a fixture seating.
func LeakWords(v fitcorr.Verdict, off *fitcorr.Offset) string {
	if off != nil && off.Leak[0].Class == seal.Open && off.Leak[1].Class == seal.Open {
		return "open: no seal to judge"
	}
	var one, both [2]string
	for _, ear := range capture.Ears {
		one[ear], both[ear] = sealWords(v.Ears[ear])
	}
	if one[0] == one[1] {
		return both[0]
	}
	return "left " + one[0] + "; right " + one[1]
}

// LeakingWords says which cups leak, one or both: "right leaks", "both cups leak".
func LeakingWords(cups []capture.Ear) string {
	if len(cups) == 2 {
		return "both cups leak"
	}
	return cups[0].String() + " leaks"
}

// OutlierWords says where an outlier differs most: "left ear, low band, most at 63 Hz
// by -5.2 dB".
func OutlierWords(o fitcorr.StandOut) string {
	return o.Ear.String() + " ear, " + string(o.Band) + " band, most at " + text.HertzUnit(o.WorstHz) + " by " + text.Fixed(o.WorstDB, 1) + " dB"
}

// WhySeal says why the seal of a cup is undetermined and what would tell, "" when
// none is.
func WhySeal(v fitcorr.Verdict) string {
	for _, ear := range capture.Ears {
		if e := v.Ears[ear]; e.Seal == fitcorr.SealUndetermined && e.LeakWhy != "" {
			return " (" + e.LeakWhy + ")"
		}
	}
	return ""
}

// sealWords says how one cup seals, for one ear and for both alike.
func sealWords(e fitcorr.EarVerdict) (one, both string) {
	db := e.LeakExcessDB[0]
	switch e.Seal {
	case fitcorr.SealAsWorn:
		return "seals as worn", "both seal as worn"
	case fitcorr.SealLeaks:
		return "loses " + text.Fixed(db, 1) + " dB more than worn", "both lose " + text.Fixed(db, 1) + " dB more than worn"
	case fitcorr.SealTighter:
		return "loses " + text.Fixed(-db, 1) + " dB less than worn", "both lose " + text.Fixed(-db, 1) + " dB less than worn"
	}
	return "undetermined", "seal undetermined"
}

// NameOf is how people call a recording: "Model A, L03, seating 2, blocked entrance".
func NameOf(r report.Recording) string {
	model := r.Model
	if r.BareEar() {
		model = "bare ear"
		if r.Loudspeaker != "" {
			model += " with the loudspeaker at " + r.Loudspeaker
		}
	}
	s := model + ", " + r.Subject + ", seating " + strconv.Itoa(r.Number) + ", " + r.Point.Short()
	if r.Displaced() {
		s += ", displaced " + displacementWords(*r.Survey)
	}
	return text.OneLine(s)
}

func displacementWords(d capture.Displacement) string {
	return text.Fixed(d.ForwardMM, 1) + " mm forward, " + text.Fixed(d.UpMM, 1) + " mm up, " +
		text.Fixed(d.RotationDeg, 1) + "°"
}

// MendWords is the mend of the worst finding of a refused recording.
func MendWords(rec report.Recording) string {
	f := slices.Clone(rec.Findings)
	slices.SortStableFunc(f, func(a, b capture.Finding) int { return int(b.Severity) - int(a.Severity) })
	if len(f) == 0 {
		return "no reason was recorded"
	}
	if f[0].Mend == "" {
		return text.OneLine(f[0].Message)
	}
	return text.OneLine(f[0].Mend)
}

// DistanceWords gives the distance that decides, from the panel's mean, with its interval.
func DistanceWords(v fitcorr.Verdict) string {
	d, part := v.DistanceMM, ""
	if v.Decides != "" {
		part = string(v.Decides) + " "
	}
	if d[1] <= 0 {
		return part + text.Fixed(d[0], 1) + " mm off, at most " + text.Fixed(d[2], 1) + " mm"
	}
	return part + text.Fixed(d[0], 1) + " mm off, between " + text.Fixed(d[1], 1) + " and " + text.Fixed(d[2], 1) + " mm"
}

// SealWords is the seal of a fixture seating in few words, for a table.
func SealWords(v fitcorr.Verdict, off *fitcorr.Offset) string {
	if off != nil && off.Leak[0].Class == seal.Open && off.Leak[1].Class == seal.Open {
		return "open"
	}
	var one [2]string
	for _, ear := range capture.Ears {
		e := v.Ears[ear]
		one[ear] = string(e.Seal)
		if e.Seal == fitcorr.SealLeaks {
			one[ear] += " " + text.Fixed(e.LeakExcessDB[0], 1) + " dB"
		}
	}
	switch {
	case one[0] == one[1]:
		return text.Dash(one[0])
	case one[0] == "" || one[1] == "":
		return text.Dash(one[0] + one[1])
	}
	return "left " + one[0] + ", right " + one[1]
}

// DistanceShort is the distance that decides with its interval, for a table: mm.
func DistanceShort(v fitcorr.Verdict) string {
	d := v.DistanceMM
	if d[2] <= 0 {
		return text.Dash("")
	}
	return text.Limits(d[0], d[1], d[2])
}
