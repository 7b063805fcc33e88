// Package verdict holds a fixture seating against the worn mean of its model:
// position by two one-sided tests, seal by the loss at 50 Hz. It must not know
// how either was estimated.
package verdict
