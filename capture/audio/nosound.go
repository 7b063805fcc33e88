//go:build !(soundcard && cgo)

package audio

// Open returns the sound system of this machine. This build has none.
func Open() (System, error) { return nil, ErrNoSoundCard }
