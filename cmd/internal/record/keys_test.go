package record

import (
	"slices"
	"testing"
)

func TestPlainKeys(t *testing.T) {
	for _, c := range []struct{ read, want string }{
		{"q", "q"},
		{"\x1b", "\x1b"},                     // the escape key itself
		{"\x1b[D", "\x00"},                   // an arrow
		{"a\x1b[15~b\x1bOPc", "a\x00b\x00c"}, // function keys
		{"\x1b[1;5a\r", "\x00\r"},
		{"\x1b[", "\x00"}, // cut off
		{"\x1bq", "\x1bq"},
		{"ü", "ü"},
		{"", ""},
	} {
		if got := plainKeys([]byte(c.read)); !slices.Equal(got, []byte(c.want)) {
			t.Errorf("%q gives %q, want %q", c.read, got, c.want)
		}
	}
}
