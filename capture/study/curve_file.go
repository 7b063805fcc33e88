package study

import (
	"bytes"
	"math"
	"math/cmplx"
	"strings"

	"asworn/capture/disk"
)

// ReadResponseCSV reads a response over frequency: a microphone's correction or
// a reference curve. The columns are frequency_hz, level_db and, if known,
// phase_deg, which may be wrapped; frequencies ascend; lines that begin with # are comments. Errors
// are [Errors], all of the file at once.
func ReadResponseCSV(path string) (Curve, error) {
	c, _, problems := readCurve(path)
	if err := problems.sorted(); err != nil {
		return Curve{}, err
	}
	return c, nil
}

// LevelDB returns the level at f: linear over log frequency between the points,
// constant beyond them, 0 for a curve without points. Beyond its points a curve
// knows nothing; callers that must not extrapolate compare f with Hz.
func (c Curve) LevelDB(f float64) float64 {
	if len(c.Hz) == 0 {
		return 0
	}
	return 20 * math.Log10(cmplx.Abs(c.At(f)))
}

// readCurve also returns the fixture that a line "# fixture: NAME" names.
func readCurve(path string) (c Curve, fixture string, problems Errors) {
	text, err := disk.ReadFile(path, maxText)
	if err != nil {
		return c, "", Errors{missingText(path, err)}
	}
	c, problems = parseCurve(path, text)
	return c, fixtureOf(text), problems
}

func fixtureOf(text []byte) string {
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	for line := range bytes.Lines(text) {
		s, ok := strings.CutPrefix(strings.TrimSpace(string(line)), "#")
		if !ok {
			return "" // comments after the head are not looked at
		}
		if name, ok := strings.CutPrefix(strings.TrimSpace(s), "fixture:"); ok {
			return strings.TrimSpace(name)
		}
	}
	return ""
}

const (
	maxCurveHz = 1e6
	maxCurveDB = 300
)

func parseCurve(file string, text []byte) (Curve, Errors) {
	t := readTable(file, text, []string{"frequency_hz", "level_db", "phase_deg"}, 2, '#')
	if len(t.problems) > 0 {
		return Curve{}, t.problems
	}
	_, phased := t.columns["phase_deg"]
	var c Curve
	for _, r := range t.rows {
		hz, ok := t.number(r, "frequency_hz", 1e-3, maxCurveHz)
		if n := len(c.Hz); ok && n > 0 && hz <= c.Hz[n-1] {
			t.report(r.line, "sort the rows by frequency and keep one of each", "%g Hz follows %g Hz", hz, c.Hz[n-1])
		}
		db, _ := t.number(r, "level_db", -maxCurveDB, maxCurveDB)
		c.Hz, c.DB = append(c.Hz, hz), append(c.DB, db)
		if phased {
			deg, _ := t.number(r, "phase_deg", -1e6, 1e6)
			if n := len(c.PhaseDeg); n > 0 { // no jump between points of a wrapped phase
				deg -= 360 * math.Round((deg-c.PhaseDeg[n-1])/360)
			}
			c.PhaseDeg = append(c.PhaseDeg, deg)
		}
	}
	if len(c.Hz) < 2 && len(t.problems) == 0 {
		t.report(0, "write at least two frequencies", "%d points make no curve", len(c.Hz))
	}
	return c, t.problems
}
