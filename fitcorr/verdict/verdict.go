package verdict

import (
	"asworn/fitcorr/seat"
)

// Outcome is a verdict in the word that tables, page and JSON show.
type Outcome string

// The three outcomes of position (equivalence by two one-sided tests), and those
// of position and seal together. Only Verdict.Verdict holds the latter.
const (
	Use          Outcome = "use"
	Move         Outcome = "move"
	Undetermined Outcome = "undetermined"
	Reseal       Outcome = "reseal"
	MoveReseal   Outcome = "move, reseal"
)

// Seal is how a cup seals against the worn ones.
type Seal string

// The seals. A cup that is tighter than worn cannot be mended by hand.
const (
	SealAsWorn       Seal = "as worn"
	SealLeaks        Seal = "leaks"
	SealTighter      Seal = "tighter than worn"
	SealUndetermined Seal = "undetermined"
)

// Part is what of a headset a verdict goes by.
type Part string

// The parts in the order of a Position's numbers.
const (
	LeftCup  Part = "left cup"
	RightCup Part = "right cup"
	Headset  Part = "headset" // mean of both cups

	parts = 3 // how many they are
)

// EarVerdict is the verdict on one ear or on the headset.
type EarVerdict struct {
	Outcome Outcome `json:"position"`
	// Off is the seating minus the worn mean; the move to make is its negative.
	Off seat.Estimate `json:"off"`
	// DistanceMM is the offset's length in the forward-up plane: estimate, and the lower and upper
	// limits of the tests (Position.DistancesMM).
	DistanceMM [3]float64 `json:"distance_mm"`
	// Seal and LeakExcessDB compare the loss at 50 Hz with the worn one.
	Seal         Seal       `json:"seal"`
	LeakExcessDB [3]float64 `json:"leak_excess_db"` // estimate, lower, upper
	// LeakWhy says why a seal is undetermined and what would tell.
	LeakWhy string `json:"leak_why,omitempty"`
}

// Verdict is the judgement of one fixture seating against the worn ones.
type Verdict struct {
	ID      string  `json:"id"`
	Seating int     `json:"seating"`
	Verdict Outcome `json:"verdict"`  // of position and seal together
	Outcome Outcome `json:"position"` // of position, both cups considered
	// Decides says which number the outcome rests on, DistanceMM is that number:
	// the distance from the worn mean, mm: estimate, lower, upper.
	Decides    Part          `json:"decides"`
	DistanceMM [3]float64    `json:"distance_mm"`
	Ears       [2]EarVerdict `json:"ears"`
	Headset    EarVerdict    `json:"headset"`
	Settle     []Remedy      `json:"settle,omitempty"` // what would settle an undetermined one
	// Budget takes the uncertainty of an undetermined one apart, the term whose
	// action gains most first.
	Budget []Term `json:"budget,omitempty"`
	// Readings is what the reading of this seating says without any sound, nil
	// where it or the panel was not read.
	Readings *Alone `json:"readings_alone,omitempty"`
	// Nearest lists worn seatings by likelihood, most alike first.
	Nearest []Likeness `json:"nearest,omitempty"`
}

// Together puts position and seal into one outcome: a cup that leaks more than
// it does on people is to be resealed, whatever its position.
func (v Verdict) Together() Outcome {
	leaks := v.Ears[0].Seal == SealLeaks || v.Ears[1].Seal == SealLeaks
	switch {
	case leaks && v.Outcome == Move:
		return MoveReseal
	case leaks:
		return Reseal
	}
	return v.Outcome
}

// Likeness is a worn seating and its part of the likelihood.
type Likeness struct {
	ID    string  `json:"id"`
	Share float64 `json:"share"` // 0 to 1; over all worn seatings they sum to 1
}

// Term is one source of the uncertainty of a fixture seating's place against the
// worn mean, forward and up, of the mean of both cups.
type Term struct {
	Source string  `json:"source"`
	MM     float64 `json:"mm"` // standard uncertainty per axis
	// Action lowers it, to AfterMM where that can be told; "" when nothing does.
	Action  string  `json:"action,omitempty"`
	AfterMM float64 `json:"after_mm,omitempty"`
	// Use and Move are the rates of verdicts expected then, 0 to 1: use of a seating at
	// the worn mean, move of one twice the tolerance off.
	Use  float64 `json:"use,omitempty"`
	Move float64 `json:"move,omitempty"`
}

// Alone is what readings say of a seating without any sound.
type Alone struct {
	Outcome    Outcome    `json:"outcome"`     // of the mean of both cups
	DistanceMM [3]float64 `json:"distance_mm"` // of it from the worn mean: estimate, lower, upper
	// Off is the mean of both cups less the worn mean; forward and up alone are read.
	Off seat.Estimate `json:"off"`
}
