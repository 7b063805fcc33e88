package view

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"asworn/report/internal/sample"
	"asworn/report/table"
)

func TestCSVHarmless(t *testing.T) {
	r := sample.NastyResults()
	tables := New(r).Tables().All()
	for _, f := range New(r).Figures() {
		tables = append(tables, f.Table())
	}
	guarded := 0
	for _, tab := range tables {
		var b bytes.Buffer
		if err := tab.WriteCSV(&b); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		for i, row := range rows {
			k := 0
			for _, c := range tab.Columns {
				n := [...]int{table.Text: 1, table.Number: 1, table.Interval: 3}[c.Kind]
				if c.Kind == table.Text || i == 0 {
					for _, cell := range row[k : k+n] {
						guarded += strings.Count(cell[:min(1, len(cell))], "'")
						if trim := strings.TrimLeft(cell, " \u00a0"); trim != "" && strings.ContainsRune("=+-@\t\r\n", rune(trim[0])) {
							t.Errorf("%s: %q is a formula", tab.Name, cell)
						}
					}
				}
				k += n
			}
		}
	}
	if guarded == 0 {
		t.Error("no formula was met, the test shows nothing")
	}
}

func TestTerminalHarmless(t *testing.T) {
	r := sample.NastyResults()
	var b bytes.Buffer
	if err := table.WriteAll(&b, New(r).Tables().Brief(), table.Options{}); err != nil {
		t.Fatal(err)
	}
	if err := New(r).WriteSummary(&b, table.Options{}); err != nil {
		t.Fatal(err)
	}
	if strings.ContainsAny(b.String(), "\x1b\x07\r\t\u202e") {
		t.Error("control characters reach the terminal")
	}
}

func TestMarkdownHarmless(t *testing.T) {
	var b bytes.Buffer
	for _, tab := range New(sample.NastyResults()).Tables().All() {
		if err := tab.WriteMarkdown(&b); err != nil {
			t.Fatal(err)
		}
	}
	for _, bad := range []string{"<script", "<img", "<svg", "<!--"} {
		if strings.Contains(b.String(), bad) {
			t.Errorf("Markdown holds %s", bad)
		}
	}
}
