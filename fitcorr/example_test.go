package fitcorr_test

import (
	"context"
	"fmt"
	"log"

	"asworn/fitcorr"
	"asworn/fitcorr/internal/toy"
)

// study invents the seatings of two models: a position survey and ordinary
// seatings on the fixture, four listeners with two seatings each, bare ears. A
// study of one's own makes them from recordings (package capture).
func study() []fitcorr.Seating {
	seatings, _ := toy.Small(5).Study()
	return seatings
}

// What a study says about one model: where people wear it, and whether each
// seating on the fixture sits there.
func ExampleAnalyse() {
	analysis, _, err := fitcorr.Analyse(context.Background(), study(), fitcorr.DefaultOptions())
	if err != nil {
		log.Fatal(err)
	}
	m := analysis.Models[0]
	fmt.Printf("%s, worn by %d listeners, %d seatings\n", m.Model, m.Worn.Listeners, m.Worn.Seatings)
	fmt.Printf("separated by %q\n", m.Worn.Separation)
	fmt.Printf("%d offsets, %d verdicts\n", len(m.Offsets), len(m.Verdicts))
	// Output:
	// Model A, worn by 4 listeners, 8 seatings
	// separated by ["bare-ear reference" "shared panel" "prior"]
	// 29 offsets, 6 verdicts
}

// A new seating on the fixture against a study that was analysed before.
func ExampleFrozen_Check() {
	seatings := study()
	_, frozen, err := fitcorr.Analyse(context.Background(), seatings, fitcorr.DefaultOptions())
	if err != nil {
		log.Fatal(err)
	}
	for _, s := range seatings {
		if s.ID != "Model A/fixture1" {
			continue
		}
		offset, verdict, err := frozen.Check(s)
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("%.0f mm forward, %.0f mm up of the mark: %s\n",
			offset.Headset.Value[fitcorr.Forward], offset.Headset.Value[fitcorr.Up], verdict.Outcome)
	}
	// Output:
	// 6 mm forward, 1 mm up of the mark: undetermined
}
