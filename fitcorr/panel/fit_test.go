package panel

import (
	"strings"
	"testing"
)

// A fit that ended before it had settled says so.
func TestUnsettled(t *testing.T) {
	if got := (&panelFit{rounds: 9, change: convergedDeviance / 2}).unsettled(); got != nil {
		t.Errorf("settled, said %q", got)
	}
	got := (&panelFit{rounds: 30, change: 0.02}).unsettled()
	if len(got) != 1 || !strings.Contains(got[0], "30 rounds") || !strings.Contains(got[0], "0.02 per level") {
		t.Errorf("unsettled, said %q", got)
	}
}
