// Package effects holds the random effects of the panel's mixed model (Laird &
// Ware, Biometrics 38, 1982): where in a listener's vector what stands (Layout),
// how ears and positions differ from person to person (Covariances), its inverse, and
// the law of ears by which the covariances are learned from few listeners (Law).
// The model itself is described in package panel. It must not know recordings, nor
// how listeners are estimated.
//
// # Layout
//
// n = 34 position bands; a position is six numbers: left forward (mm), up (mm),
// rotation (degrees), then right (placing.HeadsetDim). One block per model,
// then one for the bare ears with each place of the loudspeaker:
//
//	block of a model      length            unit
//	  left ear            n                 dB
//	  right ear           n                 dB
//	  apparent position   6                 mm, mm, degrees, twice
//	  confounded part     6                 mm, mm, degrees, twice
//	  landmark            2, with readings  mm
//	bare ears             2n                dB, for each place of the loudspeaker
//
// An ear's entries are the difference of the listener's ear from the
// fixture's. The confounded part is that of the apparent position which is a
// difference of ears that looks exactly like a movement: true mean position =
// apparent − confounded. Data speak of one block each, so a listener's
// precision is block-diagonal.
//
// # Covariance
//
// A listener's vector is normal with mean 0 and covariance Λ (Covariances, Prior).
// Left and right ears are alike in law, so that (left + right)/√2 and (left − right)/√2
// are independent of each other and Λ of the ears is two matrices of width·n. Each has few
// numbers, learned from second moments of few listeners with priors (Law.Structured,
// priors.go): a covariance over frequency, shrunk, and correlations per band between
// models, between places of the loudspeaker, and between models and bare ears.
package effects
