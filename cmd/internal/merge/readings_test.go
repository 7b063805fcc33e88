package merge

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"asworn/capture/study"
)

// Readings go with the rows that are taken, once; findings of entrances go along.
func TestReadingsOf(t *testing.T) {
	row := study.Seating{Subject: "fixture", Model: "Model A", Number: 1}
	read := study.ReadingRow{Subject: "fixture", Model: "Model A", Number: 1, ForwardMM: 2}
	found := study.ReadingRow{Subject: "L01", UpMM: 1}
	parts := []*study.Study{{Readings: []study.ReadingRow{read}}, {Readings: []study.ReadingRow{read, found}}}
	got := readingsOf(parts, [][]study.Seating{{row}, nil})
	if d := cmp.Diff([]study.ReadingRow{read, found}, got); d != "" {
		t.Error(d)
	}
}
