// Package seal estimates the leak of every seating of a model and tells whether
// the model has a seal at all. The circuit and its fit are in package leak. It
// must not know positions: it looks at the low end, where position hardly
// matters.
package seal
