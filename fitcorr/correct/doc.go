// Package correct moves curves of fixture seatings to the worn mean where held-out
// data show that it brings them nearer, and makes the final curve of a model
// with its uncertainty budget (docs/correction.md). It changes levels only,
// never the difference between ears.
package correct
