package demo

import (
	"sort"

	"asworn/capture"
	"asworn/cmd/internal/simulate"
)

// Truth is what truth.json of a demo study holds.
type Truth struct {
	Note     string         `json:"note"`
	Seed     uint64         `json:"seed"`
	Models   []ModelTruth   `json:"models"`
	Seatings []SeatingTruth `json:"seatings"`
}

// ModelTruth is the truth about one headphone model.
type ModelTruth struct {
	Model string             `json:"model"`
	Open  bool               `json:"open_back"`
	Worn  simulate.WornTruth `json:"worn"`
	// Mark is where the survey at the drum had the mark, in the coordinates of the
	// survey at the blocked entrance: forward mm, up mm, rotation degrees.
	Mark [3]float64 `json:"mark_at_the_drum"`
}

// SeatingTruth is the truth about one row of the seating sheet.
type SeatingTruth struct {
	File    string        `json:"file"`
	Model   string        `json:"model,omitempty"`
	Subject string        `json:"subject"`
	Point   capture.Point `json:"point"`
	Seating int           `json:"seating"`
	Survey  bool          `json:"survey"`
	// Ears and Headset are displacements from the fixture's marked position, as the
	// survey at the blocked entrance had it, in head axes: forward mm, up mm, rotation degrees. Headset is the mean of both ears.
	Ears    [2][3]float64    `json:"ears"`
	Headset [3]float64       `json:"headset"`
	Seal    [2]simulate.Seal `json:"seal"`
	// ClockPPM is how fast the recorder's clock ran against the player's.
	ClockPPM float64  `json:"clock_ppm"`
	Faults   []string `json:"faults,omitempty"` // sorted; the Fault constants
}

func truthOf(s *simulate.Study, seed uint64, faults []map[string]bool) Truth {
	t := Truth{
		Note: "The truth of an invented study. asworn never reads this file; docs/developing/simulation.md explains it.",
		Seed: seed,
	}
	for m, name := range s.Models {
		t.Models = append(t.Models, ModelTruth{Model: name, Open: s.Open[m], Worn: s.Worn[m], Mark: s.Mark[m]})
	}
	for i, r := range s.Rows {
		st := SeatingTruth{
			File: r.File, Model: r.Model, Subject: r.Subject, Point: r.Point, Seating: r.Number,
			Survey: r.Displaced(), Headset: r.Headset(), ClockPPM: clockPPM(faults[i], seed, i),
		}
		for e, p := range r.True {
			st.Ears[e] = p.Vector()
			if r.ModelIndex >= 0 {
				st.Seal[e] = s.World.Seal(r.ModelIndex, r.SubjectIndex, capture.Ear(e), p)
			}
		}
		for f := range faults[i] {
			st.Faults = append(st.Faults, f)
		}
		sort.Strings(st.Faults)
		t.Seatings = append(t.Seatings, st)
	}
	return t
}
