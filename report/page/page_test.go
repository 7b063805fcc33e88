package page

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"asworn/report"
	"asworn/report/internal/sample"
	"asworn/report/view"
)

func page(t *testing.T, r report.Results) string {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, view.New(r)); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestPageSelfContained(t *testing.T) {
	r := sample.Results()
	html := page(t, r)
	if len(html) > 5<<20 {
		t.Errorf("%d bytes", len(html))
	}
	if again := page(t, sample.Results()); again != html {
		t.Error("same results, different page")
	}
	for _, bad := range []string{"http://", "https://", "src=", "@import", "url(h", "ZgotmplZ", "NaN"} {
		if strings.Contains(html, bad) {
			t.Errorf("page holds %q", bad)
		}
	}
	for _, want := range []string{`id="answer"`, `id="worn"`, `id="map"`, `id="leak"`, `id="findings"`, `id="corrected"`, `id="compensated"`, `id="sensitivity"`, `id="survey"`, `id="methods"`, `id="cautions"`} {
		if !strings.Contains(html, want) {
			t.Errorf("page lacks %s", want)
		}
	}
	t.Logf("page of %d recordings: %d bytes", len(r.Recordings), len(html))
	if dir := os.Getenv("ASWORN_SHOTS"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "page.html"), []byte(html), 0o666); err != nil {
			t.Fatal(err)
		}
	}
}
