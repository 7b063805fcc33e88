package finding

import (
	"fmt"
	"strings"
)

// Text is fmt.Sprintf for sentences that people read: a float64 below nothing has
// the minus sign U+2212 (ISO 80000-2), not the hyphen. Texts and whole numbers stand
// as they are, for names hold hyphens.
func Text(format string, args ...any) string {
	shown := make([]any, len(args))
	for i, a := range args {
		if v, ok := a.(float64); ok {
			a = number(v)
		}
		shown[i] = a
	}
	return fmt.Sprintf(format, shown...)
}

type number float64

// Format writes the number as fmt does, with another minus.
func (n number) Format(s fmt.State, verb rune) {
	written := fmt.Sprintf(fmt.FormatString(s, verb), float64(n))
	fmt.Fprint(s, strings.Replace(written, "-", "−", 1))
}
