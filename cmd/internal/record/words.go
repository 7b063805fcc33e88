package record

import (
	"fmt"
	"math"
	"strings"

	"asworn/cmd/internal/bench"
	"asworn/report/text"
)

func leftWords(rows int, minutes float64) string {
	return fmt.Sprintf("%s left, about %s", text.Plural(rows, "row"), text.Plural(int(math.Ceil(minutes)), "minute"))
}

// offerWords says which files wait.
func offerWords(s bench.Screen) string {
	if s.More == 0 {
		return s.Offer + " waits"
	}
	return fmt.Sprintf("%s waits, and %s behind it for the next rows", s.Offer, text.Plural(s.More, "file"))
}

// keyWords says which key does what, in lines that fit any terminal.
func keyWords(s bench.Screen) []string {
	if s.Taps {
		return []string{"s goes on without · q quit"}
	}
	if s.From != "" {
		return []string{"Enter go on · u undo the last file · b back · s skip · x drop row",
			"n note · r reading · + one more seating · q quit"}
	}
	return []string{"Enter go on · a again · > keep as it is · b back · s skip · x drop row",
		"n note · r reading · + one more seating · l level check · v type a level read",
		"j k gain · q quit · any key stops the sound"}
}

// moved is a displacement along one axis, in words.
func moved(mm float64, ahead, behind string) string {
	if mm < 0 {
		ahead = behind
	}
	return fmt.Sprintf("%.1f mm %s", math.Abs(mm), ahead)
}

// recordedWords says what there is of the row that waits already.
func recordedWords(s bench.Screen) string {
	switch {
	case s.Rejected:
		return "This row's recording was rejected; a new take is kept beside the first. > leaves it as it is."
	case s.Recorded:
		return "This row is recorded; a new take is kept beside the first."
	}
	return ""
}

// bar shows a level from -60 to 0 dB re full scale.
func bar(db float64) string {
	const width = 30
	n := min(width, max(0, int(math.Round((db+60)/60*width))))
	return strings.Repeat("█", n) + strings.Repeat("·", width-n)
}
