// Package survey holds the position survey of a model on the fixture: a
// response surface over displacement, a Gaussian process per kept band whose
// kernel is chosen by held-out prediction, and the bands on which positions are
// told. It must not know where a seating sits, nor anything of listeners.
//
// # Model
//
// Row i of the survey was recorded at the displacement x_i = (forward, up, rotation) in mm,
// mm, degrees. Its level in kept band b, dB, is
//
//	y_ib = m_b + f_b(x_i) + ε_ib,   f_b ~ GP(0, σ_b²·k),   ε_ib ~ N(0, σ_b²·N_ii),
//
// with the mean m_b over rows, the scatter σ_b of one row (Ear.Scatter, dB) and N_ii = 1,
// more for a row that slipped. The kernel k, in units of σ_b² and so without unit, is common
// to the bands of a zone (Kernel, Zone). With K_ij = k(x_i, x_j) all that is asked of the
// surface comes from A = (K+N)⁻¹, rows × rows (Rasmussen & Williams, Gaussian Processes for
// Machine Learning, 2006, eq. 2.25, 2.26 and 5.10 to 5.12):
//
//	level at d         m_b + k(d)'A(y_b − m_b)            k(d)_i = k(d, x_i)
//	its variance       σ_b²·(k(d,d) − k(d)'A k(d))
//	left-out residual  (A_GG)⁻¹(A(y_b − m_b))_G           G: the rows of one displacement
//	scatter            σ_b² = (y_b − m_b)'A N A(y_b − m_b) / tr(A N)
//
// Kept bands are those of package band; position bands join them by fours (Bands).
package survey
