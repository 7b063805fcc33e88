// Package correct moves curves of fixture seatings to the worn mean where held-out
// data show that it brings them nearer, and makes the final curve of a model
// with its uncertainty budget (docs/correction.md). It changes levels only,
// never the difference between ears. It must not know how offsets, leaks and the worn mean
// were estimated.
//
// # Correction
//
// For one ear of one ordinary fixture seating at the position d, with the worn mean at w,
// the level f of the survey (package survey) and the loss to the leak L (package seal), the
// change to the worn mean is, per kept band and in dB,
//
//	Δ = f(w) − f(d) + L − L̄,
//
// L̄ being the panel's mean loss. Where positions were read off the heads, f is conditioned
// on the fixture's own seatings at their estimated positions as further observations
// (condition). Uncertainty is propagated by correctionDraws draws of w, d, f, L and the
// scatter of the curve itself (prediction), since f bends (JCGM 101:2008). Of Δ the largest
// share is made that brings the curve nearer with probability nearerWhole, faded at its
// ends (faded), and only where displacements, seatings and listeners that were held out
// came nearer too (check.go, heldout.go).
//
// In this package a share is always that part of Δ, 0 to 1, that is made. Positions are mm,
// mm, degrees from the marked position; slices of levels are over kept bands, band.Count, and
// those that judge over third octaves, band.Thirds.
package correct
