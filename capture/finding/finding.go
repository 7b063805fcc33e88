// Package finding holds what can be found about a recording: what it is called,
// how bad it is, and what the operator can do. It does not know how anything is
// found.
package finding

import "slices"

// Severity orders findings.
type Severity int

// A Note informs; a Warning leaves the recording usable with care; a Refusal
// keeps the recording out of every curve.
const (
	Note Severity = iota
	Warning
	Refusal
)

// String returns "note", "warning" or "refused".
func (s Severity) String() string { return [...]string{"note", "warning", "rejected"}[s] }

// Finding is one thing found about a recording.
type Finding struct {
	Code     Code     `json:"code"`
	Severity Severity `json:"severity"`
	Channel  string   `json:"channel,omitempty"` // "left", "right", "loopback" or empty for the whole file
	Value    float64  `json:"value"`             // the number behind it, in Unit; never NaN or Inf
	Unit     string   `json:"unit,omitempty"`
	Message  string   `json:"message"` // what was found
	Mend     string   `json:"remedy"`  // what the operator can do
}

// Quality is all that was found about a recording, worst first.
type Quality struct {
	Findings []Finding `json:"findings,omitempty"`
}

// Usable reports whether nothing refuses the recording.
func (q Quality) Usable() bool {
	for _, f := range q.Findings {
		if f.Severity == Refusal {
			return false
		}
	}
	return true
}

// Has reports whether a code is among the findings. It is false for nil.
func Has(found []Finding, code Code) bool {
	return slices.ContainsFunc(found, func(f Finding) bool { return f.Code == code })
}
