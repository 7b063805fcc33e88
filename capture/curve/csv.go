package curve

import (
	"bytes"
	"math"
	"strings"

	"asworn/capture/disk"
	"asworn/capture/textfile"
)

// ReadCSV reads a response over frequency: a microphone's correction or a
// reference curve. The columns are frequency_hz, level_db and, if known,
// phase_deg, which may be wrapped; frequencies ascend; lines that begin with #
// are comments. Errors are [textfile.Errors], all of the file at once.
func ReadCSV(path string) (Curve, error) {
	c, _, problems := ReadCSVOf(path)
	if err := problems.Sorted(); err != nil {
		return Curve{}, err
	}
	return c, nil
}

// ReadCSVOf is ReadCSV that also returns the fixture that a line
// "# fixture: NAME" before the head names, "" when none does.
func ReadCSVOf(path string) (c Curve, fixture string, problems textfile.Errors) {
	text, err := disk.ReadFile(path, textfile.MaxBytes)
	if err != nil {
		return c, "", textfile.Errors{textfile.Missing(path, err)}
	}
	c, problems = parseCSV(path, text)
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

func parseCSV(file string, text []byte) (Curve, textfile.Errors) {
	t := textfile.ReadTable(file, text, []string{"frequency_hz", "level_db", "phase_deg"}, 2, '#')
	if len(t.Problems) > 0 {
		return Curve{}, t.Problems
	}
	_, phased := t.Columns["phase_deg"]
	var c Curve
	for _, r := range t.Rows {
		hz, ok := t.Number(r, "frequency_hz", 1e-3, maxCurveHz)
		if n := len(c.Hz); ok && n > 0 && hz <= c.Hz[n-1] {
			t.Report(r.Line, "sort the rows by frequency and keep one of each", "%g Hz follows %g Hz", hz, c.Hz[n-1])
		}
		db, _ := t.Number(r, "level_db", -maxCurveDB, maxCurveDB)
		c.Hz, c.DB = append(c.Hz, hz), append(c.DB, db)
		if phased {
			deg, _ := t.Number(r, "phase_deg", -1e6, 1e6)
			if n := len(c.PhaseDeg); n > 0 { // no jump between points of a wrapped phase
				deg -= 360 * math.Round((deg-c.PhaseDeg[n-1])/360)
			}
			c.PhaseDeg = append(c.PhaseDeg, deg)
		}
	}
	if len(c.Hz) < 2 && len(t.Problems) == 0 {
		t.Report(0, "write at least two frequencies", "%d points make no curve", len(c.Hz))
	}
	return c, t.Problems
}
