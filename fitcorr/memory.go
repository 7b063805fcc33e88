package fitcorr

import "encoding/json"

// Memory keeps what the parts of an analysis come to, so that the next analysis of
// nearly the same seatings estimates only what has changed. Values go through gob.
type Memory interface {
	// Recall sets what to points at to what was kept of that name and of equal parts, to
	// the last bit, and reports whether there was any. keep keeps it otherwise. of are
	// the parts, in any form that gob takes; to is a pointer.
	Recall(name string, of []any, to any) (keep func(value any), found bool)
}

// recall is what work comes to, from the memory if that knows; m may be nil. of must
// hold all that work depends on. An error is not kept.
func recall[T any](m Memory, name string, of []any, work func() (T, error)) (T, error) {
	if m == nil {
		return work()
	}
	var v T
	keep, found := m.Recall(name, of, &v)
	if found {
		return v, nil
	}
	v, err := work()
	if err == nil {
		keep(v)
	}
	return v, err
}

// asJSON goes through gob as JSON, in which a list without entries and no list stay apart.
type asJSON[T any] struct{ of T }

// GobEncode implements gob.GobEncoder.
func (a asJSON[T]) GobEncode() ([]byte, error) { return json.Marshal(a.of) }

// GobDecode implements gob.GobDecoder.
func (a *asJSON[T]) GobDecode(b []byte) error { return json.Unmarshal(b, &a.of) }
