// Package panel says where people wear a model: it tells the shape of
// everybody's ears from the positions of their headphones, over all models
// together, and returns worn offsets and the worn mean with what they are
// uncertain by (docs/offsets.md). It must not know verdicts and corrections.
//
// # The model
//
// A mixed model (random effects, Laird & Ware, Biometrics 38, 1982) with one
// vector per listener:
//
//	z = H·u_s + J·w + e     one worn seating of listener s
//	u_s = θ + x_s           θ = L₀·η, x_s = L·ξ_s;  η, ξ_s ~ N(0, I)
//
// z is the level of both ears on the position bands, in dB, less the surface of
// the fixture at the point of linearisation. w is how far this seating lies from
// the listener's mean position, ~ N(0, D) with D = panelModel.within; J (rows ×
// 6, dB per mm and per degree) is the slope of the response; e is the scatter.
// θ is what all listeners share: the worn mean, and minus the fixture's own ear,
// which is one draw; x_s is what a listener has of their own. Λ = LL' is the
// covariance between people (covariances), Λ₀ = L₀L₀' that of θ.
//
// Single seatings are marginalised out (evidence), then listeners, θ is solved
// last (expect); covariances are learned by expectation–maximisation
// (Dempster, Laird & Rubin, JRSS B 39, 1977; estimate).
//
// What stands where in u_s, θ and x_s, and how ears differ: package effects.
package panel
