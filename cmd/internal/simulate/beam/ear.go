package beam

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"asworn/cmd/internal/simulate"
)

// ear is a pinna of facets that mirror the sound into the canal's entrance, a
// concha that is a short tube, and the fine structure of its own. Lengths in metres.
type ear struct {
	mic      [3]float64
	facets   []facet
	concha   float64 // length of the tube
	loss     float64
	flare    float64 // where the tube begins to be felt, Hz
	bumps    []bump
	meatus   float64 // length of the canal
	waist    float64 // drum end's area over the entrance's
	drumHz   float64 // where the drum's mass takes over
	deafness float64 // its resistance over ρc/S
}

// facet is a plane at a distance from the entrance, with its normal toward it:
// what it sends to the entrance is the field at the entrance's mirror image.
type facet struct {
	distance float64
	normal   [3]float64
	amount   float64
	fromHz   float64 // small against longer waves
}

// bump is a feature of the level that belongs to the ear alone.
type bump struct{ octave, width, db float64 }

// common facets: behind, above, in front, below; distances to the entrance, azimuth and lift of the normals.
var commonFacets = [...]facet{
	{distance: 0.013, normal: [3]float64{0.85, -0.1, 0.5}, amount: 0.7, fromHz: 2500},
	{distance: 0.020, normal: [3]float64{0.35, -0.8, 0.5}, amount: 0.5, fromHz: 2000},
	{distance: 0.009, normal: [3]float64{-0.7, 0, 0.7}, amount: 0.45, fromHz: 4500},
	{distance: 0.016, normal: [3]float64{0.1, 0.8, 0.6}, amount: 0.4, fromHz: 3500},
}

// drawEars draws both ears of a person, alike in part. Differences have heavy
// tails: some people's ears are quite unlike others'.
func drawEars(r *rand.Rand, strength float64) [2]ear {
	unlike := math.Exp(0.35*r.NormFloat64()-0.06) * strength // of this person from others
	var out [2]ear
	n := 6 + 5*len(commonFacets)
	head := make([]float64, n)
	for i := range head {
		head[i] = r.NormFloat64()
	}
	bumps := make([]bump, 4+r.IntN(5))
	for i := range bumps {
		bumps[i] = bump{octave: between(r, 0.8, 4.1), width: math.Exp(between(r, math.Log(0.06), math.Log(0.5))), db: 2.2 * r.NormFloat64()}
	}
	for side := range out {
		next := 0
		v := func(sd float64) float64 {
			x := 0.9*head[next] + 0.44*r.NormFloat64()
			next++
			return unlike * sd * x
		}
		e := ear{
			concha: 0.0155 * math.Exp(v(0.07)), loss: 0.33 * math.Exp(v(0.1)), flare: 2600 * math.Exp(v(0.08)),
			meatus: 0.024 * math.Exp(v(0.06)), waist: 0.8 * math.Exp(v(0.1)), drumHz: 5000 * math.Exp(v(0.1)), deafness: 3.2,
		}
		e.mic = [3]float64{unlike * 0.0005 * r.NormFloat64(), unlike * 0.0005 * r.NormFloat64(), -0.001}
		for _, f := range commonFacets {
			f.distance *= math.Exp(v(0.09))
			f.amount *= math.Exp(v(0.18))
			f.fromHz *= math.Exp(v(0.1))
			f.normal[0] += v(0.12)
			f.normal[1] += v(0.12)
			size := math.Sqrt(f.normal[0]*f.normal[0] + f.normal[1]*f.normal[1] + f.normal[2]*f.normal[2])
			for a := range f.normal {
				f.normal[a] /= size
			}
			e.facets = append(e.facets, f)
		}
		for _, b := range bumps {
			b.db = unlike * (0.9*b.db + 0.9*r.NormFloat64())
			b.octave += strength * 0.03 * r.NormFloat64()
			e.bumps = append(e.bumps, b)
		}
		out[side] = e
	}
	return out
}

// places lists the entrance and its images in the facets.
func (e *ear) places(micMM [2]float64) [][3]float64 {
	m := e.mic
	m[0] += micMM[0] / 1000
	m[1] += micMM[1] / 1000
	out := [][3]float64{m}
	for _, f := range e.facets {
		// The facet goes through −distance·normal; a microphone off its place is nearer or farther.
		gap := f.distance + m[0]*f.normal[0] + m[1]*f.normal[1] + m[2]*f.normal[2]
		var image [3]float64
		for a := range image {
			image[a] = m[a] - 2*gap*f.normal[a]
		}
		out = append(out, image)
	}
	return out
}

// listen turns the field at the places into the pressure at the blocked entrance.
func (e *ear) listen(field []complex128, f float64) complex128 {
	out := field[0]
	for i, t := range e.facets {
		x := f / t.fromHz
		out += complex(t.amount*x*x/(1+x*x), 0) * field[i+1]
	}
	// The closed end of a short lossy tube.
	kl := 2 * math.Pi * f / simulate.SoundSpeed * e.concha
	x := f / e.flare
	end := 1 / cmplx.Cos(complex(kl, -e.loss*math.Sqrt(x/(1+x))))
	return out * end
}

// texture is a factor of the pressure: what the ear adds at every placement.
func (e *ear) texture(f float64) float64 {
	o := math.Log2(math.Max(f, 20) / 1000)
	db := 0.0
	for _, b := range e.bumps {
		d := (o - b.octave) / b.width
		db += b.db * math.Exp(-d*d/2)
	}
	return math.Pow(10, db/20)
}

// canal is the drum's pressure over that at the blocked entrance: a tube with a
// step, its radiation left out, ended by the drum.
func (e *ear) canal(f float64) complex128 {
	k := complex(2*math.Pi*f/simulate.SoundSpeed, -0.8-0.004*math.Sqrt(f))
	x := f / e.drumHz
	load := complex(e.deafness, 4*(x-0.15/math.Max(x, 0.01)))
	cos, sin := cmplx.Cos(k*complex(e.meatus/2, 0)), cmplx.Sin(k*complex(e.meatus/2, 0))
	j := complex(0, 1)
	// Chain of two tubes, pressures and velocities in units of the first's ρc/S.
	z := load / complex(e.waist, 0)
	narrow := complex(1/e.waist, 0)
	mid := cos + j*narrow*sin/z
	zin := narrow * (z*cos + j*narrow*sin) / (narrow*cos + j*z*sin)
	total := mid * (cos + j*sin/zin)
	radiation := complex(0, 0.5*math.Min(1, f/8000)) // of the open entrance
	zfront := (zin*cos + j*sin) / (cos + j*zin*sin)
	return 1 / total * zfront / (zfront + radiation)
}
