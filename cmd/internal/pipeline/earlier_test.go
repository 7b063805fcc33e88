package pipeline

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/cmd/internal/resultdir"
	"asworn/fitcorr/panel"
	"asworn/report"
)

// A study without bare-ear references takes those of an earlier one from its panel
// file, its recordings being gone, and says so; a file that was changed stops it.
func TestEarlierStudy(t *testing.T) {
	if testing.Short() {
		t.Skip("runs a study twice")
	}
	dir := copyStudy(t)
	remembered := filepath.Join(t.TempDir(), resultdir.PanelFile)
	known, err := os.ReadFile(filepath.Join(resultdir.Root(dir), resultdir.PanelFile))
	if err != nil {
		t.Fatal(err)
	}
	write := func(name string, content []byte) {
		if err := os.WriteFile(name, content, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	write(remembered, known)
	settings := filepath.Join(dir, capture.StudyFile)
	text, err := os.ReadFile(settings)
	if err != nil {
		t.Fatal(err)
	}
	text = append(text, "\n[panel]\nearlier = ['"+remembered+"']\n"...)
	write(settings, text)
	if _, _, err := Run(t.Context(), dir, Options{}); err == nil || !strings.Contains(err.Error(), remembered) || !strings.Contains(err.Error(), "would count twice") {
		t.Errorf("a file made of this study's own recordings: %v", err)
	}
	write(remembered, ofOthers(t, known))
	run := func() report.Results {
		r, _, err := Run(t.Context(), dir, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	with := run()
	if !slices.ContainsFunc(with.Findings, func(f string) bool { return strings.HasPrefix(f, "Bare ears agree with those in study") }) {
		t.Errorf("findings %q", with.Findings)
	}
	sheet := filepath.Join(dir, capture.SheetFile)
	rows, err := os.ReadFile(sheet)
	if err != nil {
		t.Fatal(err)
	}
	var kept, swapped []string
	for _, line := range strings.SplitAfter(string(rows), "\n") {
		if strings.Split(line+",", ",")[1] != "" {
			kept, swapped = append(kept, line), append(swapped, line)
		} else {
			swapped = append(swapped, strings.NewReplacer(",L01,", ",L02,", ",L02,", ",L01,").Replace(line))
		}
	}
	write(sheet, []byte(strings.Join(swapped, "")))
	doubted, counts, err := Run(t.Context(), dir, Options{})
	if err != nil || !counts.PanelChanged {
		t.Errorf("exchanged names: %v, changed %v", err, counts.PanelChanged)
	}
	for _, who := range []string{"L01", "L02"} {
		if !slices.ContainsFunc(doubted.PanelChanges, func(f string) bool {
			return strings.HasPrefix(f, "The bare ears of "+who+" are not those of "+who) && strings.Contains(f, "the two names are exchanged")
		}) {
			t.Errorf("exchanged names, %s: changes %q", who, doubted.PanelChanges)
		}
	}
	write(sheet, []byte(strings.Join(kept, "")))
	without := run()
	if !slices.Contains(without.Findings, "Bare ears are those of earlier studies: L01, L02.") {
		t.Errorf("findings %q", without.Findings)
	}
	a, b := with.Analysis.Models[0].Worn, without.Analysis.Models[0].Worn
	if !slices.Contains(b.Separation, panel.ByBareEars) {
		t.Errorf("told by %v", b.Separation)
	}
	for i := range 2 { // the same recordings, to 0.001 dB
		if d := a.Mean.Value[i] - b.Mean.Value[i]; d*d > 0.01*0.01 {
			t.Errorf("worn mean %v with own bare ears, %v with remembered ones", a.Mean.Value, b.Mean.Value)
		}
	}
	named := strings.Replace(string(text), `name = "fixture 1"`, `name = "fixture 2"`, 1)
	write(settings, []byte(strings.Replace(named, "reference = ", "# reference = ", 1)))
	if _, _, err := Run(t.Context(), dir, Options{}); err == nil || !strings.Contains(err.Error(), `made on fixture "fixture 1", this study on "fixture 2"`) || !strings.Contains(err.Error(), remembered) {
		t.Errorf("another fixture: %v", err)
	}
	write(settings, text)
	write(remembered, []byte(strings.Replace(string(known), `"L01"`, `"L07"`, 1)))
	if _, _, err := Run(t.Context(), dir, Options{}); err == nil || !strings.Contains(err.Error(), "checksum") {
		t.Errorf("a changed file: %v", err)
	}
}

// ofOthers is a panel file as it would be if the same had been found in other recordings.
func ofOthers(t *testing.T, known []byte) []byte {
	t.Helper()
	var doc struct {
		Format string          `json:"format"`
		Sum    string          `json:"sha256"`
		Panel  json.RawMessage `json:"panel"`
	}
	if err := json.Unmarshal(known, &doc); err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(doc.Panel, []byte(`,"recordings":`))
	if at < 0 {
		t.Fatal("the file does not name its recordings")
	}
	doc.Panel = append(slices.Clone(doc.Panel[:at]), '}')
	doc.Sum = fmt.Sprintf("%x", sha256.Sum256(doc.Panel))
	out, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	return out
}
