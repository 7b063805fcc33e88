// Package text writes numbers and short texts the way all tables, plots and
// pages show them. It knows nothing of studies.
package text

import (
	"math"
	"strconv"
	"strings"
)

// Fixed prints v with d decimals and a true minus sign, never "−0".
func Fixed(v float64, d int) string {
	s := strconv.FormatFloat(v, 'f', d, 64)
	if rest, neg := strings.CutPrefix(s, "-"); neg {
		if strings.Trim(rest, "0.") == "" {
			return rest
		}
		return "−" + rest
	}
	return s
}

// decimals is how many decimals suit an uncertainty u: two digits of it at
// most (JCGM 100:2008, 7.2.6), and no more than two decimals of a mm or dB.
func decimals(u float64) int {
	switch {
	case u >= 9.95:
		return 0
	case u >= 0.095 || u == 0:
		return 1
	default:
		return 2
	}
}

// Interval writes an estimate with its limits: "4.2 ± 0.9" when they lie
// evenly, "4.2 (3.9…5.1)" when not.
func Interval(est, lower, upper float64) string {
	below, above := est-lower, upper-est
	half := (below + above) / 2
	d := decimals(half)
	if math.Abs(below-above) <= 0.15*half+1e-9 {
		return Fixed(est, d) + " ± " + Fixed(half, d)
	}
	return Limits(est, lower, upper)
}

// Limits writes an interval by its limits, however it lies: "1.8 (0.0…3.7)".
func Limits(est, lower, upper float64) string {
	d := decimals((upper - lower) / 2)
	return Fixed(est, d) + " (" + Fixed(lower, d) + "…" + Fixed(upper, d) + ")"
}

// Percent prints a share: "95 %".
func Percent(p float64) string { return strconv.FormatFloat(math.Round(p*1000)/10, 'f', -1, 64) + " %" }

// Hertz prints a mid-band frequency as the trade labels it: "63", "1 k", "12.5 k".
func Hertz(f float64) string {
	for _, nominal := range nominalHz {
		if math.Abs(math.Log(f/nominal)) < 0.02 {
			f = nominal
			break
		}
	}
	if f > 10000 && f != 12500 {
		return strconv.FormatFloat(math.Round(f/100)/10, 'f', -1, 64) + " k"
	}
	if f >= 1000 {
		return strconv.FormatFloat(math.Round(f/10)/100, 'f', -1, 64) + " k"
	}
	if f < 100 {
		return strconv.FormatFloat(math.Round(f*10)/10, 'f', -1, 64)
	}
	return strconv.FormatFloat(math.Round(f), 'f', -1, 64)
}

// HertzUnit is hertz with its unit: "63 Hz", "12.5 kHz".
func HertzUnit(f float64) string {
	s := Hertz(f)
	if k, ok := strings.CutSuffix(s, " k"); ok {
		return k + " kHz"
	}
	return s + " Hz"
}

// nominalHz are the nominal mid-band frequencies of ISO 266 within one decade
// each of 20 Hz to 20 kHz, third octaves.
var nominalHz = [...]float64{
	20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800,
	1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000,
}

// PlainHertz prints a frequency with three digits.
func PlainHertz(f float64) string {
	e := math.Pow(10, math.Floor(math.Log10(f))-2)
	return strconv.FormatFloat(math.Round(f/e)*e, 'f', max(0, -int(math.Floor(math.Log10(e)))), 64)
}

// Probability prints a P value.
func Probability(p float64) string {
	if p < 0.001 {
		return "< 0.001"
	}
	return Fixed(p, 3)
}
