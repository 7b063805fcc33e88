// Package placing is the posterior of where one seating sits, given a surveyed model and
// a prior: levels held against the response surface, a reading on the head, and how
// badly the best place still fits. It does not know how the survey's scatter was
// learned, nor how people differ.
//
// # Words
//
// A displacement is set on purpose and stated in the sheet. A headset position is six
// numbers, the left cup's forward (mm), up (mm) and rotation (degrees), then the right
// cup's, as a displacement from the marked position. A mode is a position at which the
// density of one seating has a local maximum, a normal what is made of it, a posterior
// the mixture of them. A place is one of several positions that are told apart and
// reported.
//
// # Model
//
// For one ear let y (n position bands, dB) be the level of a seating less the level at the
// mark, f(d) the surface of the survey at the cup's displacement d. Then
//
//	y = f(d) + g·1 + t·u + ε + δ + ν,   u = (300 Hz/f)²,
//
// with a gain g and what a leak leaves above its own range t (prior.go), the scatter ε of
// a seating about the surface (Ear.Scatter), the error δ of the surface, which is the
// scatter of a survey row (Ear.Total) times the surface's variance in its units, and the
// noise ν of the measurement. All are normal and independent; V (n × n, dB²) is the sum
// of their covariances (Ear.Covariance). With r = y − f(d) of each ear the log likelihood
// of a headset position is
//
//	−½ Σ (r'V⁻¹r + log|V|),
//
// over the ears that were recorded. Its maxima with the prior are climbed to from the
// minima of a coarse grid (Placer.Modes), and each is made a normal whose weight is its
// integral (Laplace's method: Tierney & Kadane, JASA 81(393), 1986, quoted from memory).
// A survey's own held-out rows say by how much the sound claims to know too much (Temper).
// A reading with a ruler and how the cups of a headset usually lie apart are multiplied in
// (Posterior.Read, Posterior.Apart). What all this rests on is in docs/offsets.md.
package placing
