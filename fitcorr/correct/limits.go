package correct

import (
	"fmt"
	"strings"

	"asworn/capture/band"
	"asworn/fitcorr/survey"
)

// Limits of a correction (docs/correction.md).
const (
	correctionDepthDB = 10.0 // no change is deeper: a lost seal is withheld, a notch is filled no further
	// leakTopHz is where the leak's part of a correction ends; the survey's
	// part begins at positionLowHz and ends at positionHighHz.
	leakTopHz = 890.0
	// The correction must bring the curve nearer with probability nearerWhole,
	// given all that is uncertain about offset, worn mean, survey and leak and
	// the scatter of the curve itself; of a third octave it must be likelier than not.
	nearerWhole = 0.95
	nearerThird = 0.5
	// leastShare is the least share of the predicted change worth making: half
	// of it takes away three quarters of the squared error that all would.
	leastShare = 0.5
	// A change below trifleDB is left alone and needs no reason.
	trifleDB = 0.3
	// reachBeyond is how far outside the survey an offset may lie, over the survey's reach.
	reachBeyond = 0.25
)

// correctionDraws is the number of draws by which uncertainty is propagated
// through the survey, which bends.
const correctionDraws = 200

// correctionPart is a range of third octaves that is judged as a whole.
type correctionPart struct {
	name     string
	from, to int // third octaves
	position bool
}

func correctionParts() []correctionPart {
	parts := []correctionPart{{name: "low end (seal)"}, {name: "above (position)", position: true}}
	thirds := band.AllThirds()
	for t, b := range thirds {
		if b.Lower < survey.LowHz {
			parts[0].to = t + 1
		}
		if b.Upper < survey.HighHz {
			parts[1].to = t + 1
		}
	}
	parts[1].from = parts[0].to
	return parts
}

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
