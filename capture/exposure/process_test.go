package exposure_test

import (
	"math"
	"testing"

	"asworn/capture"
	"asworn/capture/exposure"
	"asworn/capture/sweep"
)

// The levels that capture gives a sweep are those of a meter held to the same
// samples: a sweep dulled by a first-order low-pass at 500 Hz, so that the two
// weightings part.
func TestCaptureAgreesWithTheMeter(t *testing.T) {
	d := sweep.Default()
	d.Seconds, d.Repeats, d.LeadSeconds, d.GapSeconds = 1, 1, 0.5, 0.5
	x := d.Signal()
	pole := math.Exp(-2 * math.Pi * 500 / d.RateHz)
	y, state := make([]float64, len(x)), 0.0
	for i, v := range x {
		state = pole*state + (1-pole)*v
		y[i] = state
	}
	const paPerUnit = 10
	mic := capture.Microphone{PaPerUnit: paPerUnit}
	p, err := capture.NewProcessor(capture.Setup{Sweep: d, Left: 1, Right: 2, Microphones: [2]capture.Microphone{mic, mic}})
	if err != nil {
		t.Fatal(err)
	}
	quieter := make([]float64, len(y))
	for i, v := range y {
		quieter[i] = v / 2
	}
	rec, err := p.ProcessSamples([][]float64{y, quieter}, d.RateHz)
	if err != nil {
		t.Fatal(err)
	}
	n := int(d.Seconds * d.RateHz)
	from := int(d.LeadSeconds * d.RateHz)
	pa := make([]float64, n)
	for i := range pa {
		pa[i] = paPerUnit * y[from+i]
	}
	m, err := exposure.NewMeter(n, d.RateHz)
	if err != nil {
		t.Fatal(err)
	}
	z, a := m.Levels(pa)
	if z-a < 1 {
		t.Fatalf("the weightings do not part: %.2f and %.2f", z, a)
	}
	left, right := rec.Ears[0], rec.Ears[1]
	t.Logf("meter %.3f dB, %.3f dB(A); capture %.3f, %.3f", z, a, left.SweepLevelDB, left.SweepLevelA)
	if math.Abs(left.SweepLevelDB-z) > 0.001 || math.Abs(left.SweepLevelA-a) > 0.001 {
		t.Errorf("capture %.3f dB, %.3f dB(A); meter %.3f, %.3f", left.SweepLevelDB, left.SweepLevelA, z, a)
	}
	if math.Abs(left.SweepLevelA-right.SweepLevelA-20*math.Log10(2)) > 0.001 {
		t.Errorf("half the pressure is %.3f dB less", left.SweepLevelA-right.SweepLevelA)
	}
	if math.Abs(rec.SoundSeconds-d.Seconds) > 0.01 {
		t.Errorf("%.3f s of sound, want %.3f", rec.SoundSeconds, d.Seconds)
	}
}
