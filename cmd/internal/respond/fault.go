package respond

import (
	"fmt"

	"asworn/capture/workers"
)

// fault is a panic that was caught: an error of the program, not of its input.
type fault struct {
	value any
	where string // file and line
}

// Error says what to do about it.
func (f *fault) Error() string {
	return fmt.Sprintf("the program failed here (%v, %s); this is a fault of asworn", f.value, f.where)
}

// FaultMend is what a person can do about a fault.
const FaultMend = "please send the file, with study.toml, to those who maintain asworn; the other recordings are not affected"

// Guard calls f and gives a panic in it as a *fault.
func Guard(f func() error) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = &fault{v, workers.Raised()}
		}
	}()
	return f()
}
