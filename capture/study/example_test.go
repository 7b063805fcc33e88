package study_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"asworn/capture/study"
	"asworn/capture/textfile"
)

// All that is wrong with a study comes at once.
func ExampleLoad() {
	dir, err := os.MkdirTemp("", "study")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	os.WriteFile(filepath.Join(dir, study.SettingsFile), []byte("[sweep]\nrepeat = 2\n[limits]\nconfidence = 95\n"), 0o644)
	os.WriteFile(filepath.Join(dir, study.SheetFile), []byte("file,model,subject,point,seating\na.wav,Model A,L01,drum,1\n"), 0o644)

	_, err = study.Load(dir)
	var problems textfile.Errors
	if errors.As(err, &problems) {
		for _, p := range problems {
			p.File = filepath.Base(p.File)
			fmt.Println(p)
		}
	}
	// Output:
	// study.toml:2: unknown key repeat in [sweep]; did you mean repeats?
	// study.toml:4: limits.confidence is 95: impossible; write a number, 0.6 to 0.9999
	// seatings.csv:2: point is drum for the listener L01; only the fixture has an ear simulator: write blocked, or fixture as subject
}
