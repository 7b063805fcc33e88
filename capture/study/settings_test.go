package study

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
)

// settingsTable is the table of keys for the docs.
func settingsTable() string {
	var b strings.Builder
	b.WriteString("| key | default | range | meaning |\n|---|---|---|---|\n")
	for _, section := range sections() {
		name := "**`[" + section.name + "]`**"
		switch section.name {
		case "microphone.right":
			continue // the same keys
		case "microphone.left":
			name = "**`[microphone.left]`, `[microphone.right]`**"
		}
		if section.name != "" {
			meaning := ""
			if section.meaning != "" {
				meaning = strings.ToLower(section.meaning[:1]) + strings.TrimSuffix(section.meaning[1:], ".")
			}
			fmt.Fprintf(&b, "| %s | | | %s |\n", name, meaning)
		}
		for _, k := range section.settings {
			def := k.defText
			if def == "" {
				switch v := k.def.(type) {
				case nil:
					def = "none"
				case string:
					def = "`\"" + v + "\"`"
				default:
					def = strings.TrimSpace(fmt.Sprint(v))
				}
			}
			bounds := ""
			if k.min != k.max {
				bounds = k.bounds()
			}
			meaning := k.meaning
			if k.meaning != "" && k.more != "" {
				meaning += "; "
			}
			fmt.Fprintf(&b, "| `%s` | %s | %s | %s%s |\n", k.name(), def, bounds, meaning, k.more)
		}
	}
	return b.String()
}

// TestSettingsInDocs holds the table in docs/study-format.md against the
// settings. ASWORN_UPDATE=1 writes it anew.
func TestSettingsInDocs(t *testing.T) {
	const file, from, to = "../../docs/study-format.md", "<!-- settings: written by ASWORN_UPDATE=1 go test ./capture/study -run SettingsInDocs -->\n", "<!-- end of settings -->\n"
	page, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(page), from)
	said, after, end := strings.Cut(rest, to)
	if !ok || !end {
		t.Fatalf("%s has no marks of the table", file)
	}
	want := settingsTable()
	if os.Getenv("ASWORN_UPDATE") != "" {
		if err := os.WriteFile(file, []byte(before+from+want+to+after), 0o644); err != nil {
			t.Fatal(err)
		}
	} else if said != want {
		t.Errorf("the table in %s is not that of the settings; write it with ASWORN_UPDATE=1", file)
	}
}

// TestSettings sees to it that every default lies in its range and every
// example is read.
func TestSettings(t *testing.T) {
	keys := map[string]bool{}
	for _, section := range sections() {
		for _, k := range section.settings {
			if keys[k.key] || section.name != "" && !strings.HasPrefix(k.key, section.name+".") {
				t.Errorf("%s stands twice, or in the wrong section", k.key)
			}
			keys[k.key] = true
			s := Default()
			switch at := k.at(&s).(type) {
			case *float64:
				if v, ok := k.def.(float64); k.def != nil && (!ok || *at != v || v < k.min || v > k.max) {
					t.Errorf("%s: default %v, range %s", k.key, k.def, k.bounds())
				}
			case *int:
				if v, ok := k.def.(int); k.def != nil && (!ok || *at != v || float64(v) < k.min || float64(v) > k.max) {
					t.Errorf("%s: default %v, range %s", k.key, k.def, k.bounds())
				}
			case *string:
				if _, ok := k.def.(string); k.def != nil && !ok {
					t.Errorf("%s: default %v", k.key, k.def)
				}
			}
			if k.example == "" {
				continue
			}
			text := fmt.Sprintf("[channels]\nleft = 1\nright = 2\n%s = %s\n", k.name(), k.example)
			if section.name != "channels" {
				text = fmt.Sprintf("[%s]\n%s = %s\n", section.name, k.name(), k.example)
			}
			if _, problems := parseStudy("f", []byte(text)); len(problems) > 0 {
				t.Errorf("%s: %v", k.key, problems)
			}
		}
	}
}

// TestNewSettings takes the number signs away from what a new study leaves open
// and reads all of it.
func TestNewSettings(t *testing.T) {
	var b strings.Builder
	if err := WriteNewSettings(&b, Default()); err != nil {
		t.Fatal(err)
	}
	plain, problems := parseStudy("f", []byte(b.String()))
	if len(problems) > 0 {
		t.Fatalf("%v\n%s", problems, b.String())
	}
	if plain.Study.Channels.Loopback != 0 {
		t.Error("what is left open counts")
	}
	var lines []string
	for line := range strings.Lines(b.String()) {
		if bare, ok := strings.CutPrefix(line, "# "); ok && (strings.Contains(bare, " = ") && !strings.Contains(bare, "full scale") || strings.HasPrefix(bare, "[")) {
			line = bare
		}
		lines = append(lines, line)
	}
	filled, problems := parseStudy("f", []byte(strings.Join(lines, "")))
	if len(problems) > 0 {
		t.Fatalf("%v\n%s", problems, strings.Join(lines, ""))
	}
	if filled.Channels.Loopback != 3 || filled.Fixture.Reference == "" || filled.Microphones[Right].Calibrator == "" || filled.DriveVoltsRMS != 0.1 {
		t.Errorf("%+v", filled.Study)
	}
}

// TestEarlier: paths of earlier studies may leave the folder, and are read back as written.
func TestEarlier(t *testing.T) {
	s, problems := parseStudy("f", []byte("[panel]\nearlier = ['..\\a\\results\\panel.json', \"b.json\"]\n"))
	want := []string{"../a/results/panel.json", "b.json"}
	if len(problems) > 0 || !slices.Equal(s.Earlier, want) {
		t.Fatalf("%q, %v", s.Earlier, problems)
	}
	var b strings.Builder
	if err := WriteSettings(&b, s.Study); err != nil {
		t.Fatal(err)
	}
	if back, problems := parseStudy("f", []byte(b.String())); len(problems) > 0 || !slices.Equal(back.Earlier, want) {
		t.Errorf("%q, %v", back.Earlier, problems)
	}
	for text, says := range map[string]string{
		"[panel]\nearlier = \"a\"\n":    "f:2: panel.earlier must be a list of texts, in square brackets",
		"[panel]\nearlier = [\"\"]\n":   "none of them empty",
		"[panel]\nearlier = [3]\n":      "a list of texts in quotes",
		"[panel]\nearliest = [\"a\"]\n": "did you mean earlier?",
	} {
		if _, problems := parseStudy("f", []byte(text)); len(problems) != 1 || !strings.Contains(problems.Error(), says) {
			t.Errorf("%q: %v", text, problems)
		}
	}
}
