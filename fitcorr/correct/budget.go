package correct

import (
	"math"

	"asworn/capture/band"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// source is one contribution to a final curve's uncertainty, per kept band.
type source struct {
	name string
	kind Evaluation
	std  []float64
	df   float64 // 0 = infinite
}

// uncertainty fills interval and budget after JCGM 100:2008: the standard
// uncertainties of the sources, combined by the root of the sum of squares
// (5.1.2), with effective degrees of freedom by Welch and Satterthwaite (G.4)
// and Student's t at the study's confidence (G.3).
func (fc *FinalCurve) uncertainty(parts []part, rows []seat.Seating, c *Corrector, ear int, opt seat.Options) {
	if c != nil && !c.survey.Ears[ear].Known() {
		c = nil
	}
	sources := []source{fc.reseating(parts, rows, c, ear)}
	if c != nil {
		sources = append(sources, fc.position(parts, c, ear)...)
	} else {
		fc.Notes = append(fc.Notes, "the interval holds seating and calibration only: without survey and listeners the place on the head is not known")
	}
	cal := source{name: "level calibration", kind: TypeB, std: make([]float64, band.Count)}
	for b := range cal.std {
		cal.std[b] = opt.CalibrationDB
	}
	if opt.CalibrationDB > 0 {
		sources = append(sources, cal)
	} else {
		fc.Notes = append(fc.Notes, "the uncertainty of the level calibration is not stated and not in the interval")
	}

	fc.StdErrDB, fc.HalfDB = make([]float64, band.Count), make([]float64, band.Count)
	df := make([]float64, band.Count)
	for b := range fc.StdErrDB {
		var u2, den float64
		for _, s := range sources {
			v := s.std[b] * s.std[b]
			u2 += v
			if s.df > 0 {
				den += v * v / s.df
			}
		}
		fc.StdErrDB[b] = math.Sqrt(u2)
		if den > 0 {
			df[b] = u2 * u2 / den
		}
		fc.HalfDB[b] = stats.Coverage(opt.Confidence, df[b]) * fc.StdErrDB[b]
	}
	for _, s := range sources {
		std, n := overThirds(s.std, fc.Valid), make([]float64, band.Thirds)
		for t := range n {
			n[t] = s.df
		}
		fc.Budget = append(fc.Budget, BudgetRow{s.name, s.kind, std, n})
	}
	total := BudgetRow{Source: string(Combined), Type: Combined, StdDB: overThirds(fc.StdErrDB, fc.Valid), DF: make([]float64, band.Thirds)}
	for t := range total.DF {
		var v, df []float64
		for _, r := range fc.Budget {
			v, df = append(v, r.StdDB[t]*r.StdDB[t]), append(df, r.DF[t])
		}
		total.DF[t] = stats.SumDF(v, df)
	}
	fc.Budget = append(fc.Budget, total)
}

// overThirds returns the root mean square over the valid bands of each third
// octave.
func overThirds(v []float64, valid []bool) []float64 {
	out := make([]float64, band.Thirds)
	for t := range out {
		sum, n := 0.0, 0.0
		for b := t * seat.PerThird; b < (t+1)*seat.PerThird; b++ {
			if valid[b] {
				sum += v[b] * v[b]
				n++
			}
		}
		if n > 0 {
			out[t] = math.Sqrt(sum / n)
		}
	}
	return out
}

// reseating is the scatter of the seatings that their places do not explain
// (type A, measurement noise included): standard deviation of the used ones
// over √n. Of a single one the standard deviation of all ordinary fixture
// seatings counts. Where the survey predicts what the places do to the level,
// that is taken off first: what is left of it is another row of the budget.
func (fc *FinalCurve) reseating(parts []part, rows []seat.Seating, c *Corrector, ear int) source {
	s := source{name: "seating on the fixture", kind: TypeA, std: make([]float64, band.Count)}
	of, n := rows, 1
	if len(parts) > 1 {
		of, n = nil, len(parts)
		for _, p := range parts {
			of = append(of, p.s)
		}
	}
	if len(of) < 2 {
		fc.Notes = append(fc.Notes, "one seating: its scatter is not known and not in the interval")
		s.name = "measurement noise"
		copy(s.std, parts[0].s.Ears[ear].StdErrDB)
		return s
	}
	var ears int
	changes := c.changes(of)
	for b := range s.std {
		v, heard := scatter(of, changes, b)
		s.std[b] = math.Sqrt(v / float64(n))
		ears = max(ears, heard)
	}
	s.df = float64(ears * (len(of) - 1))
	return s
}

// changes are, per ear and seating, the change to the worn mean, dB per kept band, where the survey or leak
// model says by how much; nil elsewhere. c may be nil.
func (c *Corrector) changes(of []seat.Seating) (out [2][][]float64) {
	for ear := range out {
		out[ear] = make([][]float64, len(of))
		for i := 0; i < len(of) && c != nil && c.survey.Ears[ear].Known(); i++ {
			if o, ok := c.offsetOf(of[i]); ok {
				out[ear][i] = c.predict(of[i].Number, o, ear).delta
			}
		}
	}
	return out
}

// scatter is the variance of the levels of seatings in band b, dB², each as measured and moved to the worn
// mean by its changes, pooled over the ears that count there, and how many these are. Cushions of one model are taken to
// scatter alike on both ears (common practice, no source): the two or three seatings that a
// curve often has tell next to nothing of one ear's alone.
func scatter(of []seat.Seating, changes [2][][]float64, b int) (v float64, ears int) {
	for ear := range changes {
		var x []float64
		for i := range of {
			if curve := &of[i].Ears[ear]; curve.Counts(b) {
				x = append(x, curve.LevelDB[b])
				if delta := changes[ear][i]; delta != nil {
					x[len(x)-1] += delta[b]
				}
			}
		}
		if len(x) > 1 {
			_, sd := stats.MeanSD(x)
			v += sd * sd
			ears++
		}
	}
	return v / float64(max(1, ears)), ears
}

// position is what the place of the used seatings against the worn mean may
// still do to the level (type B, from the survey model): the change that is
// left from where they are to the worn mean, its uncertainty and, where it was
// not corrected, itself. The worn mean is common to all of them, so that this
// does not average out over seatings: the draws of the worn mean are the same.
// The variance is divided among the sources by their covariance with the sum.
// The draws follow Student's t where the worn mean has few degrees of freedom
// (JCGM 101:2008, 6.4.9), so that their spread already holds those.
func (fc *FinalCurve) position(parts []part, c *Corrector, ear int) []source {
	names := [...]string{"seal against the worn mean", "place against the worn mean", "correction to the worn mean"}
	out := make([]source, len(names))
	for k, n := range names {
		out[k] = source{name: n, kind: TypeB, std: make([]float64, band.Count)}
	}
	all := band.All()
	// Of each seating, per kept band: the change as drawn, what of it is made, and the source that the
	// rest is of.
	type seating struct {
		truths [][]float64
		made   []float64
		source []int
	}
	var from []seating
	for _, p := range parts {
		o, ok := c.offsetOf(p.s)
		if !ok {
			continue
		}
		s := seating{c.predict(p.s.Number, o, ear).truths, make([]float64, band.Count), make([]int, band.Count)}
		for b := range s.source {
			switch {
			case p.correction != nil && p.correction.Applied[b]:
				s.source[b], s.made[b] = 2, p.correction.DeltaDB[b]
			case all[b].Lower >= survey.LowHz:
				s.source[b] = 1
			}
		}
		from = append(from, s)
	}
	if len(from) == 0 {
		return nil
	}
	counted := float64(len(from))
	// Of the sum over the seatings, dB²: the variance, and the covariance of each source with it.
	squares, total := make([][len(names)]float64, band.Count), make([]float64, band.Count)
	left := make([][len(names)]float64, band.Count)
	for i := range correctionDraws {
		clear(left)
		for _, s := range from {
			for b, v := range s.truths[i] {
				left[b][s.source[b]] += v - s.made[b]
			}
		}
		for b, of := range left {
			sum := of[0] + of[1] + of[2]
			for k, v := range of {
				squares[b][k] += v * sum
			}
			total[b] += sum * sum
		}
	}
	for b := range band.Count {
		sq := squares[b]
		positive := 0.0
		for k := range sq {
			sq[k] = math.Max(sq[k], 0)
			positive += sq[k]
		}
		for k := range sq {
			if positive > 0 {
				out[k].std[b] = math.Sqrt(sq[k]/positive*total[b]/correctionDraws) / counted
			}
		}
	}
	return out
}
