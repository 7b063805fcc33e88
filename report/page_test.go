package report

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func page(t *testing.T, r Results) string {
	t.Helper()
	var b bytes.Buffer
	if err := WritePage(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestPageSelfContained(t *testing.T) {
	r := synthetic()
	html := page(t, r)
	if len(html) > 5<<20 {
		t.Errorf("%d bytes", len(html))
	}
	if again := page(t, synthetic()); again != html {
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
