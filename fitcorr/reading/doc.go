// Package reading turns readings of where a headphone sits, taken with a ruler by
// one or several people, into one estimate per placement. It must not know sound.
package reading
