package leak

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// TestAmong holds the weight and the level of a curve against the others, found by one inverse for
// all curves, against the equations without that curve. One point of one curve does not count.
func TestAmong(t *testing.T) {
	f := gridHz()
	gen := generator{rng: rand.New(rand.NewPCG(3, 1)), position: 0.4, noise: 0.3, scatter: 0.03, worst: 0.75}
	curves, _ := gen.study(f, 12)
	curves[0].VarDB[2] = math.Inf(1)
	j, err := fitFrom(f, curves, startPlain, startNear[0])
	if err != nil {
		t.Fatal(err)
	}
	n, tested := len(f), 0
	for _, reference := range []Params{{}, {CornerHz: 20, Damping: 2}} {
		j.reference = reference
		eq := newNormal(j)
		eq.objective()
		if err := eq.linearise(); err != nil {
			t.Fatal(err)
		}
		_, by := j.referenceLevel()
		spread, ok := eq.spread(by)
		if !ok {
			t.Fatal("singular")
		}
		for c, i := range eq.alike.curves {
			got, ok := j.among(i, eq.alike.level, spread, nil, newAmid(n))
			if !ok {
				t.Fatalf("curve %d: singular", i)
			}
			// What the curve says: by'·kept·by, with its gain taken up, and its right side.
			w := j.weight[i]
			ones := mat.NewVecDense(n, j.weightSum[i])
			kept := mat.NewDense(n, n, nil)
			kept.Outer(-1/eq.alike.gains[c], ones, ones)
			kept.Add(kept, w)
			var said, rest, cov, t1, apart, v mat.Dense
			said.Product(by.T(), kept, by)
			rest.Sub(eq.a, &said)
			for k := range said.RawMatrix().Rows {
				rest.Set(k, k, rest.At(k, k)+steady)
			}
			if err := cov.Inverse(&rest); err != nil {
				t.Fatal(err)
			}
			t1.Product(by, &cov, by.T())
			r := mat.NewVecDense(n, j.residual(i, make([]float64, n), eq.alike.level))
			gain := eq.alike.rhs(j, c) / eq.alike.gains[c]
			for k := range n {
				r.SetVec(k, r.AtVec(k)-gain)
			}
			apart.Product(&t1, w, r)
			if w.At(2, 2) == 0 { // the weight is that of the points that count
				continue
			}
			var own mat.Dense
			if err := own.Inverse(w); err != nil {
				t.Fatal(err)
			}
			t1.Add(&t1, &own)
			if err := v.Inverse(&t1); err != nil {
				t.Fatal(err)
			}
			for k := range n {
				if want := r.AtVec(k) + gain + j.gain[i] + apart.At(k, 0); math.Abs(got.y[k]-want) > 1e-6 {
					t.Errorf("curve %d, point %d: %.8f dB, want %.8f", i, k, got.y[k], want)
				}
				for l := range n {
					if want := v.At(k, l); math.Abs(got.w.At(k, l)-want) > 1e-6*math.Sqrt(v.At(k, k)*v.At(l, l)) {
						t.Errorf("curve %d, weight %d %d: %g, want %g", i, k, l, got.w.At(k, l), want)
					}
				}
			}
			tested++
		}
	}
	if tested < 4 {
		t.Errorf("%d curves without a leak", tested)
	}
}
