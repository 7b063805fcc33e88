// Package panel says where people wear a model: it tells the shape of
// everybody's ears from the positions of their headphones, over all models
// together, and returns worn offsets and the worn mean with what they are
// uncertain by (docs/offsets.md). It must not know verdicts and corrections.
package panel
