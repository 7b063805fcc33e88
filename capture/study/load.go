package study

import (
	"fmt"
	"os"
	"path/filepath"

	"asworn/capture/disk"
	"asworn/capture/textfile"
)

// Load reads the study in a folder and checks everything that can be
// checked without listening to a recording: keys, numbers, rows, and that each
// file is there, is what it should be and is whole. It returns everything that
// is wrong at once, as [Errors]. Of a study with several fixtures an address ([At])
// gives the part that one of them sees.
func Load(address string) (*Study, error) { return load(address, false) }

// LoadPartial is Load for a study that is still being recorded: rows whose file is not
// there are put into NotRecorded. Errors are those of Load.
func LoadPartial(address string) (*Study, error) { return load(address, true) }

func load(address string, partial bool) (*Study, error) {
	dir, fixture := Split(address)
	if info, err := os.Stat(dir); err != nil {
		return nil, fmt.Errorf("name the folder that holds %s: %w", SettingsFile, err)
	} else if !info.IsDir() {
		return nil, fmt.Errorf("%s is a file; name the folder that holds %s", dir, SettingsFile)
	}
	var problems textfile.Errors
	toml, err := disk.ReadFile(filepath.Join(dir, SettingsFile), maxSettings)
	if err != nil {
		problems = append(problems, textfile.Missing(filepath.Join(dir, SettingsFile), err))
	}
	parsed, bad := parseStudy(filepath.Join(dir, SettingsFile), toml)
	parsed.missing = err != nil
	problems = append(problems, bad...)
	s := parsed.Study
	s.Dir = dir
	if s.Title == "" {
		s.Title = filepath.Base(filepath.Clean(dir))
	}
	sheet, err := disk.ReadFile(filepath.Join(dir, SheetFile), textfile.MaxBytes)
	if err != nil {
		problems = append(problems, textfile.Missing(filepath.Join(dir, SheetFile), err))
	} else {
		s.Seatings, bad = parseSheetOf(filepath.Join(dir, SheetFile), sheet, s.Holds, s.Fixtures)
		s.Holds = HoldsRecording // every row has its own now
		problems = append(problems, bad...)
		if len(bad) == 0 {
			problems = append(problems, s.readReadings()...)
		}
	}
	problems = append(problems, s.checkFiles(parsed, partial)...)
	if err := problems.Sorted(); err != nil {
		return nil, err
	}
	if fixture != "" {
		return s.seenBy(fixture)
	}
	return &s, nil
}
