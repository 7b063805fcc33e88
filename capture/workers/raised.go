package workers

import (
	"fmt"
	"path/filepath"
	"runtime"
	"strings"
)

// Raised is the file and line of this module's own code where the panic that is
// being recovered was raised; it is for a deferred function.
func Raised() string {
	pc := make([]uintptr, 64)
	frames := runtime.CallersFrames(pc[:runtime.Callers(3, pc)])
	for {
		frame, more := frames.Next()
		if strings.HasPrefix(frame.Function, "asworn/") {
			return fmt.Sprintf("%s:%d", filepath.Base(frame.File), frame.Line)
		}
		if !more {
			return "place not known"
		}
	}
}
