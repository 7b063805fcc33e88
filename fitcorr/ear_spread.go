package fitcorr

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// startSpread is the prior guess of how people differ.
func (p *panel) startSpread() *spread {
	s := &spread{sum: p.startEars(1), diff: p.startEars(0.4), alike: headsetCov(priorAlike, scaled(priorAlike, 0.5))}
	for range p.models {
		s.between = append(s.between, headsetCov([3]float64{2, 2, 2}, [3]float64{0.7, 0.7, 0.7}))
	}
	return s
}

// priorAlike is the standard deviation per axis (mm, mm, degrees) of ear
// differences that look like a movement: an ear's parts sit some millimetres
// elsewhere in relation to its canal.
var priorAlike = [3]float64{1.2, 1.2, 2}

// startEars is the prior covariance over the channels of one ear: little
// below 2 kHz, several dB where the pinna's own resonances lie.
func (p *panel) startEars(scale float64) *mat.SymDense {
	n := p.bands.n
	c := mat.NewSymDense(p.width*n, nil)
	sd := startEarSD(p.bands)
	for i := range p.width * n {
		for j := i; j < p.width*n; j++ {
			k, l := i/n, j/n
			v := scale * sd[i%n] * sd[j%n] * math.Exp(-p.bands.octaves(i%n, j%n)/earWidth)
			switch {
			case k == l:
			case p.bare && l == p.width-1:
				v *= 0.5
			default:
				v *= 0.7
			}
			if i == j {
				v *= 1.01
			}
			c.SetSym(i, j, v)
		}
	}
	return c
}

func startEarSD(bands positionBands) []float64 {
	sd := make([]float64, bands.n)
	for r, hz := range bands.hz {
		sd[r] = 0.1 + 2.5*math.Min(1, math.Pow(hz/5000, 3))
	}
	return sd
}

// Weights of the structured prior of ear differences, in draws.
const (
	earShapeWeight = 8.0 // of the smooth correlation against the panel's own
	earSizeWeight  = 1.0 // of the prior standard deviation per band
	earWidth       = 0.3 // octaves, of the smooth correlation (exponential)
)

// structured turns second moments of a few draws into a covariance: the
// variance per channel and band is the panel's own, steadied by the prior;
// the correlation is the panel's own, shrunk toward a smooth one that falls
// with distance in octaves and joins channels as the panel shows they are
// joined, band by band.
func (p *panel) structured(sum *mat.SymDense, draws float64, prior *mat.SymDense) *mat.SymDense {
	n, w := p.bands.n, p.width
	size := n * w
	sd := make([]float64, size)
	for k := range w {
		v := make([]float64, n)
		for r := range n {
			i := k*n + r
			v[r] = (sum.At(i, i) + earSizeWeight*prior.At(i, i)) / (draws + earSizeWeight)
		}
		for r := range n {
			lo, hi := max(0, r-1), min(n-1, r+1)
			sd[k*n+r] = math.Exp((math.Log(v[lo]) + 2*math.Log(v[r]) + math.Log(v[hi])) / 8)
		}
	}
	roots := make([]*mat.Dense, n)
	for r := range n {
		c := mat.NewSymDense(w, nil)
		for k := range w {
			for l := k; l < w; l++ {
				var t, m float64
				for q := max(0, r-2); q <= min(n-1, r+2); q++ {
					t += sum.At(k*n+q, l*n+q) / (sd[k*n+q] * sd[l*n+q])
					m++
				}
				i, j := k*n+r, l*n+r
				rho := prior.At(i, j) / math.Sqrt(prior.At(i, i)*prior.At(j, j))
				v := (t/m + 2*rho) / (draws + 2)
				if k == l {
					v = math.Max(v, 1e-3)
				}
				c.SetSym(k, l, v)
			}
		}
		for k := range w {
			for l := k + 1; l < w; l++ {
				c.SetSym(k, l, c.At(k, l)/math.Sqrt(c.At(k, k)*c.At(l, l)))
			}
		}
		for k := range w {
			c.SetSym(k, k, 1.001)
		}
		roots[r] = symmetricRoot(c)
	}
	out := mat.NewSymDense(size, nil)
	for i := range size {
		for j := i; j < size; j++ {
			k, l, r, q := i/n, j/n, i%n, j%n
			join := mat.Dot(roots[r].RowView(k), roots[q].RowView(l))
			target := sd[i] * sd[j] * join * math.Exp(-p.bands.octaves(r, q)/earWidth)
			if i == j {
				target *= 1.05
			}
			out.SetSym(i, j, (sum.At(i, j)+earShapeWeight*target)/(draws+earShapeWeight))
		}
	}
	return out
}

// symmetricRoot returns G = G' with GG = c.
func symmetricRoot(c *mat.SymDense) *mat.Dense {
	n := c.SymmetricDim()
	var eig mat.EigenSym
	if !eig.Factorize(c, true) {
		return mat.DenseCopyOf(c)
	}
	var vec, scaledVec, out mat.Dense
	eig.VectorsTo(&vec)
	scaledVec.CloneFrom(&vec)
	for j, v := range eig.Values(nil) {
		f := math.Sqrt(math.Max(v, 0))
		for i := range n {
			scaledVec.Set(i, j, scaledVec.At(i, j)*f)
		}
	}
	out.Mul(&scaledVec, vec.T())
	return &out
}
