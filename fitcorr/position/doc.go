// Package position says where a headphone sits on the fixture, from the level at
// either point held against the response surface of package survey and
// from a reading on the head, and what about a model's levels no position
// explains. It must not know how people differ; package panel does.
package position
