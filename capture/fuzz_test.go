package capture_test

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"math"
	"testing"

	"asworn/capture"
	"asworn/capture/wavfile"
)

// FuzzRecording feeds any bytes as a recording: no panic, and of what can be
// read a response whose numbers are all finite.
func FuzzRecording(f *testing.F) {
	p, err := capture.NewProcessor(plantedSetup(1))
	if err != nil {
		f.Fatal(err)
	}
	good := drawGood(1, 1).make()
	f.Add(recorded(good))
	for _, v := range []float64{math.NaN(), math.Inf(-1), 1e30, 1e-40} {
		good[0][5000], good[1][9000] = v, -v
		f.Add(recorded(good))
	}
	f.Add(recorded([][]float64{nil, nil}))
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := wavfile.NewReader(bytes.NewReader(b), int64(len(b)), "x")
		if err != nil {
			return
		}
		if f := r.Format(); f.RateHz != 16000 || r.Frames() > 100000 {
			return // refused, or the same at more expense
		}
		rec, err := p.Process(r)
		if err != nil {
			return
		}
		if _, err := json.Marshal(rec); err != nil { // which takes finite numbers alone
			t.Fatalf("%v: %+v", err, rec.Quality)
		}
		for _, ear := range rec.Ears {
			for _, v := range ear.Impulse {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("an impulse response that is not finite: %+v", rec.Quality)
				}
			}
		}
	})
}

// recorded is a WAV file of 32-bit floating point numbers.
func recorded(x [][]float64) []byte {
	var data []byte
	for i := range x[0] {
		for _, c := range x {
			data = binary.LittleEndian.AppendUint32(data, math.Float32bits(float32(c[i])))
		}
	}
	le := binary.LittleEndian
	b := le.AppendUint32([]byte("RIFF"), uint32(36+len(data)))
	b = le.AppendUint32(append(b, "WAVEfmt "...), 16)
	b = le.AppendUint16(le.AppendUint16(b, 3), uint16(len(x)))
	b = le.AppendUint32(le.AppendUint32(b, 16000), uint32(16000*4*len(x)))
	b = le.AppendUint16(le.AppendUint16(b, uint16(4*len(x))), 32)
	return append(le.AppendUint32(append(b, "data"...), uint32(len(data))), data...)
}
