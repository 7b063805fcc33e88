package verdict

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// distanceTests are the one-sided tests of a distance in the forward–up plane, for one estimate.
type distanceTests struct {
	dist, along, across float64 // mm; standard deviations along the offset and across it, normal
	df                  float64
	tol                 float64
}

func newDistanceTests(off seat.Estimate, tol float64) distanceTests {
	x, y := off.Value[0], off.Value[1]
	var c [2][2]float64
	for a := range 2 {
		for b := range 2 {
			c[a][b] = off.Cov[a][b]
		}
	}
	t := distanceTests{dist: math.Hypot(x, y), df: off.DF, tol: tol}
	t.along, t.across = directional(c, x, y)
	return t
}

// size is the size of a test with what follows from it alone.
type size struct {
	alpha  float64
	normal float64 // the normal quantile that it leaves above
	wider  float64 // factor of Student's t on that
}

func newSize(alpha, df float64) size {
	return size{alpha, distuv.UnitNormal.Quantile(1 - alpha), stats.TScale(df, alpha)}
}

// sizes are those of the tests of one part: of the test for itself, and of one among
// the tests of all three.
type sizes struct{ alone, shared size }

// headsetShare and cupShare are the shares of the stated size that the tests for Move of
// the headset and of each cup get. They add up to more than the whole: the headset is the mean of both
// cups, so that its errors correlate by √½ at least with those of each, and half of
// what a cup's test says wrongly the headset's says as well (TestPositionSize). Where both cups
// lie on the border in opposite directions, the headset does not, and theirs add up to 0.4.
const (
	headsetShare = 0.7
	cupShare     = 0.2
)

// newSizes are the sizes of the left cup, the right cup and the headset.
func newSizes(alpha, df float64) (out [parts]sizes) {
	alone, cup := newSize(alpha, df), newSize(cupShare*alpha, df)
	return [parts]sizes{{alone, cup}, {alone, cup}, {alone, newSize(headsetShare*alpha, df)}}
}

// pWithin is the P value of H₀: the true distance is at least a tolerance in mm: of so short a distance when
// the true offset lies on the border, by the law of the distance. The one-sided limit along the offset
// alone would be a test of a smaller size than stated, as a disk is less than the
// half-plane that holds it. Where even an estimate of zero would leave that limit
// beyond the tolerance, its own P value is returned, which never shows anything: the
// law of the distance keeps its size there too, but an estimate that happens to fall near
// zero under an interval far wider than the tolerance shows nothing (the case against such tests:
// Berger & Hsu, Stat. Sci. 11(4), 1996, quoted from memory). It falls as the tolerance grows.
func (t distanceTests) pWithin(tol float64, s size) float64 {
	along := t.along * s.wider
	if t.dist >= tol || s.normal*along > tol {
		return distuv.UnitNormal.Survival((tol - t.dist) / along)
	}
	return insideDisk(t.dist, tol, along, t.across*s.wider)
}

// pBeyond is the P value of H₀: the true distance is at most a tolerance in mm, against the law
// of the distance of a true offset on the border, with the t law of the size. It grows with the tolerance.
func (t distanceTests) pBeyond(tol float64, s size) float64 {
	if t.dist <= tol {
		return 1
	}
	return 1 - insideDisk(t.dist, tol, t.along*s.wider, t.across*s.wider)
}

// directional returns the standard deviations along the direction (x, y) and
// across it. An offset too small to have a direction gets the larger principal
// one along and the smaller across, the least favourable choice.
func directional(c [2][2]float64, x, y float64) (along, across float64) {
	mean, diff := (c[0][0]+c[1][1])/2, (c[0][0]-c[1][1])/2
	half := math.Hypot(diff, c[0][1])
	largest, smallest := mean+half, math.Max(mean-half, 1e-12)
	r2 := x*x + y*y
	v := largest
	if r2 >= largest {
		v = (x*x*c[0][0] + 2*x*y*c[0][1] + y*y*c[1][1]) / r2
		// A direction is itself uncertain by about sd/distance.
		w := largest / r2
		v += w * (largest - v)
	}
	v = math.Max(v, 1e-12)
	return math.Sqrt(v), math.Sqrt(math.Max(smallest, largest*smallest/v))
}

// insideDisk returns P(|X| ≤ r) for X two-dimensional normal about a point at
// distance nu, with the given standard deviations along the line from the
// origin to that point and across it (Rice's law, Bell System Tech. J. 24,
// 1945, when they are equal), by Simpson's rule over the first coordinate.
func insideDisk(r, nu, along, across float64) float64 {
	lo, hi := math.Max(-r, nu-8*along), math.Min(r, nu+8*along)
	if r <= 0 || lo >= hi {
		return 0
	}
	mid, half := (lo+hi)/2, (hi-lo)/2
	var sum float64
	for i, at := range diskNodes {
		w := 4.0
		if i%2 == 1 {
			w = 2
		}
		x := mid + half*at.sin
		u := (x - nu) / along
		g := math.Exp(-u*u/2) * math.Erf(math.Sqrt(math.Max(0, r*r-x*x)/2)/across)
		sum += w * g * half * at.cos
	}
	return math.Min(1, sum*(math.Pi/diskSteps)/3/(along*math.Sqrt(2*math.Pi)))
}

// diskSteps are those of Simpson's rule over t, −π/2 to π/2, of x = mid + half·sin t, which takes
// the square root at the edge out of the integrand; diskNodes are the sines and cosines between.
const diskSteps = 48

var diskNodes = func() (nodes [diskSteps - 1]struct{ sin, cos float64 }) {
	for i := range nodes {
		t := -math.Pi/2 + float64(i+1)*(math.Pi/diskSteps)
		nodes[i].sin, nodes[i].cos = math.Sin(t), math.Cos(t)
	}
	return nodes
}()
