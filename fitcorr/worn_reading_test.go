package fitcorr

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"asworn/capture"
)

// readToy reads every headphone's position off its head, with the given errors.
func readToy(ss []Seating, truth toyTruth, seed uint64, one, landmark float64) []Seating {
	rng := rand.New(rand.NewPCG(seed, 99))
	marks := map[string][2]float64{}
	at := func(subject string) [2]float64 {
		if _, ok := marks[subject]; !ok {
			marks[subject] = [2]float64{landmark * rng.NormFloat64(), landmark * rng.NormFloat64()}
		}
		return marks[subject]
	}
	out := slices.Clone(ss)
	for i, s := range out {
		pos, ok := truth.pos[s.ID]
		if !ok {
			continue
		}
		m := at(s.Subject)
		var r [2]float64
		for a := range r {
			r[a] = 30 + (pos[0][a]+pos[1][a])/2 + m[a] + one*rng.NormFloat64()
		}
		out[i].Read = &capture.Reading{ForwardMM: r[0], UpMM: r[1]}
	}
	return out
}

func analyse(t *testing.T, ss []Seating) (Analysis, Frozen) {
	t.Helper()
	a, f, err := Analyse(context.Background(), ss, DefaultOptions())
	if err != nil {
		t.Fatal(err)
	}
	return a, f
}

// Readings narrow the worn mean's interval, which still holds the truth, bring
// worn positions nearer, and let a seating at the worn mean be told.
func TestReadingsTellPositions(t *testing.T) {
	var with, without struct{ mean, seating, width, matches float64 }
	held, means := 0, 0
	for seed := uint64(4); seed < 6; seed++ {
		plan := smallToy(seed)
		ss, truth := plan.study()
		a, _ := analyse(t, ss)
		b, _ := analyse(t, readToy(ss, truth, seed, 1, 0.5))
		for k, an := range []Analysis{a, b} {
			f := &without
			if k == 1 {
				f = &with
			}
			for _, m := range an.Models {
				if got := slices.Contains(m.Worn.Separation, readPositions); got != (k == 1) || got != (m.Worn.Readings != nil) {
					t.Errorf("%s: separation %q, readings %v", m.Model, m.Worn.Separation, m.Worn.Readings)
				}
				for axis := range 2 {
					d := m.Worn.Mean.Value[axis] - truth.mean[m.Model][axis]
					f.mean += d * d
					f.width += m.Worn.Mean.Cov[axis][axis]
					if k == 1 {
						means++
						if math.Abs(d) < 2.3*math.Sqrt(m.Worn.Mean.Cov[axis][axis]) {
							held++
						}
					}
				}
				for _, o := range m.Offsets {
					if o.Subject != fixtureSubject {
						pos := truth.pos[o.ID]
						d := o.Headset.Value[0] - (pos[0][0]+pos[1][0])/2
						f.seating += d * d
					}
				}
				for _, v := range m.Verdicts {
					if v.Outcome == Matches {
						f.matches++
					}
				}
			}
		}
	}
	t.Logf("without %+v, with %+v, %d of %d means within their interval", without, with, held, means)
	if with.mean > 0.5*without.mean || with.seating > 0.7*without.seating || with.width > 0.3*without.width || with.matches <= without.matches {
		t.Error("readings do not help")
	}
	if held < means-1 {
		t.Errorf("%d of %d means within their interval", held, means)
	}
}

// A slip of the pen is named and has no say, on a listener as on the fixture.
func TestReadingSlips(t *testing.T) {
	plan := smallToy(5)
	ss, truth := plan.study()
	ss = readToy(ss, truth, 5, 0.5, 0.3)
	clean := slices.Clone(ss)
	var slipped []string
	for _, subject := range []string{fixtureSubject, "L02"} {
		i := slices.IndexFunc(ss, func(s Seating) bool { return s.Model == "Model A" && s.Subject == subject })
		slipped = append(slipped, ss[i].ID)
		wrong := *ss[i].Read
		wrong.ForwardMM = -wrong.ForwardMM
		ss[i].Read, clean[i].Read = &wrong, nil
	}
	a, _ := analyse(t, ss)
	b, _ := analyse(t, clean)
	for _, id := range slipped {
		if !slices.ContainsFunc(a.Models[0].Cannot, func(s string) bool { return strings.Contains(s, id) && strings.Contains(s, "check the entry") }) {
			t.Errorf("%s is not named in %q", id, a.Models[0].Cannot)
		}
	}
	if a.Models[0].Worn.Mean != b.Models[0].Worn.Mean {
		t.Errorf("worn mean %v, without the slips %v", a.Models[0].Worn.Mean.Value, b.Models[0].Worn.Mean.Value)
	}
}

// Readings on listeners alone have nothing to be compared with.
func TestReadingsNeedTheFixture(t *testing.T) {
	plan := smallToy(6)
	ss, truth := plan.study()
	read := readToy(ss, truth, 6, 1, 0.7)
	for i := range read {
		if read[i].Subject == fixtureSubject {
			read[i].Read = nil
		}
	}
	a, _ := analyse(t, ss)
	b, _ := analyse(t, read)
	if a.Models[0].Worn.Mean != b.Models[0].Worn.Mean {
		t.Error("readings without any on the fixture change the worn mean")
	}
	if !slices.ContainsFunc(b.Models[0].Cannot, func(s string) bool { return strings.Contains(s, "read positions are not used") }) {
		t.Errorf("not told: %q", b.Models[0].Cannot)
	}
}

// A lab that states its readings too well is found out by the fixture's.
func TestReadingErrorIsLearned(t *testing.T) {
	plan := smallToy(7)
	ss, truth := plan.study()
	for _, one := range []float64{0.5, 2.5} {
		a, _ := analyse(t, readToy(ss, truth, 7, one, 0.7))
		if got := a.Models[0].Worn.Readings.OneMM; got < 0.6*one || got > 1.6*one {
			t.Errorf("one reading errs by %.2f mm, want about %.1f; 1.0 was stated", got, one)
		}
	}
}

// The step in closed form: precisions add.
func TestFuse(t *testing.T) {
	m := FrozenMark{At: [readDim]float64{20, -5}, Variance: [readDim]float64{0.1, 0.2}, One: 0.8}
	s := Seating{Read: &capture.Reading{ForwardMM: 23, UpMM: -6}}
	cov := headsetCov([3]float64{1, 0.7, 3}, [3]float64{0.3, 0.4, 0.5})
	pos := [headsetDim]float64{1, 2, 3, 1.5, 1, 2}
	var want mat.Dense
	if err := want.Inverse(cov); err != nil {
		t.Fatal(err)
	}
	rhs := mat.NewVecDense(headsetDim, nil)
	rhs.MulVec(&want, mat.NewVecDense(headsetDim, slices.Clone(pos[:])))
	for a, less := range [readDim]float64{3, -1} {
		w := 1 / (m.One*m.One + m.Variance[a])
		for _, i := range []int{a, 3 + a} {
			rhs.SetVec(i, rhs.AtVec(i)+w*less/2)
			for _, j := range []int{a, 3 + a} {
				want.Set(i, j, want.At(i, j)+w/4)
			}
		}
	}
	var wantCov mat.Dense
	if err := wantCov.Inverse(&want); err != nil {
		t.Fatal(err)
	}
	var wantPos mat.VecDense
	wantPos.MulVec(&wantCov, rhs)
	m.fuse(s, &pos, cov)
	for i := range pos {
		if math.Abs(pos[i]-wantPos.AtVec(i)) > 1e-9 {
			t.Errorf("position %d: %g, want %g", i, pos[i], wantPos.AtVec(i))
		}
		for j := range pos {
			if math.Abs(cov.At(i, j)-wantCov.At(i, j)) > 1e-9 {
				t.Errorf("covariance %d %d: %g, want %g", i, j, cov.At(i, j), wantCov.At(i, j))
			}
		}
	}
}

// A check with a reading gives what the run gave; a wrong one is refused.
func TestCheckWithReading(t *testing.T) {
	plan := smallToy(8)
	ss, truth := plan.study()
	ss = readToy(ss, truth, 8, 1, 0.7)
	a, f := analyse(t, ss)
	m := a.Models[0]
	v := m.Verdicts[0]
	i := slices.IndexFunc(ss, func(s Seating) bool { return s.ID == v.ID })
	_, got, err := f.Check(ss[i])
	if err != nil {
		t.Fatal(err)
	}
	for axis := range 2 {
		if d := got.Headset.Off.Value[axis] - v.Headset.Off.Value[axis]; math.Abs(d) > 1e-6 {
			t.Errorf("axis %d: check %g, run %g", axis, got.Headset.Off.Value[axis], v.Headset.Off.Value[axis])
		}
	}
	wrong := ss[i]
	wrong.Read = &capture.Reading{ForwardMM: -wrong.Read.ForwardMM, UpMM: wrong.Read.UpMM}
	if _, _, err := f.Check(wrong); err == nil || !strings.Contains(err.Error(), "read it again") {
		t.Errorf("a wrong reading: %v", err)
	}
}

// Degrees of freedom by the worked example of JCGM 100:2008, H.1.6 (end-gauge
// calibration): 16, from components whose own are 18, 5 and 8 beside others
// without limit; quoted from memory, u(l) = 31.7 nm, 25, 5.8, 3.9, 6.7 and 16.6 nm.
func TestPooledDF(t *testing.T) {
	square := func(x float64) float64 { return x * x }
	v, df := square(25.0), 18.0
	for _, c := range []struct{ u, df float64 }{{5.8, 24}, {3.9, 5}, {6.7, 8}, {16.6, 2}} {
		df = pooledDF(v, df, square(c.u), c.df)
		v += square(c.u)
	}
	if df < 15 || df > 17 {
		t.Errorf("effective degrees of freedom %.1f, want 16", df)
	}
	if got := pooledDF(1, 0, 2, 0); got != 0 {
		t.Errorf("no limits: %g, want 0", got)
	}
	if got := pooledDF(1, 5, 0, 3); got != 5 {
		t.Errorf("one source: %g, want 5", got)
	}
}
