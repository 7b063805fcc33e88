package console

import (
	"context"
	"fmt"
	"os/exec"
	"runtime"
)

// Browse asks the desktop to show a file or address.
func Browse(ctx context.Context, target string) error {
	name, args := "xdg-open", []string{target}
	switch runtime.GOOS {
	case "darwin":
		name = "open"
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", target}
	}
	if out, err := exec.CommandContext(ctx, name, args...).CombinedOutput(); err != nil {
		return fmt.Errorf("the browser could not be started (%w); open %s by hand %s", err, target, out)
	}
	return nil
}
