package study

import (
	"path/filepath"
	"strconv"
	"strings"

	"asworn/capture/disk"
	"asworn/capture/textfile"
)

// Models names the headphone models of the sheet in a study folder, in the order
// of its rows; nil when the sheet cannot be read.
func Models(address string) []string {
	dir, _ := Split(address)
	file := filepath.Join(dir, SheetFile)
	text, err := disk.ReadFile(file, textfile.MaxBytes)
	if err != nil {
		return nil
	}
	rows, _ := parseSheet(file, text)
	var out []string
	seen := map[string]bool{"": true}
	for _, r := range rows {
		if !seen[r.Model] {
			seen[r.Model] = true
			out = append(out, r.Model)
		}
	}
	return out
}

// Doubts asks about what is allowed and yet looks like a slip: a model that one
// row alone names, and whose name is nearly that of a model of several rows.
// Names that differ in one word of a letter or a number, such as "Model A" and
// "Model B", are told apart on purpose. Nil when nothing is in doubt.
func (s *Study) Doubts() []textfile.Problem {
	count, row := map[string]int{}, map[string]int{}
	var names []string
	for _, rows := range [][]Seating{s.Seatings, s.NotRecorded} {
		for _, r := range rows {
			if r.Model == "" {
				continue
			}
			if count[r.Model]++; count[r.Model] == 1 {
				names = append(names, r.Model)
				row[r.Model] = r.Row
			}
		}
	}
	var out []textfile.Problem
	for _, name := range names {
		if count[name] > 1 {
			continue
		}
		var others []string
		spelt := map[string]string{} // by lower case
		for _, n := range names {
			if count[n] > 1 && !apart(name, n) {
				others = append(others, strings.ToLower(n))
				spelt[strings.ToLower(n)] = n
			}
		}
		if low, ok := textfile.Nearest(name, others); ok {
			near := spelt[low]
			out = append(out, textfile.Problem{File: filepath.Join(s.Dir, SheetFile), Line: row[name],
				Message: "model " + strconv.Quote(name) + " is in this row alone and resembles " + strconv.Quote(near),
				Mend:    "if that one is meant, write its name here; if not, nothing is wrong"})
		}
	}
	return out
}

// apart reports whether two names differ in words of one letter, or in numbers,
// alone: so models of one maker are numbered.
func apart(a, b string) bool {
	x, y := strings.Fields(a), strings.Fields(b)
	if len(x) != len(y) {
		return false
	}
	for i := range x {
		if x[i] == y[i] {
			continue
		}
		letters := len([]rune(x[i])) == 1 && len([]rune(y[i])) == 1
		_, numberX := strconv.Atoi(x[i])
		_, numberY := strconv.Atoi(y[i])
		if !letters && (numberX != nil || numberY != nil) {
			return false
		}
	}
	return true
}
