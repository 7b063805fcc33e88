package compare_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"asworn/capture/band"
	"asworn/capture/compare"
	"asworn/capture/finding"
	"asworn/capture/response"
	"asworn/capture/study"
)

// panel invents the levels of a study: listeners whose two ears differ by so
// many decibels (standard deviation per octave), seated five times each.
func panel(seed uint64, earsDB, seatingsDB float64) (rows []study.Seating, recs []response.Recording) {
	r := rand.New(rand.NewPCG(seed, 5))
	curve := func(sd float64) []float64 { // smooth over about an octave
		out := make([]float64, band.Count)
		var knots [12]float64
		for i := range knots {
			knots[i] = sd * r.NormFloat64()
		}
		for i := range out {
			x := float64(i) / 24
			k := int(x)
			out[i] = knots[k] + (x-float64(k))*(knots[k+1]-knots[k])
		}
		return out
	}
	for listener := range 6 {
		own := curve(earsDB)
		for n := range 5 {
			rec := response.Recording{Repeats: 2, Used: 2, DriftPPM: 18 + 2*r.NormFloat64(), DriftSEPPM: 0.1}
			for e := range rec.Ears {
				rec.Ears[e].LevelDB, rec.Ears[e].Valid = curve(seatingsDB/math.Sqrt2), make([]bool, band.Count)
				rec.Ears[e].Polarity = 0.6
				for i := range rec.Ears[e].Valid {
					rec.Ears[e].Valid[i] = true
					rec.Ears[e].LevelDB[i] += (0.5 - float64(e)) * own[i]
				}
			}
			rows = append(rows, study.Seating{Model: "Model A", Subject: fmt.Sprintf("L%02d", listener+1), Point: study.Blocked, Number: n + 1})
			recs = append(recs, rec)
		}
	}
	return rows, recs
}

// TestCompareSeatings exchanges the ears of one seating in each of many
// invented studies, turns the polarity of another and plays a third with
// another clock. With ASWORN_LONG set and -v it prints a part of the table of
// docs/developing/quality.md.
func TestCompareSeatings(t *testing.T) {
	studies := 20
	if os.Getenv("ASWORN_LONG") != "" {
		studies = 1000
	}
	var table strings.Builder
	for _, ears := range []float64{0.3, 1, 2, 4} {
		var swapped, polarity, clock, wrong, refused, wronged int
		for s := range studies {
			rows, recs := panel(uint64(s)+uint64(1000*ears)<<32, ears, 1)
			a, b, c := s%30, (s+7)%30, (s+13)%30
			recs[a].Ears[0], recs[a].Ears[1] = recs[a].Ears[1], recs[a].Ears[0]
			for e := range 2 {
				recs[b].Ears[e].Polarity *= -1
			}
			recs[c].DriftPPM += 50
			for i, found := range compare.Seatings(rows, traitsOf(study.Setup{}, recs), 0) {
				for _, f := range found {
					switch {
					case f.Code == "channels-swapped" && i == a:
						swapped++
						if f.Severity == finding.Refusal {
							refused++
						}
					case f.Code == "polarity" && i == b && f.Channel == "left":
						polarity++
					case f.Code == "polarity" && i == b:
					case f.Code == "drift" && i == c:
						clock++
					default:
						wrong++
						if f.Severity == finding.Refusal {
							wronged++
						}
					}
				}
			}
		}
		fmt.Fprintf(&table, "| %g dB | %d | %d (%d refused) | %d | %d | %d (%d refused) of %d recordings |\n", ears, studies, swapped, refused, polarity, clock, wrong, wronged, 27*studies)
		if ears >= 4 && float64(swapped) < 0.95*float64(studies) || polarity < studies || clock < studies || float64(wrong) > 0.001*27*float64(studies) {
			t.Errorf("ears %g dB: of %d studies %d exchanged, %d polarities, %d clocks found; %d false", ears, studies, swapped, polarity, clock, wrong)
		}
	}
	t.Logf("\n| ears differ by | studies | exchanged found | polarity found | clock found | false |\n|---|---|---|---|---|---|\n%s", table.String())
}

// traitsOf are those of all recordings of a study.
func traitsOf(s study.Setup, recs []response.Recording) []compare.Traits {
	out := make([]compare.Traits, len(recs))
	for i, r := range recs {
		out[i] = compare.TraitsOf(s, r)
	}
	return out
}

// TestMicrophonesAreNoEars lets two microphones differ by 6 dB and be
// calibrated: what was recorded, not what was meant, tells the exchange.
func TestMicrophonesAreNoEars(t *testing.T) {
	s := study.Setup{Microphones: [2]study.Microphone{{PaPerUnit: 5}, {PaPerUnit: 10}}}
	rows, recs := panel(3, 0.2, 1)
	// The channel labelled left held the right microphone: its level was
	// allowed for with the other's sensitivity.
	for i := range recs[4].Ears[0].LevelDB {
		recs[4].Ears[0].LevelDB[i] -= 6.02
		recs[4].Ears[1].LevelDB[i] += 6.02
	}
	found := compare.Seatings(rows, traitsOf(s, recs), 0)
	for i, f := range found {
		if i == 4 && (len(f) != 1 || f[0].Code != "channels-swapped" || f[0].Severity != finding.Refusal) || i != 4 && len(f) > 0 {
			t.Errorf("recording %d: %+v", i, f)
		}
	}
	recs[4].AddFindings(found[4]...)
	if recs[4].Quality.Usable() || recs[4].Ears[0].Valid[100] {
		t.Error("an exchanged recording still counts")
	}
}

// TestCompareWith brings the recordings of a study one at a time, as new ones:
// each gets the findings that it gets among the others, and the study's own
// rows and traits stay as they are.
func TestCompareWith(t *testing.T) {
	rows, recs := panel(11, 4, 1)
	recs[4].Ears[0], recs[4].Ears[1] = recs[4].Ears[1], recs[4].Ears[0]
	for e := range 2 {
		recs[9].Ears[e].Polarity *= -1
	}
	recs[20].DriftPPM += 50
	want := compare.Seatings(rows, traitsOf(study.Setup{}, recs), 0)
	for i, codes := range map[int]int{4: 1, 9: 2, 20: 1, 2: 0} {
		var others []study.Seating
		var traits []compare.Traits
		for j := range rows {
			if j != i {
				others, traits = append(others, rows[j]), append(traits, compare.TraitsOf(study.Setup{}, recs[j]))
			}
		}
		got := compare.With(others, traits, rows[i], compare.TraitsOf(study.Setup{}, recs[i]), 0)
		if len(got) != codes || len(want[i]) != codes {
			t.Errorf("recording %d: %+v as a new one, %+v among the others, want %d", i, got, want[i], codes)
			continue
		}
		for k, f := range got {
			if f.Code != want[i][k].Code || f.Severity != want[i][k].Severity {
				t.Errorf("recording %d: %+v as a new one, %+v among the others", i, f, want[i][k])
			}
		}
	}
}
