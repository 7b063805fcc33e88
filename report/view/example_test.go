package view_test

import (
	"fmt"
	"os"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/fitcorr"
	"asworn/report"
	"asworn/report/table"
	"asworn/report/view"
)

// oneSeating is a study with one fixture seating that sits 4 mm too far back
// and leaks on the right.
func oneSeating() report.Results {
	seen := [3]bool{true, true, false}
	off := fitcorr.Estimate{Value: [3]float64{-4, 0.3, 0}, Cov: [3][3]float64{{0.25, 0, 0}, {0, 0.25, 0}, {0, 0, 9}}, Seen: seen}
	left := fitcorr.EarVerdict{Outcome: fitcorr.Move, Off: off, DistanceMM: [3]float64{4, 3, 5}, Seal: fitcorr.SealAsWorn}
	right := left
	right.Seal, right.LeakExcessDB = fitcorr.SealLeaks, [3]float64{4.2, 3.1, 5.3}
	id := "recordings/fixture_model-a_001.wav"
	return report.Results{
		Title: "Example", Options: report.Options{Limits: study.Limits{MaxOffsetMM: 3, Confidence: 0.95}},
		Recordings: []report.Recording{{Seating: capture.Seating{Row: 2, File: id, Model: "Model A", Subject: capture.FixtureSubject, Point: capture.Blocked, Number: 1}, Usable: true}},
		Analysis: fitcorr.Analysis{Models: []fitcorr.ModelAnalysis{{Model: "Model A",
			Verdicts: []fitcorr.Verdict{{ID: id, Seating: 1, Outcome: fitcorr.Move, Decides: fitcorr.LeftCup, DistanceMM: left.DistanceMM, Ears: [2]fitcorr.EarVerdict{left, right}, Headset: left}}}}},
	}
}

func ExampleView_WriteSummary() {
	if err := view.New(oneSeating()).WriteSummary(os.Stdout, table.Options{}); err != nil {
		fmt.Println(err)
	}
	// Output:
	// Move or reseal these, then record again
	//   • Model A, seating 1: both cups: 4 mm toward the nose; reseal right (left seals as worn; right
	//     loses 4.2 dB more than worn).
}

func ExampleView_Tables() {
	if err := view.New(oneSeating()).Tables().Fixture.WriteCSV(os.Stdout); err != nil {
		fmt.Println(err)
	}
	// Output:
	// model,seating,verdict,decides,off_mm,off_mm_lower,off_mm_upper,readings_alone,move,seal
	// Model A,1,"move, reseal",left cup,4,3,5,,both cups: 4 mm toward the nose; reseal right,left seals as worn; right loses 4.2 dB more than worn
}
