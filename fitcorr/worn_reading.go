package fitcorr

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Read positions. Levels cannot fully tell where a headphone sits on a person,
// since an ear of another shape changes them as a movement does; a ruler beside
// the ear can, though coarsely. A reading r of a seating at d (mean of both
// cups) on a head with landmark error b is r = o + b + d + e: o is where on the
// cup one reads, the same on all heads, b what is wrong with the canal's
// entrance as found on this head, the same in all its readings, e the error of
// one reading. The fixture's survey rows, whose d is known, give o + b of the
// fixture; a worn reading relative to that is d + b_s − b_fixture + e. In the
// panel's latent vector b_s − b_fixture is one more thing that a listener has.

// readDim is the number of axes that are read: forward and up.
const readDim = 2

// readPositions names them among what told ears from positions (Worn.Separation).
const readPositions = "read positions"

// Defaults of ReadingError in mm: a transparent ruler beside the ear, or a
// photograph with a scale (docs/offsets.md).
const (
	readOneMM      = 1.0
	readLandmarkMM = 0.7
	readFixtureMM  = 0.5
)

// readTurnMM is what a reading errs by per axis, the same for all readings of a
// model, because people turn a headband otherwise than the fixture's mark does:
// 2° or 3° at a point 10 mm from the cup's middle.
const readTurnMM = 0.3

func (r ReadingError) withDefaults() ReadingError {
	for _, f := range []struct {
		to    *float64
		value float64
	}{{&r.OneMM, readOneMM}, {&r.LandmarkMM, readLandmarkMM}, {&r.FixtureMM, readFixtureMM}} {
		if *f.to <= 0 {
			*f.to = f.value
		}
	}
	return r
}

// readMark is what readings on the fixture say: the reading at the marked
// position with its variance per axis, and the error of one reading.
type readMark struct {
	known    bool
	at       [readDim]float64
	variance [readDim]float64
	one      float64 // mm
	readings int
}

// Weights of what a lab states against what its readings show, and the fewest
// readings on the fixture that give a mark.
const (
	readOneWeight      = 20.0 // readings
	readLandmarkWeight = 8.0  // listeners
	readFewest         = 3
	readGross          = 5.0 // standard deviations: a slip of the pen
	readWithinMM       = 1.5 // usual spread of one listener's positions
	readBetweenMM      = 3.0 // and of a panel's, landmarks included
)

// fixtureReading is a reading on the fixture less the position that is known
// without it.
type fixtureReading struct {
	row      int // of the model's blocked seatings
	less     [readDim]float64
	variance [readDim]float64 // of that position
}

// fixtureReadings gathers the readings on the fixture of one model: survey rows
// at their stated displacement if that is no turn, ordinary ones where their levels place them when
// those know it as well as a ruler does.
func (p *prepared) fixtureReadings(stated ReadingError) []fixtureReading {
	var out []fixtureReading
	for i, s := range p.blocked {
		if s.Subject != fixtureSubject || s.Read == nil {
			continue
		}
		f := fixtureReading{row: i}
		var at [3]float64
		if s.Survey != nil {
			at = s.Survey.Vector()
			if at[Rotation] != 0 {
				continue // a turn moves the point that is read, nobody knows how far
			}
			for a := range readDim {
				f.variance[a] = p.setup.ruler[a] * p.setup.ruler[a]
			}
		} else {
			o, _, _, ok := fixtureOffset(s, i, &p.setup.models, p.leaks[s.ID], p.inflate, readMark{})
			if !ok || o.Headset.Cov[0][0]+o.Headset.Cov[1][1] > 2*stated.OneMM*stated.OneMM {
				continue
			}
			at = o.Headset.Value
			for a := range readDim {
				f.variance[a] = o.Headset.Cov[a][a]
			}
		}
		for a, v := range readVector(s) {
			f.less[a] = v - at[a]
		}
		out = append(out, f)
	}
	return out
}

func readVector(s Seating) [readDim]float64 { return [readDim]float64{s.Read.ForwardMM, s.Read.UpMM} }

// readMarks sets the marks of all models that were read on the fixture. The
// error of one reading is pooled over models: what the lab states, and what the
// fixture's readings show.
func readMarks(models []*prepared, stated ReadingError) {
	readings := make([][]fixtureReading, len(models))
	sum, count := readOneWeight*stated.OneMM*stated.OneMM, readOneWeight
	for i, p := range models {
		if p.setup == nil {
			continue
		}
		readings[i] = p.withoutSlips(p.fixtureReadings(stated), stated)
		n := float64(len(readings[i]))
		if n < readFewest {
			if n > 0 || p.readOnListeners() {
				p.cannot("read positions are not used: %d usable on the fixture, where at least %d are needed to compare with", len(readings[i]), readFewest)
			}
			readings[i] = nil
			continue
		}
		for a := range readDim {
			var mean float64
			for _, f := range readings[i] {
				mean += f.less[a] / n
			}
			for _, f := range readings[i] {
				d := f.less[a] - mean
				sum += (d*d*n/(n-1) - f.variance[a]) / readDim
			}
		}
		count += n
	}
	one := math.Max(math.Sqrt(math.Max(0, sum/count)), 0.25*stated.OneMM)
	for i, p := range models {
		if len(readings[i]) == 0 {
			continue
		}
		m := readMark{known: true, one: one, readings: len(readings[i])}
		for a := range readDim {
			var weights float64
			for _, f := range readings[i] {
				w := 1 / (one*one + f.variance[a])
				weights += w
				m.at[a] += w * f.less[a]
			}
			m.at[a] /= weights
			m.variance[a] = 1/weights + readTurnMM*readTurnMM
		}
		p.setup.mark = m
		p.wornSlips()
	}
}

func (p *prepared) readOnListeners() bool {
	return slices.ContainsFunc(p.blocked, func(s Seating) bool { return s.Subject != fixtureSubject && s.Read != nil })
}

// withoutSlips leaves out fixture readings that no ruler explains: they are
// taken off their seatings and named.
func (p *prepared) withoutSlips(readings []fixtureReading, stated ReadingError) []fixtureReading {
	var middle [readDim]float64
	for a := range middle {
		var x []float64
		for _, f := range readings {
			x = append(x, f.less[a])
		}
		middle[a] = medianOf(x)
	}
	return slices.DeleteFunc(readings, func(f fixtureReading) bool {
		for a := range middle {
			d := math.Abs(f.less[a] - middle[a])
			if d > readGross*math.Sqrt(stated.OneMM*stated.OneMM+f.variance[a]) {
				p.slip(f.row, d, "the others on the fixture")
				return true
			}
		}
		return false
	})
}

func (p *prepared) slip(row int, by float64, others string) {
	s := &p.blocked[row]
	s.Read = nil
	p.cannot("seating %s: the position read there is %.0f mm from what %s say, and is not used: check the entry", s.ID, by, others)
}

// wornSlips takes worn readings that are far from the listener's others, or
// with fewer than three of those from the panel's, off their seatings and names
// them.
func (p *prepared) wornSlips() {
	by := map[string][]int{}
	var all []int
	for i, s := range p.blocked {
		if s.Subject != fixtureSubject && s.Survey == nil && s.Read != nil {
			by[s.Subject] = append(by[s.Subject], i)
			all = append(all, i)
		}
	}
	middle := func(rows []int, a int) float64 {
		var x []float64
		for _, j := range rows {
			x = append(x, readVector(p.blocked[j])[a])
		}
		return medianOf(x)
	}
	type slip struct {
		by     float64
		others string
	}
	found := map[int]slip{}
	for _, i := range all {
		s := p.blocked[i]
		rows, others, limit := by[s.Subject], "the others of "+s.Subject, readGross*math.Hypot(readWithinMM, p.setup.mark.one)
		if len(rows) < 3 {
			rows, others, limit = all, "the others of the panel", readGross*math.Hypot(readBetweenMM, p.setup.mark.one)
		}
		for a, v := range readVector(s) {
			if d := math.Abs(v - middle(rows, a)); len(rows) > 2 && d > limit {
				found[i] = slip{d, others}
			}
		}
	}
	for _, i := range all {
		if f, ok := found[i]; ok {
			p.slip(i, f.by, f.others)
		}
	}
}

// readOf is a worn reading relative to the fixture's mark, nil without one.
func (m readMark) readOf(s Seating) *[readDim]float64 {
	if !m.known || s.Read == nil {
		return nil
	}
	r := readVector(s)
	for a := range r {
		r[a] -= m.at[a]
	}
	return &r
}

// addReading adds the rows of a read position to a seating's observation.
func (p *panel) addReading(w *wornSeating, cov *mat.SymDense) {
	from := 2 * p.bands.n
	for a := range readDim {
		w.slope.Set(from+a, a, 0.5)
		w.slope.Set(from+a, 3+a, 0.5)
		if w.read == nil {
			cov.SetSym(from+a, from+a, missingVar)
			continue
		}
		w.z.SetVec(from+a, w.read[a])
		cov.SetSym(from+a, from+a, p.reading.OneMM*p.reading.OneMM)
	}
}

// readings sums up what was read of model m, nil when nothing could be used.
func (p *panel) readings(m int) *Readings {
	r := Readings{OnFixture: p.models[m].mark.readings, OneMM: p.reading.OneMM, LandmarkMM: p.reading.LandmarkMM}
	for _, l := range p.listeners {
		for i := range l.worn {
			if l.worn[i].model == m && l.worn[i].read != nil {
				r.Worn++
			}
		}
	}
	if r.Worn == 0 {
		return nil
	}
	return &r
}

// meanDF is the degrees of freedom of a worn mean. What listeners teach has df;
// what the lab states of its readings on the fixture has no limit, and where
// readings are used that is most of it (Welch and Satterthwaite: JCGM 100:2008,
// G.4). A source counts by the weight of the readings in the mean, the variance
// left over what the readings alone would leave.
func (p *panel) meanDF(m int, mean Estimate, df float64) float64 {
	if !p.read {
		return df
	}
	var heads, count float64
	for _, l := range p.listeners {
		k := 0.0
		for i := range l.worn {
			if l.worn[i].model == m && l.worn[i].read != nil {
				k++
			}
		}
		if k > 0 {
			heads++
			count += k
		}
	}
	if heads == 0 {
		return df
	}
	var all, learned float64
	r := p.reading
	for a := range readDim {
		stated := r.FixtureMM*r.FixtureMM + p.models[m].mark.variance[a]
		alone := stated + r.LandmarkMM*r.LandmarkMM/heads + r.OneMM*r.OneMM/count
		v := mean.Cov[a][a]
		weight := math.Min(1, v/alone)
		all += v
		learned += math.Max(0, v-weight*weight*stated)
	}
	return pooledDF(learned, df, all-learned, 0)
}

// mostDF is where Student's t is as good as normal.
const mostDF = 200.0

// pooledDF is the degrees of freedom of a sum of two independent variances, 0
// standing for no limit (Welch and Satterthwaite: JCGM 100:2008, G.4.1).
func pooledDF(v1, df1, v2, df2 float64) float64 {
	var den float64
	if df1 > 0 {
		den += v1 * v1 / df1
	}
	if df2 > 0 {
		den += v2 * v2 / df2
	}
	if v := v1 + v2; v*v < mostDF*den {
		return v * v / den
	}
	return 0
}

// near returns the columns of a seating's observation for what stands behind
// the ears in its model's block: the apparent position; where positions were
// read also what of it is ear, which a ruler does not see, and the landmark.
func (p *panel) near(w *wornSeating) *mat.Dense {
	if !p.read {
		return w.slope
	}
	out := mat.NewDense(p.rows(), 2*headsetDim+readDim, nil)
	out.Slice(0, p.rows(), 0, headsetDim).(*mat.Dense).Copy(w.slope)
	from := 2 * p.bands.n
	for a := range readDim {
		for b := range headsetDim {
			out.Set(from+a, headsetDim+b, -w.slope.At(from+a, b))
		}
		out.Set(from+a, 2*headsetDim+a, 1)
	}
	return out
}

// fillLandmark sets the columns of a landmark's error, the same in all models.
func (p *panel) fillLandmark(out *mat.Dense, col int, sd float64) {
	for m := range p.models {
		for a := range readDim {
			out.Set(p.landmark(m)+a, col+a, sd)
		}
	}
}

// fillMarks sets the columns of what the marks err by, each model its own, and
// returns how many they are.
func (p *panel) fillMarks(out *mat.Dense, col int) int {
	for m, pm := range p.models {
		for a := range readDim {
			out.Set(p.landmark(m)+a, col+readDim*m+a, math.Sqrt(pm.mark.variance[a]))
		}
	}
	return readDim * len(p.models)
}

// maximiseReading learns the error of one reading and of the landmarks from the
// panel: what the residuals and the listeners' landmarks show, with what was
// known before as so many more of them.
func (p *panel) maximiseReading(fit *panelFit) {
	now := p.stated
	sum, count := readLandmarkWeight*readDim*now.LandmarkMM*now.LandmarkMM, readLandmarkWeight*readDim
	for i := range fit.per {
		lf := &fit.per[i]
		for a := range readDim {
			r := p.landmark(0) + a
			sum += lf.x.AtVec(r)*lf.x.AtVec(r) + dotRows(lf.xRoot, r, r)
			count++
		}
	}
	now.LandmarkMM = math.Sqrt(sum / count)
	from := 2 * p.bands.n
	sum, count = readOneWeight*readDim*now.OneMM*now.OneMM, readOneWeight*readDim
	p.eachSeating(fit, allModels, func(_ int, w *wornSeating, b *blockPosterior, sp *seatPosterior) {
		if w.read == nil {
			return
		}
		for a := range readDim {
			// The reading is the mean of both cups and the landmark.
			row := mat.NewVecDense(p.block(), nil)
			var given float64
			for i := range 2 {
				for j := range p.block() {
					row.SetVec(j, row.AtVec(j)+sp.lever.At(3*i+a, j)/2)
				}
				for k := range 2 {
					given += sp.given.At(3*i+a, 3*k+a) / 4
				}
			}
			at := 2*p.bands.n + 2*headsetDim + a
			row.SetVec(at, row.AtVec(at)+1)
			var v mat.VecDense
			v.MulVec(b.cov, row)
			sum += sp.resid[from+a]*sp.resid[from+a] + mat.Dot(&v, row) + given
			count++
		}
	})
	now.OneMM = math.Sqrt(sum / count)
	p.reading = now
}

// readGap is a reading's difference from a position on the fixture with the
// variance that it should have, per axis.
func (m readMark) readGap(s Seating, pos [headsetDim]float64, cov *mat.SymDense) (gap, variance [readDim]float64) {
	for a, r := range readVector(s) {
		gap[a] = r - m.at[a] - (pos[a]+pos[3+a])/2
		variance[a] = (cov.At(a, a)+cov.At(3+a, 3+a)+2*cov.At(a, 3+a))/4 + m.one*m.one + m.variance[a]
	}
	return gap, variance
}

// fuse adds a reading on the fixture to a position: a Kalman step per axis of
// r = (left + right)/2 + e.
func (m readMark) fuse(s Seating, pos *[headsetDim]float64, cov *mat.SymDense) {
	if !m.known || s.Read == nil {
		return
	}
	for a := range readDim {
		gap, variance := m.readGap(s, *pos, cov)
		var c [headsetDim]float64
		for i := range c {
			c[i] = (cov.At(i, a) + cov.At(i, 3+a)) / 2
		}
		for i := range c {
			pos[i] += c[i] / variance[a] * gap[a]
			for j := i; j < headsetDim; j++ {
				addSym(cov, i, j, -c[i]*c[j]/variance[a])
			}
		}
	}
}
