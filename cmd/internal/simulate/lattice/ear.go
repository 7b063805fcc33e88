package lattice

import (
	"math"
	"math/rand/v2"
)

// ear is a relief over the side of the head, in head axes about the canal's
// entrance: forward and up, metres. A fold stands toward the cup, a hollow away.
type ear struct {
	folds []hill
	skin  float64 // specific admittance of bare skin
	hair  []hill  // and what hair adds to it
	canal canal
}

// hill is a Gaussian elevation (its height in metres, or an admittance).
type hill struct{ x, y, sx, sy, height float64 }

func (h hill) at(x, y float64) float64 {
	u, v := (x-h.x)/h.sx, (y-h.y)/h.sy
	return h.height * math.Exp(-(u*u+v*v)/2)
}

// commonEar is an ear of usual size, in millimetres. Orders of magnitude of
// length, protrusion and concha depth follow anthropometric tables (quoted
// from memory); the places of the folds are drawn after a textbook's figure.
var commonEar = [...]hill{
	{-11, 6, 11, 19, 6},    // the whole pinna standing off the head
	{1, 30, 5, 5, 4},       // helix
	{-9, 36, 5, 5, 4},      //
	{-20, 32, 5, 5, 4},     //
	{-27, 21, 5, 6, 4},     //
	{-28, 8, 5, 6, 4},      //
	{-23, -5, 5, 6, 3},     //
	{-12, 21, 5, 4.5, 3},   // antihelix, upper crus
	{-18, 12, 4.5, 5, 4},   // antihelix
	{-18, 2, 4.5, 5, 4},    //
	{-11, -10, 4.5, 4, 4},  // antitragus
	{-6, -20, 6, 6, 3},     // lobe
	{6, 0, 4, 4.5, 6},      // tragus
	{-5, -1, 7, 6.5, -13},  // cavum conchae
	{-7, 10, 6.5, 4.5, -8}, // cymba conchae
}

// hollows is how many of the last hills of commonEar are no folds.
const hollows = 2

// shape is what differs between ears, in standard deviations.
type shape struct {
	size, depth, width, stand, skin float64
	canal                           [3]float64
	hair                            [2]float64
	fold                            [len(commonEar)][3]float64 // forward, up, height
}

func drawShape(r *rand.Rand) shape {
	s := shape{size: r.NormFloat64(), depth: r.NormFloat64(), width: r.NormFloat64(), stand: r.NormFloat64(), skin: r.NormFloat64()}
	for i := range s.canal {
		s.canal[i] = r.NormFloat64()
	}
	for i := range s.hair {
		s.hair[i] = r.NormFloat64()
	}
	for i := range s.fold {
		for a := range s.fold[i] {
			s.fold[i][a] = r.NormFloat64()
		}
	}
	return s
}

// drawPair returns two ears of one head, whose differences correlate with 0.9.
func drawPair(r *rand.Rand) [2]shape {
	head, left, right := drawShape(r), drawShape(r), drawShape(r)
	return [2]shape{head.mix(left), head.mix(right)}
}

func (s shape) mix(own shape) shape {
	m := func(a *float64, b float64) { *a = math.Sqrt(0.9)**a + math.Sqrt(0.1)*b }
	m(&s.size, own.size)
	m(&s.depth, own.depth)
	m(&s.width, own.width)
	m(&s.stand, own.stand)
	m(&s.skin, own.skin)
	for i := range s.canal {
		m(&s.canal[i], own.canal[i])
	}
	for i := range s.hair {
		m(&s.hair[i], own.hair[i])
	}
	for i := range s.fold {
		for a := range s.fold[i] {
			m(&s.fold[i][a], own.fold[i][a])
		}
	}
	return s
}

// grow makes the ear; at strength 0 all are alike.
func (s shape) grow(strength float64) ear {
	factor := func(sd, z float64) float64 { return math.Exp(sd * strength * z) }
	e := ear{skin: 0.015 * factor(0.3, s.skin)}
	size := factor(0.07, s.size)
	for i, h := range commonEar {
		f := s.fold[i]
		h.x = 1e-3 * (h.x*size + 1.5*strength*f[0])
		h.y = 1e-3 * (h.y*size + 1.5*strength*f[1])
		h.sx *= 1e-3 * size
		h.sy *= 1e-3 * size
		h.height *= 1e-3
		switch {
		case i >= len(commonEar)-hollows:
			h.sx *= factor(0.06, s.width)
			h.sy *= factor(0.06, s.width)
			h.height *= factor(0.1, s.depth) * factor(0.05, f[2])
		case i == 0:
			h.height *= factor(0.2, s.stand)
		default:
			h.height *= size * factor(0.2, f[2])
		}
		e.folds = append(e.folds, h)
	}
	e.hair = []hill{
		{0.018, 0.034, 0.010, 0.012, 0.10 * factor(0.5, s.hair[0])},  // temple
		{-0.040, 0.015, 0.010, 0.018, 0.12 * factor(0.5, s.hair[1])}, // behind the ear
	}
	e.canal = canal{
		length: 0.0235 * factor(0.06, s.canal[0]),
		radius: 0.0036 * factor(0.06, s.canal[1]),
		drum:   factor(0.15, s.canal[2]),
	}
	return e
}

// relief is the height over the side of the head, m.
func (e *ear) relief(x, y float64) float64 {
	sum := 0.0
	for _, h := range e.folds {
		sum += h.at(x, y)
	}
	return sum
}

// absorption is the specific admittance at a place.
func (e *ear) absorption(x, y float64) float64 {
	sum := e.skin
	for _, h := range e.hair {
		sum += h.at(x, y)
	}
	return sum
}
