package reading

import (
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"asworn/capture/study"
	"asworn/fitcorr/stats"
)

// StatedDF is what a standard uncertainty is worth that a lab states without
// having measured it: known to about a quarter of itself, which JCGM 100:2008, G.4.2,
// counts as ½·(¼)⁻² degrees of freedom.
const StatedDF = 8

const (
	// People slip, exchange figures and signs, so tails are heavy. A reading has its
	// whole weight up to a squared distance of usual standard deviations from the
	// others of its placement, which 95 % of normal errors keep (χ² of two axes), and
	// beyond that the weight of Student's t with tailDF degrees of freedom (Lange,
	// Little & Taylor, J. Am. Stat. Assoc. 84, 1989, find about four to serve;
	// quoted from memory). Its weights from the centre on would count close readings
	// of a few as more than they are.
	tailDF, usual = 4, 6
	// biasMM and biasDF are what is assumed of readers before they are compared
	// (common practice, no source).
	biasMM, biasDF = 0.5, 4
	slipFar        = 5.0 // standard deviations
	// biasStepMM is how finely differences of readers are carried: a fifth of the half millimetre
	// that people read a ruler to.
	biasStepMM = 0.1
	rounds     = 60
)

// cell is what several readings share: a placement and a side.
type cell struct {
	Placement
	side study.Side
}

// Combine estimates every placement that was read. Per axis a reading is
//
//	r = position of that cup + bias of the reader + error,
//
// the bias normal over readers, the error with heavy tails, by iterated weights
// (tailDF). Biases are told from readings of the same
// placement by several people; what all have in common is not seen, and cancels between
// heads. The standard deviations hold what is stated as StatedDF degrees of freedom.
// Given what readings of all placements tell of readers and of the error of one, in steps (settle),
// a placement follows from its own readings alone. No readings give an empty result.
func Combine(rs []study.ReadingRow, stated study.ReadingUncertainty) Result {
	out := Result{At: map[Placement]Estimate{}, Findings: map[string]int{}}
	var read, found, onFixture []int
	sides := map[string]map[study.Side]int{} // findings
	for i, r := range rs {
		if r.Model == "" {
			if sides[r.Subject] == nil {
				sides[r.Subject] = map[study.Side]int{}
			}
			sides[r.Subject][r.Side]++
			if r.OnFixture() {
				onFixture = append(onFixture, i)
			} else {
				found = append(found, i)
			}
		} else {
			read = append(read, i)
		}
	}
	for who, n := range sides {
		out.Findings[who] = slices.Min(slices.Collect(maps.Values(n)))
	}
	f := newFit(rs, read, stated.OneMM)
	f.solve()
	out.One, out.Bias, out.Readers = f.one(), f.bias, f.readers()
	for k, i := range read {
		if d := f.off(k); d > slipFar*out.One.MM {
			out.Slips = append(out.Slips, Slip{rs[i], d})
		}
	}
	out.ApartMM = f.apart()
	f.settle(stated.OneMM)
	f.place(out.At)
	out.Landmark = landmark(rs, found, stated.LandmarkMM)
	out.FixtureLandmark = landmark(rs, onFixture, stated.FixtureLandmarkMM)
	return out
}

// fit is the state of the iteration.
type fit struct {
	rs      []study.ReadingRow // those of placements
	cells   []cell
	names   []string // readers
	cell    []int    // of each reading
	reader  []int
	mu      [][Axes]float64
	beta    [][Axes]float64 // per reader
	betaCov *mat.SymDense
	weight  []float64 // of each reading
	sum     []float64 // of the weights of each cell
	scale2  float64   // variance of one reading, mm²
	df      float64   // that the readings add to what is stated
	bias    Learned
	wearers [][]int // readings of each (gatherWearers)
	within2 float64 // variance of a listener's seatings, mm²
	start   float64 // stated variance, mm²
	// compared is how many readers have a reading in a cell that another reader has too, met
	// how many have one of a listener's model that another has read, in whatever seating.
	compared, met float64
}

func newFit(all []study.ReadingRow, use []int, oneMM float64) *fit {
	f := &fit{start: oneMM * oneMM, bias: Learned{MM: biasMM}, within2: withinMM * withinMM}
	f.scale2 = f.start
	cells, names := map[cell]int{}, map[string]int{}
	for _, i := range use {
		r := all[i]
		c := cell{placementOf(r), r.Side}
		if _, ok := cells[c]; !ok {
			cells[c] = len(f.cells)
			f.cells = append(f.cells, c)
		}
		if _, ok := names[r.Reader]; !ok {
			names[r.Reader] = len(f.names)
			f.names = append(f.names, r.Reader)
		}
		f.rs, f.weight = append(f.rs, r), append(f.weight, 1)
		f.cell, f.reader = append(f.cell, cells[c]), append(f.reader, names[r.Reader])
	}
	f.compared = f.sharing(func(i int) any { return f.cell[i] })
	f.met = f.sharing(func(i int) any {
		if r := f.rs[i]; !r.OnFixture() {
			return wearer{r.Subject, r.Model}
		}
		return f.cell[i]
	})
	f.wearers = f.gatherWearers()
	f.mu, f.sum = make([][Axes]float64, len(f.cells)), make([]float64, len(f.cells))
	f.beta, f.betaCov = make([][Axes]float64, len(f.names)), mat.NewSymDense(max(len(f.names), 1), nil)
	return f
}

func (f *fit) solve() {
	if len(f.rs) == 0 {
		return
	}
	for range rounds {
		f.centre()
		f.reweigh()
	}
	f.centre()
}

// centre finds the cells and the readers' biases given the weights: the fixture's cells
// are eliminated from the normal equations of the biases, of listeners their means.
func (f *fit) centre() {
	per, mean := f.cellMeans()
	info, rhs := f.biasEquations(per, mean)
	var chol mat.Cholesky
	chol.Factorize(info) // positive definite by the prior of the biases
	for a := range Axes {
		var b mat.VecDense
		if chol.SolveVecTo(&b, rhs[a]) != nil {
			continue
		}
		for k := range f.names {
			f.beta[k][a] = b.AtVec(k)
		}
	}
	var inv mat.SymDense
	if chol.InverseTo(&inv) == nil {
		f.betaCov.ScaleSym(f.scale2, &inv)
	}
	f.unbias(per, mean)
}

// unbias sets the cells to their means with the readers' biases taken off.
func (f *fit) unbias(per [][]float64, mean [][Axes]float64) {
	for c := range f.mu {
		f.mu[c] = mean[c]
		for k, w := range per[c] {
			for a := range Axes {
				f.mu[c][a] -= w / f.sum[c] * f.beta[k][a]
			}
		}
	}
}

// cellMeans are, per cell, the weight of each reader and the weighted mean of the
// readings, mm; sum becomes the weight of each cell.
func (f *fit) cellMeans() (per [][]float64, mean [][Axes]float64) {
	clear(f.sum)
	per, mean = make([][]float64, len(f.cells)), make([][Axes]float64, len(f.cells))
	n := len(f.names)
	all := make([]float64, n*len(f.cells))
	for c := range per {
		per[c] = all[n*c : n*c+n]
	}
	for i, w := range f.weight {
		f.sum[f.cell[i]] += w
		per[f.cell[i]][f.reader[i]] += w
	}
	for i, w := range f.weight {
		for a := range Axes {
			mean[f.cell[i]][a] += w * vector(f.rs[i])[a] / f.sum[f.cell[i]]
		}
	}
	return per, mean
}

// biasEquations are the normal equations of the readers' biases, one row per reader: by
// their prior, by placements on the fixture and, with several readers, by wearers.
func (f *fit) biasEquations(per [][]float64, mean [][Axes]float64) (info *mat.SymDense, rhs [Axes]*mat.VecDense) {
	n := len(f.names)
	info = mat.NewSymDense(n, nil)
	for k := range n {
		info.SetSym(k, k, f.scale2/(f.bias.MM*f.bias.MM))
	}
	for a := range rhs {
		rhs[a] = mat.NewVecDense(n, nil)
	}
	for c, readers := range per {
		if !f.cells[c].OnFixture() {
			continue
		}
		for k, w := range readers {
			stats.AddSym(info, k, k, w)
			for l := k; l < n; l++ {
				stats.AddSym(info, k, l, -w*readers[l]/f.sum[c])
			}
		}
	}
	for i, w := range f.weight {
		if !f.cells[f.cell[i]].OnFixture() {
			continue
		}
		k := f.reader[i]
		for a := range Axes {
			rhs[a].SetVec(k, rhs[a].AtVec(k)+w*(vector(f.rs[i])[a]-mean[f.cell[i]][a]))
		}
	}
	if n > 1 {
		for _, rows := range f.wearers {
			f.compareWearer(rows, info, &rhs)
		}
	}
	return info, rhs
}

// reweigh sets scale, the spread of readers and the weights from the residuals.
// A reading has one weight for both axes: a slip is of the whole reading. Its
// residual is taken over its own standard deviation, as far as the cell leaves any.
func (f *fit) reweigh() {
	sq, df := StatedDF*f.start, float64(StatedDF)
	for i, w := range f.weight {
		left := 1 - w/f.sum[f.cell[i]]
		e := f.residual(i)
		for a := range Axes {
			sq += w * e[a] * e[a]
		}
		df += Axes * left
	}
	df = math.Max(StatedDF, df-Axes*math.Max(0, f.compared-1))
	f.scale2, f.df = sq/df, df-StatedDF
	f.spreadWithin()
	if f.met > 1 {
		v, d := biasDF*biasMM*biasMM, float64(biasDF)
		for k, b := range f.beta {
			for a := range Axes {
				v += b[a]*b[a] + f.betaCov.At(k, k)
				d++
			}
		}
		f.bias = Learned{math.Sqrt(v / d), biasDF + Axes*(f.met-1)}
	}
	f.weigh()
}

// weigh sets the weight of each reading from how far it lies from the others of its cell.
func (f *fit) weigh() {
	for i := range f.weight {
		left := 1 - f.weight[i]/f.sum[f.cell[i]]
		if left < 1e-9 {
			f.weight[i] = 1 // alone: nothing to hold it against
			continue
		}
		e := f.residual(i)
		var d2 float64
		for a := range Axes {
			d2 += e[a] * e[a] / (f.scale2 * left)
		}
		f.weight[i] = Weight(d2)
	}
}

// settle finds the cells anew, each from its own readings, given the error of one reading and the
// biases in steps: one placement more, which moves both by a hair, then leaves the others as they
// are to the last bit.
func (f *fit) settle(oneMM float64) {
	one := stats.Stepped(math.Sqrt(f.scale2), oneMM)
	f.scale2 = one * one
	for k := range f.beta {
		for a := range Axes {
			f.beta[k][a] = biasStep(f.beta[k][a])
		}
	}
	for i := range f.weight {
		f.weight[i] = 1
	}
	for range rounds {
		f.unbias(f.cellMeans())
		f.weigh()
	}
	f.unbias(f.cellMeans())
}

// biasStep is the nearest of the steps in which differences of readers are carried, mm.
func biasStep(mm float64) float64 { return biasStepMM * math.Round(mm/biasStepMM) }

// Weight is what a reading counts for that lies off by the square d2 of both axes
// over the variance, at most 1.
func Weight(d2 float64) float64 { return math.Min(1, (tailDF+usual)/(tailDF+d2)) }

// sharing is how many readers have a reading of something that another reader has too.
func (f *fit) sharing(of func(reading int) any) float64 {
	first, shared := map[any]int{}, map[int]bool{}
	for i, reader := range f.reader {
		thing := of(i)
		if k, ok := first[thing]; ok && k != reader {
			shared[k], shared[reader] = true, true
		} else if !ok {
			first[thing] = reader
		}
	}
	return float64(len(shared))
}

func (f *fit) residual(i int) (e [Axes]float64) {
	for a := range Axes {
		e[a] = vector(f.rs[i])[a] - f.mu[f.cell[i]][a] - f.beta[f.reader[i]][a]
	}
	return e
}

// off is how far a reading lies from the others of its cell, mm.
func (f *fit) off(i int) float64 {
	left := 1 - f.weight[i]/f.sum[f.cell[i]]
	if left < 1e-9 {
		return 0
	}
	e := f.residual(i)
	return math.Hypot(e[0], e[1]) / left
}

func (f *fit) one() Learned {
	return Learned{math.Sqrt(f.scale2), StatedDF + f.df}
}

func (f *fit) readers() []Reader {
	out := make([]Reader, len(f.names))
	for k, name := range f.names {
		out[k] = Reader{Name: name, BiasMM: f.beta[k], SE: math.Sqrt(f.betaCov.At(k, k))}
	}
	for _, k := range f.reader {
		out[k].Readings++
	}
	return out
}

// place gathers the cells of each placement. Both cups give their mean, each with
// half a say; a figure for the mean of both joins by its weight. One cup alone
// stands for both.
func (f *fit) place(at map[Placement]Estimate) {
	type sides struct {
		mm [3][Axes]float64
		n  [3]float64
	}
	all := map[Placement]*sides{}
	var order []Placement
	for c, k := range f.cells {
		s := all[k.Placement]
		if s == nil {
			s = &sides{}
			all[k.Placement] = s
			order = append(order, k.Placement)
		}
		s.mm[k.side], s.n[k.side] = f.mu[c], f.sum[c]
	}
	for _, p := range order {
		s := all[p]
		e := Estimate{CupMM: [2][Axes]float64{s.mm[study.LeftSide], s.mm[study.RightSide]}, CupReadings: [2]float64{s.n[study.LeftSide], s.n[study.RightSide]}}
		l, r := s.n[study.LeftSide], s.n[study.RightSide]
		var cups [Axes]float64
		var n float64
		switch {
		case l > 0 && r > 0:
			n = 4 * l * r / (l + r)
			for a := range Axes {
				cups[a] = (s.mm[study.LeftSide][a] + s.mm[study.RightSide][a]) / 2
			}
		case l > 0:
			n, cups = l, s.mm[study.LeftSide]
		case r > 0:
			n, cups = r, s.mm[study.RightSide]
		}
		if s.n[study.BothSides] > 0 && l*r == 0 {
			n = 0 // one cup says less of the mean than a figure for it
		}
		e.Readings = s.n[study.BothSides] + n
		for a := range Axes {
			e.MM[a] = (s.n[study.BothSides]*s.mm[study.BothSides][a] + n*cups[a]) / e.Readings
		}
		at[p] = e
	}
}

// apart is the standard deviation of the mean bias of those who read the fixture
// less that of those who read listeners, mm: none where the same people read
// both alike. The steps of the biases count as a resolution does (JCGM 100:2008, F.2.2.1).
func (f *fit) apart() float64 {
	var n [2]float64
	share := make([][2]float64, len(f.names))
	side := func(i int) int {
		if f.rs[i].OnFixture() {
			return 0
		}
		return 1
	}
	for i := range f.rs {
		n[side(i)]++
		share[f.reader[i]][side(i)]++
	}
	if n[0] == 0 || n[1] == 0 {
		return 0
	}
	c := mat.NewVecDense(len(f.names), nil)
	for k, s := range share {
		c.SetVec(k, s[0]/n[0]-s[1]/n[1])
	}
	return math.Sqrt(math.Max(0, mat.Inner(c, f.betaCov, c)) + biasStepMM*biasStepMM/12*mat.Dot(c, c))
}

// landmark is the standard deviation of one finding of a canal's entrance, from
// repeated findings on the same head, with what is stated.
func landmark(rs []study.ReadingRow, found []int, stated float64) Learned {
	type head struct {
		name string
		side study.Side
	}
	groups := map[head][]int{}
	var order []head
	for _, i := range found {
		h := head{rs[i].Subject, rs[i].Side}
		if groups[h] == nil {
			order = append(order, h)
		}
		groups[h] = append(groups[h], i)
	}
	sum, df := StatedDF*stated*stated, float64(StatedDF)
	for _, h := range order {
		n := float64(len(groups[h]))
		for a := range Axes {
			x := make([]float64, 0, len(groups[h]))
			for _, i := range groups[h] {
				x = append(x, vector(rs[i])[a])
			}
			if _, sd := stats.MeanSD(x); n > 1 {
				sum += sd * sd * (n - 1)
				df += n - 1
			}
		}
	}
	return Learned{math.Sqrt(sum / df), df}
}
