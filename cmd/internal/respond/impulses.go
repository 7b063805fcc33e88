package respond

import (
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"

	"asworn/capture"
	"asworn/capture/workers"
	"asworn/cmd/internal/cache"
)

// Impulses are the impulse responses of a recording's ears, empty where it has none.
// They are six times as large as all else that is kept of it, and only those who
// export them ask: they are worked out and kept when they are asked for first.
// Single precision holds more than any converter.
type Impulses [2][]float32

// GobEncode implements gob.GobEncoder: of each ear the number of values, then these as
// they lie in memory. Value by value gob takes twice as long for the whole file.
func (m Impulses) GobEncode() ([]byte, error) {
	b := make([]byte, 0, 4*(len(m)+len(m[0])+len(m[1])))
	for _, x := range m {
		b = binary.LittleEndian.AppendUint32(b, uint32(len(x)))
		for _, v := range x {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(v))
		}
	}
	return b, nil
}

// GobDecode implements gob.GobDecoder.
func (m *Impulses) GobDecode(b []byte) error {
	for e := range m {
		if len(b) < 4 || uint64(len(b)-4) < 4*uint64(binary.LittleEndian.Uint32(b)) {
			return io.ErrUnexpectedEOF
		}
		m[e] = make([]float32, binary.LittleEndian.Uint32(b))
		b = b[4:]
		for i := range m[e] {
			m[e][i], b = math.Float32frombits(binary.LittleEndian.Uint32(b)), b[4:]
		}
	}
	return nil
}

// ImpulsesKey is that of the impulse responses of the recording whose response has key k.
func ImpulsesKey(k cache.Key) (cache.Key, error) { return cache.KeyOf("impulses", k) }

// KeepImpulses sees to it that the store holds the impulse responses of the rows, whose
// responses All gave.
func (r *Responder) KeepImpulses(ctx context.Context, rows []capture.Seating, responses []Response) error {
	return workers.Each(ctx, len(rows), r.Jobs, r.Progress, func(context.Context) func(int) error {
		var own *capture.Processor
		return func(i int) error {
			key, err := ImpulsesKey(responses[i].Key)
			if err != nil || r.Store.Get(key, new(Impulses)) {
				return err
			}
			if err := r.Ready(&own); err != nil {
				return err
			}
			rec, err := processRow(&own, r.Dir, rows[i])
			if err != nil {
				return fmt.Errorf("%s (row %d): %w", rows[i].File, rows[i].Row, err)
			}
			return r.Store.Put(key, impulsesOf(rec))
		}
	})
}

// ImpulsesOf reads what KeepImpulses kept of the recording whose response has key k, and
// reports whether it is there.
func (r *Responder) ImpulsesOf(k cache.Key) (out Impulses, ok bool) {
	key, err := ImpulsesKey(k)
	return out, err == nil && r.Store.Get(key, &out)
}

func impulsesOf(rec capture.Recording) (out Impulses) {
	for e, ear := range rec.Ears {
		out[e] = make([]float32, len(ear.Impulse))
		for i, v := range ear.Impulse {
			out[e][i] = float32(v)
		}
	}
	return out
}

// dropImpulses takes the impulse responses off a recording.
func dropImpulses(rec *capture.Recording) {
	for e := range rec.Ears {
		rec.Ears[e].Impulse = nil
	}
}
