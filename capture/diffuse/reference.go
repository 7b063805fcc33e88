package diffuse

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"math/bits"

	"gonum.org/v1/gonum/dsp/fourier"

	"asworn/capture/band"
	"asworn/capture/deconv"
)

// front is straight ahead.
var front = [3]float64{1, 0, 0}

// lattice is the number of points that measure the solid angles: each cell of
// a set of a thousand directions then holds about fifty.
const lattice = 50000

// weights returns the solid angle of each direction's cell (all directions to
// which it is the nearest) as a share of the sphere, and the widest gap: the
// angle in degrees from the worst-served direction to its nearest neighbour.
// Cells are measured by counting the points of a Fibonacci lattice (González,
// Math. Geosci. 42, 2010), which are spread evenly over the sphere. Directions
// that coincide share a cell's weight with the first.
func (s Set) weights() (share []float64, gapDeg float64) {
	share = make([]float64, len(s.Direction))
	golden := math.Pi * (3 - math.Sqrt(5))
	worst := 1.0
	for i := range lattice {
		z := 1 - (2*float64(i)+1)/lattice
		r := math.Sqrt(1 - z*z)
		sin, cos := math.Sincos(golden * float64(i))
		best, dot := s.nearest([3]float64{r * cos, r * sin, z})
		share[best] += 1.0 / lattice
		worst = min(worst, dot)
	}
	return share, math.Acos(min(1, worst)) * 180 / math.Pi
}

// nearest returns the direction nearest to d and the cosine of the angle.
func (s Set) nearest(d [3]float64) (best int, dot float64) {
	dot = -2
	for j, u := range s.Direction {
		if c := u[0]*d[0] + u[1]*d[1] + u[2]*d[2]; c > dot {
			best, dot = j, c
		}
	}
	return best, dot
}

// Reference is a response per kept band.
type Reference struct {
	LevelDB []float64 // length band.Count
	Valid   []bool    // false above 0.47 of the rate and below the resolution of the responses
	GapDeg  float64   // the widest gap between directions, see Set.Weights
}

// DiffuseField returns the diffuse-field response of one receiver: the power
// average over all directions, each weighted by its solid angle. It holds the
// loudspeaker's response when the set does; then subtract the free field's
// (FreeField) or the loudspeaker's own. A set with a gap of more than 60
// degrees is refused; a gap above 20 is a caution to the reader, because the
// directions on its rim stand in for it.
func (s Set) DiffuseField(receiver int) (Reference, error) {
	if receiver < 0 || receiver >= s.receivers() {
		return Reference{}, fmt.Errorf("receiver %d of %d", receiver+1, s.receivers())
	}
	weight, gap := s.weights()
	if gap > 60 {
		return Reference{}, fmt.Errorf("the %d directions leave a gap of %.0f degrees: that is no diffuse field", len(s.Direction), gap)
	}
	r := s.levels(receiver, weight)
	r.GapDeg = gap
	return r, nil
}

// FreeField returns the response of one receiver to the direction straight
// ahead; it fails when the set holds none within 2 degrees of it.
func (s Set) FreeField(receiver int) (Reference, error) {
	if receiver < 0 || receiver >= s.receivers() {
		return Reference{}, fmt.Errorf("receiver %d of %d", receiver+1, s.receivers())
	}
	i, dot := s.nearest(front)
	if dot < math.Cos(2*math.Pi/180) {
		return Reference{}, fmt.Errorf("no direction within 2 degrees of straight ahead")
	}
	weight := make([]float64, len(s.Direction))
	weight[i] = 1
	return s.levels(receiver, weight), nil
}

// levels is the weighted power average over directions, per kept band.
func (s Set) levels(receiver int, weight []float64) Reference {
	taps := 0
	for _, ir := range s.IR {
		taps = max(taps, len(ir[receiver]))
	}
	n := 1 << bits.Len(uint(8*taps))
	fft := fourier.NewFFT(n)
	padded := make([]float64, n)
	spec := make([]complex128, n/2+1)
	power := make([]float64, n/2+1)
	for i, ir := range s.IR {
		if weight[i] == 0 {
			continue
		}
		clear(padded)
		copy(padded, ir[receiver])
		fft.Coefficients(spec, padded)
		for k, c := range spec {
			power[k] += weight[i] * (real(c)*real(c) + imag(c)*imag(c))
		}
	}
	r := Reference{LevelDB: make([]float64, band.Count), Valid: make([]bool, band.Count)}
	bands := band.All()
	deconv.MeanOver(r.LevelDB, power, s.RateHz/float64(n), bands)
	for b, edges := range bands {
		r.Valid[b] = edges.Upper <= 0.47*s.RateHz && edges.Mid >= 2*s.RateHz/float64(taps)
		r.LevelDB[b] = 10 * math.Log10(r.LevelDB[b])
	}
	return r
}

// Minus returns r less other in dB, valid where both are.
func (r Reference) Minus(other Reference) Reference {
	d := Reference{LevelDB: make([]float64, len(r.LevelDB)), Valid: make([]bool, len(r.Valid)), GapDeg: max(r.GapDeg, other.GapDeg)}
	for b := range d.LevelDB {
		d.LevelDB[b] = r.LevelDB[b] - other.LevelDB[b]
		d.Valid[b] = r.Valid[b] && other.Valid[b]
	}
	return d
}

// maxLevelDB is the largest level that a study takes from a reference curve.
const maxLevelDB = 300

// Check reports what keeps a curve from being used: fewer than two valid bands, or a
// level among them that is not a number or impossible. The error names the band or says
// that there are too few.
func (r Reference) Check() error {
	n := 0
	for i, b := range band.All() {
		if !r.Valid[i] {
			continue
		}
		n++
		if !(math.Abs(r.LevelDB[i]) <= maxLevelDB) {
			return fmt.Errorf("its level at %.0f Hz is %.4g dB: the responses are silent there, or the file is damaged", b.Mid, r.LevelDB[i])
		}
	}
	if n < 2 {
		return fmt.Errorf("no curve comes of it: %d bands lie between the resolution of the responses and half their sampling rate; longer responses reach lower", n)
	}
	return nil
}

// WriteCSV writes the valid bands as a reference curve of a study:
// frequency_hz,level_db. A curve that Check refuses is an error.
func (r Reference) WriteCSV(w io.Writer) error {
	if err := r.Check(); err != nil {
		return err
	}
	b := bufio.NewWriter(w)
	b.WriteString("frequency_hz,level_db\n")
	for i, edges := range band.All() {
		if r.Valid[i] {
			fmt.Fprintf(b, "%.3f,%.3f\n", edges.Mid, r.LevelDB[i])
		}
	}
	return b.Flush()
}
