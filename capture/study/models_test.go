package study

import (
	"strings"
	"testing"
)

func TestDoubts(t *testing.T) {
	for _, c := range []struct {
		models string // one row each
		want   string // the name asked about and the one that may be meant, "" for none
	}{
		{"Model A|Model A|Model AA", `"Model AA" "Model A"`},
		{"Model A|Model A|Modle A", `"Modle A" "Model A"`},
		{"Model A|Model A|Model B", ""}, // numbered by letters
		{"X 100|X 100|X 200", ""},
		{"Model A|Model AA", ""}, // a plan with one row each
		{"Model A|Model A|Model AA|Model AA", ""},
		{"Model A|Model A|Something else", ""},
	} {
		var s Study
		for i, m := range strings.Split(c.models, "|") {
			s.Seatings = append(s.Seatings, Seating{Row: i + 2, Model: m})
		}
		got := ""
		for _, p := range s.Doubts() {
			parts := strings.Split(p.Message, `"`)
			got += `"` + parts[1] + `" "` + parts[3] + `"`
		}
		if got != c.want {
			t.Errorf("%s: got %s, want %s", c.models, got, c.want)
		}
	}
}
