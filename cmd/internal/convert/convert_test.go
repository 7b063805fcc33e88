package convert

import (
	"math"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/fitcorr"
)

// What readings.csv holds reaches the seatings with what it is worth, the options with
// what it teaches, and the findings with its slips.
func TestReadingsReachSeatings(t *testing.T) {
	s := study.Default()
	for n := 1; n <= 12; n++ {
		for k := range 4 {
			s.Readings = append(s.Readings, study.ReadingRow{Row: 4*n + k, Subject: "L01", Model: "Model A", Number: n, Reader: "R1",
				ForwardMM: float64(n) + 0.2*float64(k%2), UpMM: -0.2 * float64(k/2)})
		}
	}
	s.Readings[5].UpMM = 12
	ss := []fitcorr.Seating{{Subject: "L01", Model: "Model A", Number: 3}, {Subject: "L01", Model: "Model A", Number: 99, Read: &capture.Reading{ForwardMM: 7}}}
	r := Readings(&s)
	PlaceReadings(ss, r)
	if ss[0].Read == nil || math.Abs(ss[0].Read.ForwardMM-3.1) > 1e-6 || math.Abs(ss[0].Readings()-4) > 0.01 {
		t.Errorf("four readings: %+v, worth %g", ss[0].Read, ss[0].Readings())
	}
	if ss[1].Read.ForwardMM != 7 || ss[1].Readings() != 1 || (fitcorr.Seating{}).Readings() != 0 {
		t.Errorf("of the sheet: %+v, worth %g", ss[1].Read, ss[1].Readings())
	}
	if one := Options(&s, r, 1).Reading.OneMM; one > 0.6 {
		t.Errorf("one reading errs by %g mm", one)
	}
	got := strings.Join(readingFindings(r), "\n")
	if !strings.Contains(got, "Row 9 of readings.csv (Model A on L01, seating 2) lies 12 mm from") || !strings.Contains(got, "One person read all") {
		t.Error(got)
	}
}
