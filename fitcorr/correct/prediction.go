package correct

import (
	"math"
	"math/rand/v2"

	"asworn/capture/band"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
)

// prediction is the change of one ear of one seating to the worn mean, with
// draws of what the change truly is.
type prediction struct {
	delta    []float64 // Δ by the estimates, dB per kept band, faded where survey and leak end
	position []bool    // kept bands that the position changes
	seal     sealChange
	known    []bool      // kept bands that position or seal changes
	truths   [][]float64 // Δ as drawn, dB: draws × kept bands
	moves    []float64   // the whole change, limited in depth, per kept band; 0 where nothing is known
	// Per third octave, dB²: Σ move², and per draw Σ move·off of what the measured curve is off by.
	square []float64
	toward [][]float64
	space  []float64 // what truths and toward are made of
}

// move returns a share of the change in band b, dB, limited in depth.
func (p *prediction) move(b int, share float64) float64 {
	return share * math.Max(-correctionDepthDB, math.Min(p.delta[b], correctionDepthDB))
}

// begin makes ready for draws, the change being known.
func (p *prediction) begin() {
	p.moves, p.square = make([]float64, band.Count), make([]float64, band.Thirds)
	for b, ok := range p.known {
		if ok {
			p.moves[b] = p.move(b, 1)
			p.square[b/seat.PerThird] += p.moves[b] * p.moves[b]
		}
	}
	p.space = make([]float64, correctionDraws*(band.Count+band.Thirds))
}

// nearer returns the fraction of the draws in which a share of the change brings the
// measured curve nearer to the truth over the given third octaves, by the mean
// square over known bands: where Σ(off² − (off − share·move)²) > 0. The curve's own scatter
// stays in it either way, and makes a small correction a matter of luck.
func (p *prediction) nearer(thirds []int, share float64) float64 {
	var square float64
	for _, t := range thirds {
		square += p.square[t]
	}
	count := 0
	for _, of := range p.toward {
		var toward float64
		for _, t := range thirds {
			toward += of[t]
		}
		if 2*toward > share*square {
			count++
		}
	}
	return float64(count) / correctionDraws
}

// share returns how much of the change to make over the given third octaves:
// the largest share that brings the curve nearer with probability nearerWhole.
// Each step back from the whole is the less likely to do harm. ok is false when
// not even leastShare is sure enough.
func (p *prediction) share(thirds []int) (share float64, ok bool) {
	const step = 0.05
	for share = 1; share >= leastShare-step/2; share -= step {
		if p.nearer(thirds, share) >= nearerWhole {
			return share, true
		}
	}
	return 0, false
}

// surest returns the third octaves, of those given, to correct and how much of
// the change to make: all of them when that is sure enough to bring the curve
// nearer, else those alone that are themselves the surer. Both are empty when
// nothing is sure.
func (p *prediction) surest(thirds []int) (sure []int, share float64) {
	alone := make([]float64, len(thirds))
	for i, t := range thirds {
		alone[i] = p.nearer([]int{t}, 1)
	}
	for _, least := range []float64{nearerThird, 0.6, 0.7, 0.8, 0.9} {
		sure = nil
		for i, t := range thirds {
			if alone[i] >= least {
				sure = append(sure, t)
			}
		}
		if share, ok := p.share(sure); ok && len(sure) > 0 {
			return sure, share
		}
	}
	return nil, 0
}

// stderr returns the root mean square over the draws of what is left in band b
// after a change.
func (p *prediction) stderr(b int, change float64) float64 {
	sq := 0.0
	for _, truth := range p.truths {
		sq += (truth[b] - change) * (truth[b] - change)
	}
	return math.Sqrt(sq / correctionDraws)
}

// deepest returns the largest change within a third octave, in dB.
func (p *prediction) deepest(third int) float64 {
	deep := 0.0
	for b := third * seat.PerThird; b < (third+1)*seat.PerThird; b++ {
		if p.known[b] {
			deep = math.Max(deep, math.Abs(p.delta[b]))
		}
	}
	return deep
}

// draw adds one draw of what the change truly is, given the level at the worn
// mean and at the seating's place. The survey errs alike over about a third
// octave, and at the worn mean for all seatings; a leak over all bands.
func (p *prediction) draw(e *survey.Ear, own *placedSeating, surface *conditioned, common, rng *rand.Rand) {
	truth, toward := p.space[:band.Count], p.space[band.Count:band.Count+band.Thirds]
	p.space = p.space[band.Count+band.Thirds:]
	p.truths, p.toward = append(p.truths, truth), append(p.toward, toward)
	var meanZ, hereZ, seatingZ float64
	sealZ := rng.NormFloat64()
	zone := 0
	for b := 0; b < band.Count; {
		third := b / seat.PerThird
		if b%seat.PerThird == 0 {
			meanZ, hereZ, seatingZ = common.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
		}
		for zone < len(e.Zones)-1 && b >= e.Zones[zone].To {
			zone++
		}
		to := min((third+1)*seat.PerThird, band.Count)
		if zone < len(e.Zones)-1 {
			to = min(to, e.Zones[zone].To)
		}
		r := surface.root[zone]
		there, here := r[0]*meanZ, r[1]*meanZ+r[2]*hereZ // what the surface errs by, in terms of the scatter
		var sum float64
		for ; b < to; b++ {
			scatter := seatingZ * e.Scatter[b] // by how much the seating lies below the fixture's level there for other reasons
			v := p.seal.change[b] + sealZ*p.seal.stderr[b]
			if p.position[b] {
				at := surface.level[1][b] + e.Scatter[b]*here
				v += surface.level[0][b] + e.Scatter[b]*there - at
				if own != nil && own.counts[zone] {
					scatter = at - own.level[b]
				}
			}
			truth[b] = v
			sum += p.moves[b] * (v + scatter)
		}
		toward[third] += sum
	}
}
