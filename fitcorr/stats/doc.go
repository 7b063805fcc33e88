// Package stats holds the statistics and linear algebra that the rooms of
// fitcorr share and gonum has not: quantiles, degrees of freedom, summaries of
// samples and roots of covariances. It must not know what a
// headphone is.
package stats
