package verdict

import (
	"math"

	"asworn/fitcorr/seat"
)

// Position is the judgement of where both cups sit.
type Position struct {
	Outcome Outcome
	// Decides is the number that the outcome rests on: for Use and
	// Undetermined the cup that is shown less clearly to lie within, for Move the number
	// that is shown most clearly to be off.
	Decides Part
	// Parts are the outcomes of the left cup, the right cup and the headset,
	// each alone, and DistancesMM their distances: estimate, lower, upper. The limits are
	// those of the tests: a part is shown to lie within where the upper one is, and
	// outside where the lower one is.
	Parts       [parts]Outcome
	DistancesMM [parts][3]float64
}

// JudgePosition holds both cups and their mean against a tolerance in mm in the
// forward–up plane (two one-sided tests: Schuirmann, J. Pharmacokin. Biopharm.
// 15(6), 1987).
//
// Use: each cup is shown to lie within the tolerance, each at the stated size.
// A test that asks for both has no larger size than either (intersection–union:
// Berger, Technometrics 24(4), 1982, quoted from memory).
//
// Move: the left cup, the right cup or the headset is shown to lie outside; the
// three tests share the stated size (headsetShare). If the headset lies outside so does a cup, so
// that a headset shown to lie outside shows it of one of them. All have the same degrees of freedom.
func JudgePosition(ears [2]seat.Estimate, headset seat.Estimate, tol, confidence float64) Position {
	var tests [parts]mixtureTests
	for i, e := range [parts]seat.Estimate{ears[0], ears[1], headset} {
		tests[i] = oneTest(newDistanceTests(e, tol))
	}
	return judgeNumbers(tests, confidence)
}

// judgeNumbers is JudgePosition by the tests of its three numbers.
func judgeNumbers(tests [parts]mixtureTests, confidence float64) Position {
	at := newSizes(1-confidence, tests[0][0].df)
	p := decide(tests, at)
	for i, t := range tests {
		p.DistancesMM[i] = t.limits(at[i])
	}
	return p
}

// decide is JudgePosition without the limits.
func decide(tests [parts]mixtureTests, at [parts]sizes) Position {
	names := [parts]Part{LeftCup, RightCup, Headset}
	p := Position{Outcome: Undetermined}
	least, farthest := math.Inf(1), math.Inf(-1)
	var clearest Part
	for i, t := range tests {
		p.Parts[i] = Undetermined
		in, within := t.within(at[i])
		if within {
			p.Parts[i] = Use
		}
		if i < 2 && in > farthest {
			farthest, p.Decides = in, names[i]
		}
		if v, beyond := t.beyond(at[i]); beyond {
			p.Parts[i], p.Outcome = Move, Move
			if v < least {
				least, clearest = v, names[i]
			}
		}
	}
	switch {
	case p.Outcome == Move:
		p.Decides = clearest
	case p.Parts[0] == Use && p.Parts[1] == Use:
		p.Outcome = Use
	}
	return p
}

// shows reports whether decide has that outcome, Use or Move, by no more tests than tell.
func shows(of Outcome, tests [parts]mixtureTests, at [parts]sizes) bool {
	if of == Use {
		for i, t := range tests[:2] {
			if _, within := t.within(at[i]); !within {
				return false
			}
		}
	}
	for i, t := range tests {
		if _, beyond := t.beyond(at[i]); beyond {
			return of == Move
		}
	}
	return of == Use
}

// Distance is the deciding distance with its limits, mm: estimate, lower, upper.
func (p Position) Distance() [3]float64 {
	switch p.Decides {
	case LeftCup:
		return p.DistancesMM[0]
	case RightCup:
		return p.DistancesMM[1]
	}
	return p.DistancesMM[2]
}
