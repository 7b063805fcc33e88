package leak

import (
	"math/rand/v2"
	"testing"
)

func BenchmarkFit60(b *testing.B) {
	f := gridHz()
	gen := generator{rng: rand.New(rand.NewPCG(1, 1)), position: 0.4, noise: 0.3, scatter: 0.03, worst: 0.75}
	curves, _ := gen.study(f, 60)
	for b.Loop() {
		if _, err := Fit(f, curves); err != nil {
			b.Fatal(err)
		}
	}
}
