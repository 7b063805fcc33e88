package fitcorr

import (
	"asworn/fitcorr/seal"
	"asworn/fitcorr/standout"
)

// Where no seal was estimated, a loss of more than leakDB below leakTopHz is
// called a leak (common practice, no source: nothing else in a closed cup takes
// as much away there).
const (
	leakTopHz = 200
	leakDB    = 3
)

// Leaking reports whether a stand-out is a leak: less level than the rest of its
// group at the low end, in a cup that leaks or by more than leakDB.
func (a Analysis) Leaking(o StandOut) bool {
	if o.Band != standout.Low || o.WorstDB >= 0 || o.WorstHz > leakTopHz {
		return false
	}
	for _, m := range a.Models {
		for _, off := range m.Offsets {
			if off.ID == o.ID && off.Leak[o.Ear].Class == seal.Leaking {
				return true
			}
		}
	}
	return o.WorstDB < -leakDB
}
