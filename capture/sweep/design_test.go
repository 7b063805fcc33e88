package sweep_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"asworn/capture/sweep"
)

func TestSynchronised(t *testing.T) {
	// n times the phase at t is the phase at t + L·ln n, so that the sine of
	// one is the sine of the other: Novak et al. 2015, equation 10.
	d := sweep.Default()
	l := d.Rate()
	phase := func(t float64) float64 { return 2 * math.Pi * d.StartHz * l * math.Exp(t/l) }
	for n := 2; n <= 5; n++ {
		for _, at := range []float64{0.1, 0.7, 1.3} {
			got := math.Sin(float64(n) * phase(at))
			want := math.Sin(phase(at + d.HarmonicLead(n)))
			if math.Abs(got-want) > 1e-8 {
				t.Errorf("order %d at %g s: %g, want %g", n, at, got, want)
			}
		}
	}
}

func TestSignalLayout(t *testing.T) {
	d := sweep.Design{StartHz: 20, StopHz: 20000, Seconds: 1, Repeats: 3, GapSeconds: 0.25, LeadSeconds: 0.5, RateHz: 48000}
	x := d.Signal()
	if want := 24000 + 3*60000; len(x) != want {
		t.Fatalf("length %d, want %d", len(x), want)
	}
	one := d.Sweep()
	for k := range 3 {
		start := 24000 + k*60000
		for i, v := range one {
			if x[start+i] != v {
				t.Fatalf("repeat %d differs at sample %d", k, i)
			}
		}
		for i := start + 48000; i < start+60000; i++ {
			if x[i] != 0 {
				t.Fatalf("gap %d is not silent", k)
			}
		}
	}
	if one[0] != 0 {
		t.Errorf("starts at %g", one[0])
	}
	for _, v := range one {
		if math.Abs(v) > 0.5 {
			t.Fatal("above the amplitude")
		}
	}
}

func TestStretchedIsTheSweepLater(t *testing.T) {
	d := sweep.Default()
	x, y := d.Sweep(), d.Stretched(2)
	for i := range x {
		if math.Abs(x[i]-y[2*i]) > 1e-9 {
			t.Fatalf("sample %d: %g and %g", i, x[i], y[2*i])
		}
	}
}

func TestValidate(t *testing.T) {
	if err := sweep.Default().Validate(); err != nil {
		t.Error(err)
	}
	for _, c := range []struct {
		change func(*sweep.Design)
		want   string
	}{
		{func(d *sweep.Design) { d.StartHz = 0 }, "start_hz"},
		{func(d *sweep.Design) { d.StartHz = math.NaN() }, "start_hz"},
		{func(d *sweep.Design) { d.StopHz = 5 }, "stop_hz"},
		{func(d *sweep.Design) { d.StopHz = 24000 }, "stop_hz"},
		{func(d *sweep.Design) { d.Seconds = 0 }, "seconds"},
		{func(d *sweep.Design) { d.Repeats = -1 }, "repeats"},
		{func(d *sweep.Design) { d.GapSeconds = -1 }, "gap_seconds"},
		{func(d *sweep.Design) { d.LeadSeconds = math.Inf(1) }, "lead_seconds"},
		{func(d *sweep.Design) { d.RateHz = 10 }, "rate_hz"},
		{func(d *sweep.Design) { d.Amplitude = 2 }, "amplitude"},
		{func(d *sweep.Design) { d.FadeInSeconds = 4 }, "fades"},
	} {
		d := sweep.Default()
		c.change(&d)
		if err := d.Validate(); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("got %v, want one that names %s", err, c.want)
		}
	}
}

func ExampleDesign() {
	d := sweep.Default()
	fmt.Printf("%.1f s in all\n", float64(len(d.Signal()))/d.RateHz)
	fmt.Printf("1 kHz after %.2f s\n", d.TimeOf(1000))
	fmt.Printf("second harmonic %.2f s before the linear response\n", d.HarmonicLead(2))
	// Output:
	// 8.5 s in all
	// 1 kHz after 1.80 s
	// second harmonic 0.27 s before the linear response
}
