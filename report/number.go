package report

import (
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr"
)

// fixed prints v with d decimals and a true minus sign, never "−0".
func fixed(v float64, d int) string {
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

func intervalText(est, lower, upper float64) string {
	below, above := est-lower, upper-est
	half := (below + above) / 2
	d := decimals(half)
	if math.Abs(below-above) <= 0.15*half+1e-9 {
		return fixed(est, d) + " ± " + fixed(half, d)
	}
	return limitsText(est, lower, upper)
}

// limitsText writes an interval by its limits, however it lies: "1.8 (0.0…3.7)".
func limitsText(est, lower, upper float64) string {
	d := decimals((upper - lower) / 2)
	return fixed(est, d) + " (" + fixed(lower, d) + "…" + fixed(upper, d) + ")"
}

func percent(p float64) string { return strconv.FormatFloat(math.Round(p*1000)/10, 'f', -1, 64) + " %" }

// quantile is the factor from standard error to half the interval: Student's t
// with df degrees of freedom, normal for df 0.
func quantile(confidence, df float64) float64 {
	if confidence <= 0 || confidence >= 1 {
		confidence = 0.95
	}
	p := 0.5 + confidence/2
	if df <= 0 {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p)
}

// half is half the interval of one axis of an estimate.
func half(e fitcorr.Estimate, a fitcorr.Axis, confidence float64) float64 {
	return quantile(confidence, e.DF) * math.Sqrt(math.Max(0, e.Cov[a][a]))
}

// axisCell is one axis of an estimate with its interval, or a dash when the
// data say nothing about that axis.
func axisCell(e fitcorr.Estimate, a fitcorr.Axis, confidence float64) Cell {
	if !e.Seen[a] {
		return none()
	}
	return spread(e.Value[a], half(e, a, confidence))
}

// hertz prints a mid-band frequency as the trade labels it: "63", "1 k", "12.5 k".
func hertz(f float64) string {
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

// hertzUnit is hertz with its unit: "63 Hz", "12.5 kHz".
func hertzUnit(f float64) string {
	s := hertz(f)
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
