package correct

import (
	"gonum.org/v1/gonum/mat"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/fitcorr/position"
	"asworn/fitcorr/seat"
	"asworn/fitcorr/survey"
)

// displacementHelps holds out each displacement of the survey in turn and
// reports, per third octave with its neighbours, whether predicting it from the
// others comes nearer to what was measured there than leaving the level at the
// marked position does. A row that the survey's fit names as slipped has no say:
// where it truly was is not known.
func displacementHelps(ss []seat.Seating, point capture.Point, e *survey.Ear, ear int) []bool {
	rows := survey.Rows(ss, point)
	if len(rows) != len(e.At) {
		return make([]bool, band.Thirds) // not the rows the survey was made from
	}
	slipped := e.Slipped()
	before, after := make([]float64, band.Thirds), make([]float64, band.Thirds)
	var held mat.Dense
	for _, group := range survey.SameDisplacement(e.At) {
		if e.At[group[0]] == [3]float64{} {
			continue // at the marked position there is nothing to correct
		}
		for _, z := range e.Zones {
			_, ok := survey.LeftOutErrors(&held, group, func(i, j int) float64 { return z.Inv[i][j] }, func(i int) []float64 { return e.Weights[i][z.From:z.To] })
			if !ok {
				continue
			}
			for a, i := range group {
				if slipped[i] {
					continue
				}
				for b := z.From; b < z.To; b++ {
					if !e.Valid[b] {
						continue
					}
					was := rows[i].Ears[ear].LevelDB[b] - e.BaseDB[b]
					is := held.At(a, b-z.From)
					before[b/seat.PerThird] += was * was
					after[b/seat.PerThird] += is * is
				}
			}
		}
	}
	return nearerAround(before, after)
}

// nearerAround reports per third octave whether the mean squares after are
// less than those before, the neighbours counted in: over one third octave
// alone few displacements or listeners decide by luck.
func nearerAround(before, after []float64) []bool {
	out := make([]bool, len(before))
	for t := range out {
		var was, is float64
		for k := max(0, t-1); k < min(len(before), t+2); k++ {
			was += before[k]
			is += after[k]
		}
		out[t] = is < was
	}
	return out
}

// heldOutListener is where one listener wears the headphone, as a level change
// of the survey per kept band, and where all the others do on average.
type heldOutListener struct{ own, others []float64 }

func heldOutListeners(survey *survey.Survey, offsets []position.Offset, ear int) []heldOutListener {
	var subjects []string
	sums, counts := map[string][3]float64{}, map[string]float64{}
	for _, o := range offsets {
		if !o.Worn() {
			continue
		}
		if counts[o.Subject] == 0 {
			subjects = append(subjects, o.Subject)
		}
		v := sums[o.Subject]
		for a := range v {
			v[a] += o.Ears[ear].Value[a]
		}
		sums[o.Subject] = v
		counts[o.Subject]++
	}
	var out []heldOutListener
	if len(subjects) < 2 {
		return nil
	}
	for _, l := range subjects {
		var own, others [3]float64
		for _, s := range subjects {
			for a := range own {
				v := sums[s][a] / counts[s]
				if s == l {
					own[a] = v
				} else {
					others[a] += v / float64(len(subjects)-1)
				}
			}
		}
		var p heldOutListener
		p.own, _ = survey.Predict(ear, own)
		p.others, _ = survey.Predict(ear, others)
		out = append(out, p)
	}
	return out
}

// nearerToListeners reports per third octave whether a seating, whose level change
// from the marked position is here (dB per kept band), comes nearer to where the
// held-out listeners wear the headphone when it is moved to the mean of the other
// listeners, in the third octave with its neighbours.
func nearerToListeners(listeners []heldOutListener, here []float64) []bool {
	before, after := make([]float64, band.Thirds), make([]float64, band.Thirds)
	for _, l := range listeners {
		for b := range here {
			was, is := l.own[b]-here[b], l.own[b]-l.others[b]
			before[b/seat.PerThird] += was * was
			after[b/seat.PerThird] += is * is
		}
	}
	return nearerAround(before, after)
}
