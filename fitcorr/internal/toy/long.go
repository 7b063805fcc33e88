package toy

import (
	"os"
)

// Long reports whether the long tables of the docs are asked for.
func Long() bool { return os.Getenv("ASWORN_LONG") != "" }
