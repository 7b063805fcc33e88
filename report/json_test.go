package report_test

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"asworn/report"
	"asworn/report/internal/sample"

	"github.com/google/go-cmp/cmp"
)

func TestJSONRoundTrip(t *testing.T) {
	r := sample.Results()
	var a, b bytes.Buffer
	if err := report.WriteJSON(&a, r); err != nil {
		t.Fatal(err)
	}
	if err := report.WriteJSON(&b, sample.Results()); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("same value, different bytes")
	}
	got, err := report.ReadJSON(&a)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(r, got); diff != "" {
		t.Error(diff)
	}
}

func TestJSONNotFinite(t *testing.T) {
	r := sample.Results()
	r.Analysis.Models[1].Offsets[2].Ears[1].Cov[0][2] = math.NaN()
	var b bytes.Buffer
	err := report.WriteJSON(&b, r)
	if err == nil || !strings.Contains(err.Error(), "analysis.models[1].offsets[2].ears[1].cov[0][2]") || b.Len() > 0 {
		t.Errorf("error %v, %d bytes", err, b.Len())
	}
	r = sample.Results()
	r.Recordings[4].Ears[0].LevelDB[7] = math.Inf(-1)
	if err := report.WriteJSON(&b, r); err == nil || !strings.Contains(err.Error(), "recordings[4].ears[0].level_db[7]") {
		t.Errorf("error %v", err)
	}
}

func TestReadJSONRefuses(t *testing.T) {
	for _, in := range []string{"", "{", `{"schema":"other"}`, `[]`,
		`{"schema":"asworn-results-2"}`, `{"schema":"asworn-results-2","options":{"confidence":1}}`} {
		if _, err := report.ReadJSON(strings.NewReader(in)); err == nil {
			t.Errorf("%q: no error", in)
		}
	}
}
