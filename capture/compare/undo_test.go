package compare_test

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"asworn/capture/compare"
	"asworn/capture/finding"
	"asworn/capture/study"
)

// TestLimiter limits one recording in each of some invented studies, 10:1 from 4 dB under
// the highest level of both channels as recorded. The microphones differ by 20 dB, so that
// the level is another one in each ear's response.
func TestLimiter(t *testing.T) {
	setup := study.Setup{Microphones: [2]study.Microphone{{PaPerUnit: 1}, {PaPerUnit: 10}}}
	recorded := [2]float64{0, -20} // dB, of a level at the microphone
	found, wrong := 0, 0
	const studies = 12
	for seed := range uint64(studies) {
		rows, recs := panel(seed, 1, 0.7)
		traits := make([]compare.Traits, len(recs))
		limited := 7
		for i, r := range recs {
			for e := range r.Ears {
				for b := range r.Ears[e].LevelDB { // a headphone that is loudest about 2 kHz
					x := float64(b-160) / 24
					r.Ears[e].LevelDB[b] += 10*math.Exp(-x*x/2) - recorded[e]
				}
			}
			if i == limited {
				from := max(slices.Max(r.Ears[0].LevelDB)+recorded[0], slices.Max(r.Ears[1].LevelDB)+recorded[1]) - 4
				for e := range r.Ears {
					for b, v := range r.Ears[e].LevelDB {
						r.Ears[e].LevelDB[b] -= 0.9 * max(0, v+recorded[e]-from)
					}
				}
			}
			traits[i] = compare.TraitsOf(setup, r)
		}
		all := compare.Seatings(rows, traits, 3)
		if seed == 0 && !reflect.DeepEqual(all, compare.Seatings(rows, traits, 1)) {
			t.Error("depends on the number of workers")
		}
		for i, fs := range all {
			switch has := finding.Has(fs, finding.Compression); {
			case has && i == limited:
				found++
			case has:
				wrong++
			}
		}
	}
	t.Logf("%d of %d found, %d false", found, studies, wrong)
	if found < studies*3/4 || wrong > 1 {
		t.Errorf("%d of %d found, %d false", found, studies, wrong)
	}
}
