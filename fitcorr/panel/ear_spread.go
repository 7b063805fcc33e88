package panel

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/position"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// startSpread is the prior guess of how people differ.
func (p *panel) startSpread() *spread {
	s := &spread{sum: p.startEars(1), diff: p.startEars(0.4), alike: position.HeadsetCov(priorAlike, position.Scaled(priorAlike, 0.5))}
	for range p.models {
		s.between = append(s.between, position.HeadsetCov([3]float64{2, 2, 2}, [3]float64{0.7, 0.7, 0.7}))
	}
	return s
}

// priorAlike is the standard deviation per axis (mm, mm, degrees) of ear
// differences that look like a movement: an ear's parts sit some millimetres
// elsewhere in relation to its canal.
var priorAlike = [3]float64{1.3, 1.3, 2}

// startEars is the prior covariance over the channels of one ear: little
// below 2 kHz, several dB where the pinna's own resonances lie.
func (p *panel) startEars(scale float64) *mat.SymDense {
	n := p.bands.N
	c := mat.NewSymDense(p.width*n, nil)
	sd := startEarSD(p.bands)
	for i := range p.width * n {
		for j := i; j < p.width*n; j++ {
			k, l := i/n, j/n
			v := scale * sd[i%n] * sd[j%n] * math.Exp(-p.bands.Octaves(i%n, j%n)/earWidth)
			switch {
			case k == l:
			case p.bare && l == p.width-1:
				v *= startLink
			default:
				v *= startJoin
			}
			if i == j {
				v *= 1.01
			}
			c.SetSym(i, j, v)
		}
	}
	return c
}

func startEarSD(bands survey.Bands) []float64 {
	sd := make([]float64, bands.N)
	for r, hz := range bands.Hz {
		sd[r] = 0.04 + 2.5*math.Min(1, math.Pow(hz/5000, 4))
	}
	return sd
}

// Weights of the structured prior of ear differences.
const (
	earSizeWeight = 1.0 // draws' worth of the prior standard deviation per band
	earJoinWeight = 2.0 // draws' worth of the prior correlation between channels
	earWidth      = 0.3 // octaves, of the smooth correlation (exponential)
	earJoinMost   = 0.95
)

// structured turns second moments of a few draws into a covariance over the
// channels of one ear. What an ear does under one headphone is a part common
// to all models and a part of its own, in a share that the panel shows band by
// band; both have the same covariance over frequency, learned from all models
// together and shrunk toward a smooth one. The bare ear has a covariance of
// its own and is joined to the common part, band by band.
func (p *panel) structured(moments *mat.SymDense, draws float64, prior *mat.SymDense, rows *mat.Dense) *mat.SymDense {
	n, models := p.bands.N, len(p.models)
	sum := p.withoutLevel(moments)
	block := func(m *mat.SymDense, k, l int) *mat.Dense {
		b := mat.NewDense(n, n, nil)
		for r := range n {
			for q := range n {
				b.Set(r, q, m.At(k*n+r, l*n+q))
			}
		}
		return b
	}
	within := mat.NewDense(n, n, nil)
	across := make([]float64, n)
	var pairs float64
	for k := range models {
		within.Add(within, block(sum, k, k))
		for l := range k {
			b := block(sum, k, l)
			for r := range n {
				across[r] += b.At(r, r)
			}
			pairs++
		}
	}
	within.Scale(1/float64(models), within)
	ear, sd := p.shapeEars(within, draws, prior, p.channelDraws(rows, 0, models))
	join := make([]float64, n)
	for r := range join {
		join[r] = startJoin
		if pairs > 0 {
			join[r] = (across[r]/(pairs*sd[r]*sd[r]) + earJoinWeight*startJoin) / (draws + earJoinWeight)
		}
	}
	stats.SmoothMean(join, 2)
	size := p.width * n
	out := mat.NewSymDense(size, nil)
	common := mat.NewSymDense(n, nil)
	for r := range n {
		join[r] = math.Max(0, math.Min(earJoinMost, join[r]))
	}
	for r := range n {
		for q := r; q < n; q++ {
			common.SetSym(r, q, ear.At(r, q)*math.Sqrt(join[r]*join[q]))
		}
	}
	set := func(k, l, r, q int, v float64) { out.SetSym(k*n+r, l*n+q, v) }
	for r := range n {
		for q := range n {
			g := common.At(r, q)
			own := ear.At(r, q) * math.Sqrt((1-join[r])*(1-join[q]))
			for k := range models {
				for l := k; l < models; l++ {
					v := g
					if k == l {
						v += own
					}
					set(k, l, r, q, v)
				}
			}
		}
	}
	if !p.bare {
		return out
	}
	k := models
	bare, bareSD := p.shapeEars(block(sum, k, k), draws, prior, p.channelDraws(rows, k, k+1))
	link := make([]float64, n)
	for m := range models {
		b := block(sum, m, k)
		for r := range n {
			link[r] += b.At(r, r) / (float64(models) * sd[r] * bareSD[r])
		}
	}
	for r := range link {
		link[r] = (link[r] + earJoinWeight*startLink) / (draws + earJoinWeight)
	}
	stats.SmoothMean(link, 2)
	for r := range link {
		link[r] /= math.Max(0.3, math.Sqrt(join[r])) // with the common part alone
		link[r] = math.Max(-earJoinMost, math.Min(earJoinMost, link[r]))
	}
	rc, rb := stats.SymmetricRoot(common), stats.SymmetricRoot(bare)
	for r := range n {
		for q := range n {
			rb.Set(r, q, link[r]*rb.At(r, q))
		}
	}
	var cross mat.Dense
	cross.Mul(rc, rb)
	for r := range n {
		for q := range n {
			for m := range models {
				set(m, k, r, q, cross.At(r, q))
			}
			set(k, k, r, q, bare.At(r, q))
		}
	}
	return out
}

// Prior correlations of one band: between two models, and of a model with the
// bare ear.
const (
	startJoin = 0.7
	startLink = 0.4
)

// shapeEars shrinks one channel's covariance over frequency toward a smooth
// one and returns it with the standard deviation per band.
func (p *panel) shapeEars(sum *mat.Dense, draws float64, prior *mat.SymDense, rows *mat.Dense) (*mat.SymDense, []float64) {
	n := p.bands.N
	v, sd := make([]float64, n), make([]float64, n)
	for r := range n {
		v[r] = (sum.At(r, r) + earSizeWeight*prior.At(r, r)) / (draws + earSizeWeight)
		sd[r] = math.Sqrt(v[r] + earFloorDB*earFloorDB)
	}
	weight := p.shapeWeight(rows, sd)
	out := mat.NewSymDense(n, nil)
	for r := range n {
		for q := r; q < n; q++ {
			smooth := sd[r] * sd[q] * math.Exp(-p.bands.Octaves(r, q)/earWidth)
			if r == q {
				smooth *= 1.05
			}
			own := sum.At(r, q) / (draws + earSizeWeight)
			out.SetSym(r, q, (1-weight)*own+weight*smooth)
		}
		stats.AddSym(out, r, r, earFloorDB*earFloorDB)
	}
	return out, sd
}

// earFloorDB is the least by which ears differ in a band.
const earFloorDB = 0.08

// withoutLevel refers every channel to its mean level below earLevelHz. A
// level is free in every seating, so it must not count as a difference of ears.
func (p *panel) withoutLevel(m *mat.SymDense) *mat.SymDense {
	n, size := p.bands.N, m.SymmetricDim()
	low := 0
	for low < n && p.bands.Hz[low] < survey.EarLevelHz {
		low++
	}
	center := func(row []float64) {
		for k := 0; k < size; k += n {
			var mean float64
			for r := range low {
				mean += row[k+r] / float64(low)
			}
			for r := range n {
				row[k+r] -= mean
			}
		}
	}
	half := mat.DenseCopyOf(m)
	for i := range size {
		center(half.RawRowView(i))
	}
	full := mat.DenseCopyOf(half.T())
	for i := range size {
		center(full.RawRowView(i))
	}
	return stats.Symmetric(full)
}
