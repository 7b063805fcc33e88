package tabulate

import (
	"strconv"

	"asworn/fitcorr"
	"asworn/fitcorr/between"
	"asworn/report"
	"asworn/report/table"
	"asworn/report/text"
)

var fixturesColumn = table.Column{Head: "Fixtures", Key: "fixtures", Repeat: true}

// Fixtures makes the tables of a study with several fixtures: where each must hold a
// model, how they differ per model, how each differs from people, and both per third
// octave.
func Fixtures(r report.Fixtures) (brief, thirds []table.Table) {
	return filled(fixturePlaces(r), fixtureDifferences(r), fixturePeople(r)), filled(differenceThirds(r), peopleThirds(r))
}

var fixtureColumn = table.Column{Head: "Fixture", Key: "fixture", Repeat: true}

func fixturePlaces(r report.Fixtures) table.Table {
	t := table.Table{Name: "fixtures-places", Title: "Where to put the headphone on each fixture",
		Note: "Where it sits as the panel wears it: the sample mean of the worn seatings, from the marked position of that fixture, with the " +
			text.Percent(r.Confidence) + " interval. Marks of two fixtures have nothing in common: compare a row with its own fixture alone.",
		Columns: []table.Column{modelColumn, fixtureColumn, {Head: "Forward\nmm", Key: "forward_mm", Kind: table.Interval},
			{Head: "Up\nmm", Key: "up_mm", Kind: table.Interval}, {Head: "Rotation\ndeg", Key: "rotation_deg", Kind: table.Interval}}}
	for _, m := range r.Models {
		for _, p := range m.Places {
			row := []table.Cell{table.Word(m.Model), table.Word(p.Fixture)}
			for _, a := range fitcorr.Axes {
				row = append(row, axisCell(p.Mean, a, r.Confidence))
			}
			t.Add(row...)
		}
	}
	return t
}

func fixtureDifferences(r report.Fixtures) table.Table {
	t := table.Table{Name: "fixtures", Title: "How far a model's curve depends on the fixture",
		Note: "First minus second, RMS in dB over the third octaves from 50 Hz to 10 kHz. Measured: means of the seatings as they were recorded. " +
			"Final: the final curves, position and seal taken out. Compensated: final, each less its own reference. " +
			"Explained: how much of the measured mean square position and seal explain. Apart: third octaves that differ by more than chance, at " +
			text.Percent(r.Confidence) + " for all together. Alike: declared to have the same coupler; such fixtures should agree (common practice, no source). " +
			"When they do not, position is the first suspect: Explained says how much of it position and seal are; the rest is in ears, couplers or seatings that could not be corrected.",
		Columns: []table.Column{modelColumn, pointColumn, earColumn, {Head: "What it says", Key: "says"}, fixturesColumn,
			{Head: "Measured\ndB", Key: "measured_rms_db", Kind: table.Number}, {Head: "Final\ndB", Key: "final_rms_db", Kind: table.Number},
			{Head: "Compensated\ndB", Key: "compensated_rms_db", Kind: table.Number}, {Head: "Explained\n%", Key: "explained_percent", Kind: table.Number},
			{Head: "Apart\nof", Key: "apart"}}}
	for _, m := range r.Models {
		for _, d := range m.Differences {
			final, compensated, explained, apart := table.None(), table.None(), table.None(), table.None()
			if d.FinalDB != nil {
				final, explained = table.Value(d.FinalRMS, 1), table.Value(100*d.Explained, 0)
				apart = table.Word(strconv.Itoa(d.Apart) + " of " + strconv.Itoa(d.Compared))
			}
			if d.CompensatedDB != nil {
				compensated = table.Value(d.CompensatedRMS, 1)
			}
			t.Add(table.Word(m.Model), pointCell(d.Point), table.Word(d.Ear.String()), fixtureWords(d), table.Word(pair(d)),
				table.Value(d.MeasuredRMS, 1), final, compensated, explained, apart)
		}
	}
	return t
}

func pair(d between.Difference) string { return d.First + " − " + d.Second }

// fixtureWords says what a difference means. Position is the first suspect when
// fixtures differ that are declared to be alike.
func fixtureWords(d between.Difference) table.Cell {
	switch {
	case d.FinalDB == nil:
		return table.Toned("no seating to use: measured only", table.Unsure)
	case d.Compared == 0:
		return table.Toned("nothing to compare", table.Unsure)
	case d.Apart == 0:
		return table.Toned("no difference shown", table.Good)
	case d.Alike:
		return table.Toned("apart though alike: suspect position first", table.Act)
	}
	return table.Toned("apart, as different ears are", table.Plain)
}

func fixturePeople(r report.Fixtures) table.Table {
	t := table.Table{Name: "fixtures-people", Title: "What is left between each fixture and people",
		Note: "Fixture minus the worn mean at the blocked ear-canal entrance, RMS in dB over the third octaves from 50 Hz to 10 kHz: " +
			"as measured, and once position and seal are taken out.",
		Columns: []table.Column{modelColumn, fixtureColumn, earColumn,
			{Head: "Measured\ndB", Key: "bias_rms_db", Kind: table.Number}, {Head: "Left\ndB", Key: "left_rms_db", Kind: table.Number}}}
	for _, m := range r.Models {
		for _, p := range m.People {
			left := table.None()
			if p.LeftDB != nil {
				left = table.Value(p.LeftRMS, 1)
			}
			t.Add(table.Word(m.Model), table.Word(p.Fixture), table.Word(p.Ear.String()), table.Value(p.BiasRMS, 1), left)
		}
	}
	return t
}

var bandColumnHz = table.Column{Head: "Band\nHz", Key: "band_hz", Kind: table.Number, Repeat: true}

func differenceThirds(r report.Fixtures) table.Table {
	t := table.Table{Name: "fixtures-thirds", Title: "Fixtures against each other per third octave",
		Note: "First minus second in dB; final, and final less each its own reference, with the " + text.Percent(r.Confidence) +
			" interval of the two uncertainty budgets, to which the references add nothing.",
		Columns: []table.Column{modelColumn, pointColumn, earColumn, fixturesColumn, bandColumnHz,
			{Head: "Measured\ndB", Key: "measured_db", Kind: table.Number}, {Head: "Final\ndB", Key: "final_db", Kind: table.Interval},
			{Head: "Compensated\ndB", Key: "compensated_db", Kind: table.Interval}}}
	for _, m := range r.Models {
		for _, d := range m.Differences {
			for i, hz := range r.ThirdsHz {
				if !d.Valid[i] {
					continue
				}
				final, compensated := table.None(), table.None()
				if d.FinalDB != nil {
					final = table.PlusMinus(d.FinalDB[i], d.HalfDB[i])
				}
				if d.CompensatedDB != nil {
					compensated = table.PlusMinus(d.CompensatedDB[i], d.HalfDB[i])
				}
				t.Add(table.Word(m.Model), pointCell(d.Point), table.Word(d.Ear.String()), table.Word(pair(d)), bandCell(hz),
					table.Value(d.MeasuredDB[i], 2), final, compensated)
			}
		}
	}
	return t
}

func peopleThirds(r report.Fixtures) table.Table {
	t := table.Table{Name: "fixtures-people-thirds", Title: "What is left between each fixture and people per third octave",
		Note: "Fixture minus the worn mean at the blocked ear-canal entrance in dB, position and seal taken out, with the " + text.Percent(r.Confidence) + " interval.",
		Columns: []table.Column{modelColumn, fixtureColumn, earColumn, bandColumnHz,
			{Head: "Left\ndB", Key: "left_db", Kind: table.Interval}}}
	for _, m := range r.Models {
		for _, p := range m.People {
			for i, hz := range r.ThirdsHz {
				if p.Valid[i] && p.LeftDB != nil {
					t.Add(table.Word(m.Model), table.Word(p.Fixture), table.Word(p.Ear.String()), bandCell(hz), table.PlusMinus(p.LeftDB[i], p.HalfDB[i]))
				}
			}
		}
	}
	return t
}

func bandCell(hz float64) table.Cell { return table.Cell{Text: text.Hertz(hz), Num: []float64{hz}} }
