// Package seat holds what every room of fitcorr speaks of: a seating with the
// levels of its two ears, the axes along which a headphone moves, an estimate
// with its covariance, and the options of a study. It must not know how
// anything is estimated.
package seat
