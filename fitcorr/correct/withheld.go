package correct

import (
	"fmt"
	"strings"
)

// withheld gathers why third octaves were not corrected, part by part.
type withheld struct {
	parts []withheldPart
}

type withheldPart struct {
	correctionPart
	reasons []string
	counts  []int
}

func (w *withheld) begin(p correctionPart) {
	w.parts = append(w.parts, withheldPart{correctionPart: p})
}

func (w *withheld) add(reason string) {
	p := &w.parts[len(w.parts)-1]
	for i, r := range p.reasons {
		if r == reason {
			p.counts[i]++
			return
		}
	}
	p.reasons, p.counts = append(p.reasons, reason), append(p.counts, 1)
}

// String names, per part, the reasons and in how many third octaves each held.
func (w *withheld) String() string {
	var lines []string
	for _, p := range w.parts {
		for i, r := range p.reasons {
			lines = append(lines, fmt.Sprintf("%s, %d of %d third octaves: %s", p.name, p.counts[i], p.to-p.from, r))
		}
	}
	return strings.Join(lines, "; ")
}
