package samples

import "math"

// How breaks in a signal are looked for. Common practice (linear prediction,
// Makhoul, Proc. IEEE 63, 1975, quoted from memory), no source for the sizes.
const (
	breakOrder   = 4     // of the linear prediction
	breakSeconds = 0.004 // length of a block
	breakLeast   = 128   // samples of a block
	breakChunk   = 16    // samples that a block is a multiple of
	breakReach   = breakOrder + 3
	breakCrowd   = 3 * breakReach // samples of a block that may be as far off as a quarter of the worst
	breakDoubt   = 5.0            // error over mean from which a block is predicted anew without the place
	gaussMean    = 0.798          // mean magnitude over standard deviation of Gaussian noise, √(2/π)
)

// Break is a place where a signal is not what its past predicts.
type Break struct {
	At   int     // sample
	Size float64 // of the prediction error, in sample values
	Over float64 // a ratio: the same over the mean magnitude of that beside it
}

// predictor holds the weights of the samples before, the last first.
type predictor [breakOrder]float64

// breakBlock is what is known of one block of a signal.
type breakBlock struct {
	from        int  // its first sample
	calm        bool // too small for any error that counts, and not predicted
	w           predictor
	at          int // of the worst error
	crowd       int // samples nearly as bad, counted where the worst may be a break
	worst, mean float64
}

// BreakSearch is what is known of a signal beforehand.
type BreakSearch struct {
	RateHz float64
	Turn   []float64 // of the sweep that it follows: 2·cos ω at each of its samples; nil for other signals
}

// Find returns where between two samples the prediction error exceeds
// ratio times that beside it, ascending. start is where the excitation starts.
//
// A sweep is a sine whose frequency is known, whatever the response does to it:
// x(n+1) + x(n−1) = 2·cos ω·x(n). Taking that away leaves little of the sweep
// itself; linear prediction over short blocks takes what is left, harmonics and
// hum with it, so that mostly noise remains.
func (c BreakSearch) Find(x []float64, start, from, to int, peak, ratio float64) (out []Break) {
	size := max(breakLeast, int(breakSeconds*c.RateHz)) / breakChunk * breakChunk
	least := lapseSize * peak
	y, e := make([]float64, breakOrder+size), make([]float64, size)
	var before, last, now breakBlock
	judge := func() {
		if last.worst <= least {
			return
		}
		for _, b := range [2]*breakBlock{&before, &now} {
			if b.calm {
				c.still(y, x, start, b.from)
				b.predict(e, y, least, ratio)
			}
		}
		beside := max(last.mean, before.mean, now.mean)
		switch {
		case last.worst <= ratio*max(before.mean, now.mean):
		case last.worst > ratio*beside && last.crowd <= breakCrowd:
			out = append(out, Break{last.at, last.worst, last.worst / max(beside, 1e-12)})
		case before.from < last.from && last.from < now.from:
			c.still(y, x, start, last.from)
			at, size := junction(e, y, before, now)
			if over := size / max(before.mean, now.mean, 1e-12); size > least && over > ratio {
				out = append(out, Break{last.from + at, size, over})
			}
		}
	}
	first := from + breakOrder + 1
	for b := first; b+size <= to; b += size {
		before, last, now = last, now, breakBlock{from: b}
		// No prediction leaves more than there is.
		if now.calm = c.still(y, x, start, b) <= least*least; !now.calm {
			now.predict(e, y, least, ratio)
		}
		if b > first {
			judge()
		}
	}
	before, last, now = last, now, breakBlock{}
	judge()
	return out
}

// still writes to y the samples of x from b−breakOrder on, the sweep's own
// frequency taken away, and returns the sum of their squares.
func (c BreakSearch) still(y, x []float64, start, b int) (power float64) {
	b -= breakOrder
	turn := c.Turn
	if k := b - 1 - start; turn != nil && k >= 0 && k+len(y) <= len(turn) {
		x = x[b-2:][:len(y)+2]
		v2, v1 := x[0], x[1]
		x, turn, y = x[2:], turn[k:][:len(y)], y[:len(x)-2]
		var also float64
		for i := 0; i+3 < len(x); i += 4 {
			a, b, c, d := x[i], x[i+1], x[i+2], x[i+3]
			v2, v1 = a-turn[i]*v1+v2, b-turn[i+1]*a+v1
			e, f := c-turn[i+2]*b+a, d-turn[i+3]*c+b
			y[i], y[i+1], y[i+2], y[i+3] = v2, v1, e, f
			power, also = power+v2*v2+e*e, also+v1*v1+f*f
			v2, v1 = c, d
		}
		return power + also
	}
	copy(y, x[b:])
	return math.Inf(1) // it is predicted anyway
}

// predict works out what there is to know of a block whose samples still has written to y.
func (b *breakBlock) predict(e, y []float64, least, ratio float64) {
	var left float64
	if b.w, left = fitPredictor(y); left <= least*least { // nor is any single error above it
		b.mean = gaussMean * math.Sqrt(left/float64(len(e)))
		return
	}
	b.look(e, y, 0, 0)
	if b.worst > least && b.worst > breakDoubt*b.mean {
		// The break itself bends the prediction of its block.
		i := b.at - b.from
		skipFrom, skipTo := max(0, i-breakReach), min(len(e), i+2*breakReach)
		b.w, _ = fitWithout(y, skipFrom, skipTo)
		b.look(e, y, skipFrom, skipTo)
	}
	if b.worst > least && b.worst > ratio*b.mean {
		b.crowd = crowdOf(e, b.worst)
	}
}

// look measures the prediction errors of a block. The worst is looked for among
// all, the mean leaves out what is beside it.
func (b *breakBlock) look(e, y []float64, skipFrom, skipTo int) {
	worst, at := b.w.errors(e, y)
	if skipTo == 0 {
		skipFrom, skipTo = max(0, at-3), min(len(e), at+breakReach+1)
	}
	head, rest := e[:skipFrom], e[skipTo:]
	b.worst, b.at = worst, b.from+at
	b.mean = (Sum(head) + Sum(rest)) / float64(len(head)+len(rest))
}

// crowdOf counts the errors of a block that are nearly as bad as the worst.
func crowdOf(e []float64, worst float64) (n int) {
	for _, a := range e {
		if a > worst/4 {
			n++
		}
	}
	return n
}

// junction looks for the place in a block up to which the predictor of the
// block before serves, and from which that of the block behind it does: where
// samples are lost the sweep goes on at another frequency. size is the error
// there, 0 when there is no such place.
func junction(e, y []float64, before, behind breakBlock) (at int, size float64) {
	const slack = 4 // the sweep moves on meanwhile
	usual := max(before.mean, behind.mean, 1e-12)
	before.w.errors(e, y)
	at = len(e)
	for i, a := range e {
		if a > slack*breakDoubt*usual {
			at = i
			break
		}
	}
	for _, a := range e[at:min(at+breakReach, len(e))] {
		size = max(size, a)
	}
	if at+breakReach < len(e) {
		behind.w.errors(e, y)
		if rest := e[at+breakReach:]; Sum(rest) > slack*usual*float64(len(rest)) {
			return 0, 0
		}
	}
	return at, size
}

// moments are the sums Σ x(n−i)·x(n−j).
type moments [breakOrder + 1][breakOrder + 1]float64

// fitPredictor returns the best linear prediction of the samples of x behind
// the first breakOrder ones, and the sum of the squared errors. They are a multiple of four.
func fitPredictor(x []float64) (w predictor, left float64) {
	const p = breakOrder
	var c moments
	var c0, c1, c2, c3, c4 float64
	v4, v3, v2, v1 := x[0], x[1], x[2], x[3]
	for rest, n := x[p:], 0; n+3 < len(rest); n += 4 { // without moves from v1 to v2 and so on
		a, b, c, d := rest[n], rest[n+1], rest[n+2], rest[n+3]
		c0, c1, c2, c3, c4 = c0+a*a, c1+a*v1, c2+a*v2, c3+a*v3, c4+a*v4
		c0, c1, c2, c3, c4 = c0+b*b, c1+b*a, c2+b*v1, c3+b*v2, c4+b*v3
		c0, c1, c2, c3, c4 = c0+c*c, c1+c*b, c2+c*a, c3+c*v1, c4+c*v2
		c0, c1, c2, c3, c4 = c0+d*d, c1+d*c, c2+d*b, c3+d*a, c4+d*v1
		v4, v3, v2, v1 = a, b, c, d
	}
	c[0] = [p + 1]float64{c0, c1, c2, c3, c4}
	// A step in both indices changes the sum at its two ends only.
	end := len(x) - 1
	for i := 1; i <= p; i++ {
		for j := i; j <= p; j++ {
			c[i][j] = c[i-1][j-1] + x[p-i]*x[p-j] - x[end+1-i]*x[end+1-j]
		}
	}
	return c.solve()
}

// fitWithout is fitPredictor that leaves out the predictions from one index to
// another, counted from the first prediction.
func fitWithout(x []float64, from, to int) (w predictor, left float64) {
	const p = breakOrder
	var c moments
	for n := p; n < len(x); n++ {
		if n >= p+from && n < p+to {
			continue
		}
		for i := range p + 1 {
			for j := i; j <= p; j++ {
				c[i][j] += x[n-i] * x[n-j]
			}
		}
	}
	return c.solve()
}

func (c *moments) solve() (w predictor, left float64) {
	const p = breakOrder
	var a [p][p + 1]float64
	for i := range p {
		for j := range p {
			a[i][j] = c[min(i, j)+1][max(i, j)+1]
		}
		a[i][i] *= 1 + 1e-12
		a[i][p] = c[0][i+1]
	}
	for i := range p { // symmetric and positive: no pivots
		if !(a[i][i] > 1e-300) {
			break
		}
		for k := i + 1; k < p; k++ {
			f := a[k][i] / a[i][i]
			for j := i; j <= p; j++ {
				a[k][j] -= f * a[i][j]
			}
		}
	}
	for i := p - 1; i >= 0; i-- {
		if !(a[i][i] > 1e-300) {
			continue
		}
		s := a[i][p]
		for j := i + 1; j < p; j++ {
			s -= a[i][j] * w[j]
		}
		w[i] = s / a[i][i]
	}
	left = c[0][0]
	for i, v := range w {
		left -= v * c[0][i+1]
	}
	return w, max(0, left)
}

// errors writes the magnitudes of the prediction errors of x, which begins with
// the breakOrder samples before the first, and returns the worst: of positive numbers
// the larger has the larger bits, whose maximum takes no branch.
func (w predictor) errors(e, x []float64) (worst float64, at int) {
	w1, w2, w3, w4 := w[0], w[1], w[2], w[3]
	most := uint64(0)
	for n := 0; n+breakChunk <= len(e); n += breakChunk {
		v, out := (*[breakChunk + breakOrder]float64)(x[n:]), (*[breakChunk]float64)(e[n:])
		chunk := uint64(0)
		for i := range out {
			a := math.Abs(v[i+4] - w1*v[i+3] - w2*v[i+2] - w3*v[i+1] - w4*v[i])
			out[i] = a
			chunk = max(chunk, math.Float64bits(a))
		}
		if chunk > most {
			most, at = chunk, n
		}
	}
	worst = math.Float64frombits(most)
	for i, a := range e[at:][:breakChunk] {
		if a == worst {
			return worst, at + i
		}
	}
	return 0, 0 // not a number
}

// Limits of a break. Common practice, no source; docs/developing/quality.md
// shows what they find.
const (
	LapseRatio = 12.0  // a ratio: prediction error over its mean magnitude beside it
	LapseFaint = 7.0   // the same in a second channel at the same place
	lapseSize  = 0.003 // prediction error, of the recorded peak: smaller ones do no harm
)
