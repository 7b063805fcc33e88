package verdict

import "strings"

// Remedy is one thing that would settle an undetermined verdict. Results hold it as
// its String.
type Remedy struct {
	Do string // what to do, in words
	// Gain is what is to be expected then, in words; "" where that cannot be told. It
	// differs from seating to seating where Do is the same.
	Gain string
}

// String is Do, with Gain in brackets after it.
func (r Remedy) String() string {
	if r.Gain == "" {
		return r.Do
	}
	return r.Do + " (" + r.Gain + ")"
}

// MarshalText writes a remedy as String does.
func (r Remedy) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

// UnmarshalText reads what MarshalText writes.
func (r *Remedy) UnmarshalText(b []byte) error {
	*r = Remedy{Do: string(b)}
	if do, gain, ok := strings.Cut(strings.TrimSuffix(r.Do, ")"), " ("); ok && strings.HasSuffix(r.Do, ")") {
		*r = Remedy{do, gain}
	}
	return nil
}
