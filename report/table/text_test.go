package table

import (
	"strings"
	"testing"
)

func TestCSVText(t *testing.T) {
	for in, want := range map[string]string{
		"=HYPERLINK(1)": "'=HYPERLINK(1)", "+1": "'+1", "-1+2": "'-1+2", "@SUM(A1)": "'@SUM(A1)",
		"\t=1": "'\t=1", "  =1": "'  =1", "＝1": "'＝1", "\r=1": "'\r=1", "L01": "L01", "": "", "a=b": "a=b", "–": "",
	} {
		if got := csvText(in); got != want {
			t.Errorf("csvText(%q) = %q, want %q", in, got, want)
		}
	}
}

func TestMarkdownText(t *testing.T) {
	got := markdownText("<script>alert(1)</script> | [x](y) *b*\n`c`")
	for _, bad := range []string{"<script>", " | ", "[x]", "\n", " *b", "<b>"} {
		if strings.Contains(got, bad) {
			t.Errorf("%q holds %q", got, bad)
		}
	}
}

func TestFold(t *testing.T) {
	for _, c := range []struct {
		text  string
		width int
		want  string
	}{
		{"a line that fits", 16, "a line that fits"},
		{"  a line  that does not", 12, "  a line\n  that does\n  not"},
		{"unbreakable", 5, "unbreakable"},
		{"耳と耳 の間", 8, "耳と耳\nの間"},
		{"", 5, ""},
	} {
		if got := Fold(c.text, c.width); got != c.want {
			t.Errorf("%q in %d columns: %q, want %q", c.text, c.width, got, c.want)
		}
	}
}

// What people read in words, CSV holds as the study does.
func TestCSVCode(t *testing.T) {
	tab := Table{Columns: []Column{{Head: "Point", Key: "point"}}}
	tab.Add(Cell{Text: "drum reference point", Code: "drum"})
	tab.Add(Word("both"))
	var csv, terminal strings.Builder
	if err := tab.WriteCSV(&csv); err != nil || csv.String() != "point\ndrum\nboth\n" {
		t.Errorf("%q, %v", csv.String(), err)
	}
	if err := tab.WriteText(&terminal, Options{}); err != nil || !strings.Contains(terminal.String(), "drum reference point") {
		t.Errorf("%q, %v", terminal.String(), err)
	}
}
