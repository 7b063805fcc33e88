package console

import (
	"strings"

	"asworn/capture/study"
)

// Fixture is the address of what is recorded: of a study with several
// fixtures, what the one that was named sees, in the address or by itself; else it is
// asked for. A nil ask is where nobody can be asked.
func Fixture(address, name string, ask func(names []string) (int, error)) (string, error) {
	dir, given := study.Split(address)
	switch {
	case name != "" && given != "" && !strings.EqualFold(name, given):
		return "", Usagef("%s and --fixture %s are two fixtures: name one", address, name)
	case name != "":
		return study.At(dir, name), nil
	}
	names := study.FixturesOf(dir)
	if given != "" || len(names) < 2 {
		return address, nil
	}
	if ask == nil {
		return "", Usagef("%s declares several fixtures: name the one that stands on the bench with --fixture, %s", dir, strings.Join(names, " or "))
	}
	i, err := ask(names)
	if err != nil {
		return "", err
	}
	return study.At(dir, names[i]), nil
}
