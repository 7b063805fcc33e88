package wavfile_test

import (
	"fmt"
	"io"
	"log"
	"math"
	"os"
	"path/filepath"

	"asworn/capture/wavfile"
)

// A recording of any length is read in blocks.
func Example() {
	dir, err := os.MkdirTemp("", "wavfile")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "tone.wav")

	tone := make([]float64, 48000)
	for i := range tone {
		tone[i] = 0.5 * math.Sin(2*math.Pi*1000/48000*float64(i))
	}
	format := wavfile.Format{RateHz: 48000, Channels: 2, Bits: 24}
	if err := wavfile.Write(path, format, [][]float64{tone, make([]float64, len(tone))}); err != nil {
		log.Fatal(err)
	}

	r, err := wavfile.Open(path)
	if err != nil {
		log.Fatal(err)
	}
	defer r.Close()
	fmt.Println(r.Format(), r.Frames())

	block := [][]float64{make([]float64, 4096), make([]float64, 4096)}
	energy := make([]float64, 2)
	for {
		n, err := r.Read(block)
		if err == io.EOF {
			break
		}
		if err != nil {
			log.Fatal(err)
		}
		for c := range block {
			for _, v := range block[c][:n] {
				energy[c] += v * v
			}
		}
	}
	fmt.Printf("RMS %.4f and %.4f\n", math.Sqrt(energy[0]/48000), math.Sqrt(energy[1]/48000))
	// Output:
	// 48000 Hz, 2 channels, 24-bit 48000
	// RMS 0.3536 and 0.0000
}
