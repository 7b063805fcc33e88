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

// shape is what differs between ears, in standard deviations: ten traits of
// the whole ear, then place and height of every hill.
type shape [10 + 3*len(commonEar)]float64

// drawPair returns two ears of one head, whose differences correlate with 0.9.
func drawPair(r *rand.Rand) [2]shape {
	var head, left, right shape
	for _, s := range []*shape{&head, &left, &right} {
		for i := range s {
			s[i] = r.NormFloat64()
		}
	}
	for i, common := range head {
		left[i] = math.Sqrt(0.9)*common + math.Sqrt(0.1)*left[i]
		right[i] = math.Sqrt(0.9)*common + math.Sqrt(0.1)*right[i]
	}
	return [2]shape{left, right}
}

// grow makes the ear; at strength 0 all are alike.
func (s shape) grow(strength float64) ear {
	factor := func(sd float64, trait int) float64 { return math.Exp(sd * strength * s[trait]) }
	size, depth, width, stand := factor(0.07, 0), factor(0.1, 1), factor(0.06, 2), factor(0.2, 3)
	e := ear{
		skin:  0.015 * factor(0.3, 4),
		canal: canal{0.0235 * factor(0.06, 5), 0.0036 * factor(0.06, 6), factor(0.15, 7)},
		hair: []hill{
			{0.018, 0.034, 0.010, 0.012, 0.10 * factor(0.5, 8)},  // temple
			{-0.040, 0.015, 0.010, 0.018, 0.12 * factor(0.5, 9)}, // behind the ear
		},
	}
	for i, h := range commonEar {
		own := 10 + 3*i
		h.x = 1e-3 * (h.x*size + 1.5*strength*s[own])
		h.y = 1e-3 * (h.y*size + 1.5*strength*s[own+1])
		h.sx *= 1e-3 * size
		h.sy *= 1e-3 * size
		h.height *= 1e-3
		switch {
		case i >= len(commonEar)-hollows:
			h.sx *= width
			h.sy *= width
			h.height *= depth * factor(0.05, own+2)
		case i == 0:
			h.height *= stand
		default:
			h.height *= size * factor(0.2, own+2)
		}
		e.folds = append(e.folds, h)
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
