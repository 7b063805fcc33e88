package hearing

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

const rate = 8000

func noise(n int, rms float64, seed uint64) []float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, n)
	for i := range x {
		x[i] = rms * r.NormFloat64()
	}
	return x
}

// The channel that was touched is told, or why none is.
func TestTapped(t *testing.T) {
	touched := func(x []float64, peak float64) []float64 {
		for i := range 40 {
			x[rate+i] += peak * math.Exp(-float64(i)/10)
		}
		return x
	}
	quiet := func(seed uint64) []float64 { return noise(2*rate, 1e-4, seed) }
	for _, c := range []struct {
		name     string
		channels [][]float64
		want     int
		err      string
	}{
		{"second", [][]float64{quiet(1), touched(quiet(2), 0.1), quiet(3)}, 2, ""},
		{"second, the first hears it 20 dB lower", [][]float64{touched(quiet(1), 0.01), touched(quiet(2), 0.1)}, 2, ""},
		{"nothing", [][]float64{quiet(1), quiet(2)}, 0, "no channel heard a touch"},
		{"both", [][]float64{touched(quiet(1), 0.1), touched(quiet(2), 0.1)}, 0, "two channels heard it"},
		{"no samples", [][]float64{nil, nil}, 0, "no channel heard a touch"},
	} {
		got, err := Tapped(c.channels, rate)
		if got != c.want || (err == nil) != (c.err == "") || err != nil && !strings.Contains(err.Error(), c.err) {
			t.Errorf("%s: channel %d, %v", c.name, got, err)
		}
	}
}

// A sweep in noise has a delay and a level, noise alone has not arrived.
func TestHear(t *testing.T) {
	signal := make([]float64, rate)
	for i := range signal {
		x := float64(i) / rate
		signal[i] = 0.1 * math.Sin(2*math.Pi*(200*x+600*x*x))
	}
	recorded := noise(2*rate, 0.003, 4)
	const delay = 777
	for i, v := range signal {
		recorded[delay+i] += v / 2
	}
	h, err := Hear(signal, recorded, rate, 1, 0)
	if err != nil || !h.Arrived || h.Delay != delay || math.Abs(h.PeakDB-20*math.Log10(0.05)) > 2 {
		t.Errorf("%+v, %v", h, err)
	}
	louder := make([]float64, len(recorded))
	for i, v := range recorded {
		louder[i] = 2 * v
	}
	if l, err := Hear(signal, louder, rate, 1, 0); err != nil || math.Abs(l.DB-h.DB-20*math.Log10(2)) > 1e-9 {
		t.Errorf("twice the voltage is %.3f dB more, %v", l.DB-h.DB, err)
	}
	if h, err := Hear(signal, noise(2*rate, 0.05, 5), rate, 1, 0); err != nil || h.Arrived {
		t.Errorf("noise has arrived: %+v, %v", h, err)
	}
	if h, err := Hear(signal, make([]float64, 2*rate), rate, 1, 0); err != nil || h.Arrived || !strings.Contains(h.Words("left", rate, false), "silent") {
		t.Errorf("silence: %+v, %v", h, err)
	}
}

func TestInputsCheck(t *testing.T) {
	want := Inputs{Left: 1, Right: 2, Loopback: 3}
	for _, c := range []struct {
		in  Inputs
		err string
	}{
		{Inputs{Left: 3, Right: 1, Loopback: 2}, ""},
		{Inputs{Left: 3, Right: 1}, "no input is known for the loopback channel"},
		{Inputs{Left: 3, Right: 3, Loopback: 2}, "both on input 3"},
		{Inputs{Left: 1, Right: 2, Loopback: 5}, "no input is known for the loopback channel"},
	} {
		if err := c.in.Check(want, 4); (err == nil) != (c.err == "") || err != nil && !strings.Contains(err.Error(), c.err) {
			t.Errorf("%+v: %v", c.in, err)
		}
	}
}
