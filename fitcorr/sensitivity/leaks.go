package sensitivity

import (
	"slices"

	"asworn/capture"
	"asworn/capture/order"
	"asworn/fitcorr/seal"
	"asworn/fitcorr/seat"
)

// A fixture seating's seal stands out when it leaks and loses standOutDB more
// at 50 Hz, the low end of the summary figure, than the median of the
// fixture's seatings (common practice, no source). A leak that most seatings
// share is how the headphone sits there, and stands out of nothing.
const standOutDB = 3

// leakingSeatings returns the numbers of the fixture's seatings whose seal
// stands out at one ear. The leak is seen at the blocked entrance; the drum
// seating of the same number is the same cup left where it was.
func leakingSeatings(ss []seat.Seating, leaks map[string][2]seal.Leak, ear capture.Ear) map[int]bool {
	const at50 = 1 // of Leak.LossDB
	var numbers []int
	var loss []float64
	var leaking []bool
	for _, s := range ss {
		l := leaks[s.ID][ear]
		if s.Point != capture.Blocked || s.Displaced() || !s.OnFixture() || l.Class == "" {
			continue
		}
		numbers = append(numbers, s.Number)
		loss = append(loss, l.LossDB[at50])
		leaking = append(leaking, l.Class == seal.Leaking)
	}
	if len(loss) == 0 {
		return nil
	}
	usual := order.Median(slices.Clone(loss))
	out := map[int]bool{}
	for i, n := range numbers {
		if leaking[i] && loss[i] > usual+standOutDB {
			out[n] = true
		}
	}
	return out
}

// without returns the panel without the seatings of these ids.
func (p fitPanel) without(ids []string) fitPanel {
	var out fitPanel
	for i, id := range p.id {
		if !slices.Contains(ids, id) {
			out.id = append(out.id, id)
			out.subject = append(out.subject, p.subject[i])
			out.level = append(out.level, p.level[i])
		}
	}
	return out
}
