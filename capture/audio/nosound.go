//go:build !(soundcard && cgo)

package audio

// Open returns the sound system of this machine. This build has none: the error is
// ErrNoSoundCard.
func Open() (System, error) { return nil, ErrNoSoundCard }
