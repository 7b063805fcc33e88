package report

import (
	"math"
	"strings"
	"unicode"

	"asworn/fitcorr"
)

// biasCounts reports whether the bias of a third-octave band rests on both the
// panel and the fixture.
func biasCounts(s fitcorr.Sensitivity, i int) bool {
	return i < len(s.BiasDB) && i < len(s.BiasSE) &&
		(i >= len(s.PanelValid) || s.PanelValid[i]) && (i >= len(s.FixtureValid) || s.FixtureValid[i])
}

// biasHalf is half the interval of the bias of a third-octave band.
func biasHalf(r Results, s fitcorr.Sensitivity, i int) float64 {
	df := 0.0
	if i < len(s.BiasDF) {
		df = s.BiasDF[i]
	}
	return quantile(r.Options.Confidence, df) * s.BiasSE[i]
}

// biasRMS is the RMS of fixture minus worn over the third octaves from 50 Hz
// to 10 kHz that count.
func biasRMS(r Results, s fitcorr.Sensitivity) Cell {
	var sum float64
	n := 0
	for i, f := range r.ThirdsHz {
		if f > 49 && f < 10100 && biasCounts(s, i) {
			sum += s.BiasDB[i] * s.BiasDB[i]
			n++
		}
	}
	if n == 0 {
		return none()
	}
	return number(math.Sqrt(sum/float64(n)), 1)
}

// slug makes a name fit for a file: lower-case letters and digits with single
// hyphens; "x" when nothing is left.
func slug(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	if out := strings.TrimSuffix(b.String(), "-"); out != "" {
		return out
	}
	return "x"
}
