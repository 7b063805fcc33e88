package pipeline

import (
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
	if err := os.WriteFile(remembered, known, 0o666); err != nil {
		t.Fatal(err)
	}
	settings := filepath.Join(dir, capture.StudyFile)
	text, err := os.ReadFile(settings)
	if err != nil {
		t.Fatal(err)
	}
	text = append(text, "\n[panel]\nearlier = ['"+remembered+"']\n"...)
	if err := os.WriteFile(settings, text, 0o666); err != nil {
		t.Fatal(err)
	}
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
	if err := os.WriteFile(sheet, []byte(strings.Join(swapped, "")), 0o666); err != nil {
		t.Fatal(err)
	}
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
	if err := os.WriteFile(sheet, []byte(strings.Join(kept, "")), 0o666); err != nil {
		t.Fatal(err)
	}
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
	if err := os.WriteFile(settings, []byte(strings.Replace(named, "reference = ", "# reference = ", 1)), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Run(t.Context(), dir, Options{}); err == nil || !strings.Contains(err.Error(), `made on fixture "fixture 1", this study on "fixture 2"`) || !strings.Contains(err.Error(), remembered) {
		t.Errorf("another fixture: %v", err)
	}
	if err := os.WriteFile(settings, text, 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(remembered, []byte(strings.Replace(string(known), `"L01"`, `"L07"`, 1)), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Run(t.Context(), dir, Options{}); err == nil || !strings.Contains(err.Error(), "checksum") {
		t.Errorf("a changed file: %v", err)
	}
}
