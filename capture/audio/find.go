package audio

import (
	"fmt"
	"strings"
)

// Find returns the device with an ID or a name or, where there is none, the only one
// whose name holds the text, capitals aside. An empty text finds the default. Without a
// default it is the first. The error lists the devices where none fits, or several.
func Find(devices []Device, text string) (Device, error) {
	if len(devices) == 0 {
		return Device{}, fmt.Errorf("no device: plug it in, or start the sound server")
	}
	var hits []Device
	for _, d := range devices {
		switch {
		case text == "" && d.Default, text != "" && (d.ID == text || d.Name == text):
			return d, nil
		case text != "" && strings.Contains(strings.ToLower(d.Name), strings.ToLower(text)):
			hits = append(hits, d)
		}
	}
	switch {
	case text == "":
		return devices[0], nil
	case len(hits) == 1:
		return hits[0], nil
	}
	var names []string
	for _, d := range devices {
		names = append(names, fmt.Sprintf("%q", d.Name))
	}
	if len(hits) > 1 {
		return Device{}, fmt.Errorf("%q is in the names of %d devices; there are %s", text, len(hits), strings.Join(names, ", "))
	}
	return Device{}, fmt.Errorf("no device is called %q; there are %s", text, strings.Join(names, ", "))
}
