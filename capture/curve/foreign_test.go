package curve

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestReadText: what programs write as text is read as it was meant.
func TestReadText(t *testing.T) {
	two := Curve{Hz: []float64{20.5, 1000}, DB: []float64{94.1, -3}}
	three := Curve{Hz: two.Hz, DB: two.DB, PhaseDeg: []float64{10, -20}}
	for _, c := range []struct {
		name, text string
		want       Curve
	}{
		{"tabs", "20.5\t94.1\n1000\t-3\n", two},
		{"blanks", "  20.5   94.1\n1000 -3", two},
		{"commas", "20.5,94.1\n1000,-3\n", two},
		{"commas and blanks", "20.5, 94.1\n1000, -3\n", two},
		{"semicolons, decimal commas", "20,5;94,1\n1000;-3\n", two},
		{"tabs, decimal commas", "20,5\t94,1\n1000,0\t-3,0\n", two},
		{"blanks, decimal commas", "20,5 94,1\n1000 -3\n", two},
		{"blanks, decimal commas everywhere", "20,5 94,1\n1000,0 -3,0\n", two},
		{"commas and blanks, decimal commas", "20,5, 94,1\n1000, -3\n", two},
		{"a head and comments", "Frequency\tSPL\n* made on a day\n# x\n20.5\t94.1\n// y\n1000\t-3\n", two},
		{"phase", "Hz;dB;deg\n20.5;94.1;10\n1000;-3;-20\n", three},
		{"phase that wraps", "20.5 94.1 170\n1000 -3 -170\n", Curve{Hz: two.Hz, DB: two.DB, PhaseDeg: []float64{170, 190}}},
		{"more columns than are read", "20.5\t94.1\t10\t0.9\n1000\t-3\t-20\t0.8\n", three},
		{"a phase that is not everywhere", "20.5 94.1 10\n1000 -3\n", two},
		{"scientific", "2.05e1 9.41E+1\n1.0e3 -3.0\n", two},
		{"Windows lines, byte order mark", "\ufeff20.5\t94.1\r\n1000\t-3\r\n", two},
		{"commas between whole numbers here and there", "20.5,94.1,10\n1000,-3,-20\n", three},
		{"direct current", "0 0\n20.5 94.1\n1000 -3\n", two},
		{"minus signs of typesetters", "20.5 94.1\n1000 −3\n", two},
	} {
		got, problems := parseText("c.txt", []byte(c.text))
		if len(problems) > 0 {
			t.Errorf("%s: %v", c.name, problems)
		} else if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%s: %s", c.name, diff)
		}
	}
}

// TestReadTextErrors: the line and the mend are named, and no more than ten.
func TestReadTextErrors(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", "0 points make no curve"},
		{"20 94\n", "1 points make no curve"},
		{"20 94\n30 x\n40 94\n", `c.txt:2: "30 x" is not a line of numbers`},
		{"20 94\n20 95\n", "c.txt:2: 20 Hz follows 20 Hz"},
		{"20 94\n30 1e9\n", "c.txt:2: level 1e+09"},
		{"20 94\n-30 1\n", "c.txt:2: frequency -30"},
		{"20 94\n30 NaN\n", "is not a line of numbers"},
		{"20 94\n" + strings.Repeat("x\n", 1000), "c.txt:11:"},
		{"\xff\xfe2\x000\x00\n\x00", "c.txt: not plain text (UTF-16"},
		{"2\x000", "c.txt: not plain text"},
		{"# made\nHz dB\n20Hz 94dB\n1kHz 90dB\n", `c.txt:4: "1kHz 90dB" is not a line of numbers, nor is any before it; write one line per frequency`},
		{"0.02 94\n1 90\n20 80\n", "c.txt: the highest frequency is 20 Hz; write frequencies in Hz, not in kHz"},
		{"Hz,dB\n20,0,94,5\n1000,0,90,5\n", "c.txt:2: commas may separate here or be decimal"},
		{"20,94,5\n1000,90,5\n", "c.txt:1: commas may separate here or be decimal"},
		{"Hz,dB\n18,041,11,450\n18,567,11,561\n19,110,9,600\n", "c.txt:2: commas may separate here or be decimal"}, // as levels, 567 dB
	} {
		_, problems := parseText("c.txt", []byte(c.text))
		if len(problems) == 0 || len(problems) > maxForeignProblems || !strings.Contains(problems.Error(), c.want) {
			t.Errorf("%q: %v, want %q", c.text[:min(20, len(c.text))], problems, c.want)
		}
	}
}

func FuzzText(f *testing.F) {
	for _, s := range []string{"20.5\t94.1\n1000\t-3\n", "20,5;94,1\n", "x\n20 1 2\n30 2 3", "\ufeff#\n"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		c, problems := parseText("c.txt", text)
		if len(problems) == 0 {
			if err := c.Check(); err != nil || len(c.Hz) < 2 {
				t.Errorf("%v, %d points", err, len(c.Hz))
			}
		}
	})
}
