package survey

import (
	"errors"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/fitcorr/internal/toy"
)

// An ear whose level is the same in all rows, but for a gain, has no survey.
func TestStillEar(t *testing.T) {
	rows := Rows(toy.NearEven(5, 1).Seatings, capture.Blocked)
	if _, _, err := FitEar(rows, 0, ones(len(rows))); err != nil {
		t.Fatal(err)
	}
	for i := range rows {
		for b := range rows[i].Ears[0].LevelDB {
			rows[i].Ears[0].LevelDB[b] = 40 + 0.5*float64(i)
		}
	}
	_, _, err := FitEar(rows, 0, ones(len(rows)))
	if !errors.Is(err, ErrNoSurvey) || !strings.Contains(err.Error(), "electrical signal") {
		t.Errorf("error %v", err)
	}
}

func ones(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = 1
	}
	return out
}
