package seat

// Axis numbers a coordinate of an offset: forward (mm), up (mm), rotation (degrees).
type Axis int

// The three axes in the order of every [3]T; positive is toward the nose,
// toward the crown, headband's top toward the nose.
const (
	Forward Axis = iota
	Up
	Rotation
)

// Axes lists the axes in array order.
var Axes = [3]Axis{Forward, Up, Rotation}
