package text

import "testing"

func TestIntervalText(t *testing.T) {
	for _, c := range []struct {
		est, lo, hi float64
		want        string
	}{
		{4.21, 3.3, 5.12, "4.2 ± 0.9"}, {-4.21, -5.12, -3.3, "−4.2 ± 0.9"}, {3, 2.9, 5, "3.0 (2.9…5.0)"},
		{123, 103, 143, "123 ± 20"}, {0.02, -0.03, 0.07, "0.02 ± 0.05"}, {-0.01, -0.6, 0.6, "0.0 ± 0.6"},
	} {
		if got := Interval(c.est, c.lo, c.hi); got != c.want {
			t.Errorf("%v: got %q, want %q", c, got, c.want)
		}
	}
}

func TestHertz(t *testing.T) {
	for f, want := range map[float64]string{19.95: "20", 31.62: "31.5", 63.1: "63", 1000: "1 k", 1258.9: "1.25 k", 12589: "12.5 k", 7943: "8 k", 3162: "3.15 k"} {
		if got := Hertz(f); got != want {
			t.Errorf("hertz(%g) = %q, want %q", f, got, want)
		}
	}
}

func TestHertzUnit(t *testing.T) {
	for f, want := range map[float64]string{18.8: "18.8 Hz", 16788: "16.8 kHz", 12589: "12.5 kHz", 7943: "8 kHz", 1000: "1 kHz", 440: "440 Hz"} {
		if got := HertzUnit(f); got != want {
			t.Errorf("HertzUnit(%g) = %q, want %q", f, got, want)
		}
	}
}
