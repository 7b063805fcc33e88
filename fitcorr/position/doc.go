// Package position makes a Model of a survey: the scatter about it, what its own
// held-out rows say of its errors, the mark that ties two surveys, and with it where
// each of the fixture's own seatings sits (package placing, whose words and model it
// keeps). It must not know how people differ; package panel does.
//
// The steps, in the order in which Learn and Learned.Place take them:
//
//	surface     one per ear (package survey); rows that fit no surface are named (slipped)
//	scatter     of a seating about it, apart from the ruler's error (fixtureScatter)
//	temper      by how much the sound claims too much: each displacement is recovered by
//	            a survey without it (heldOut, calibrate)
//	placing     of every seating on the fixture by its levels (PlaceFixture)
//	cups        how far they usually lie apart, from all seatings (CupsApart)
//	readings    what they show of the mark and of one reading (ReadMarks)
//	mark        of the drum's survey against the blocked one (MarkBetween, BySound)
//
// Positions are mm, mm, degrees from the marked position, levels dB; n is the number of
// position bands, survey.Bands.N. The method is described in docs/offsets.md and tested in
// docs/developing/offsets.md.
package position
