package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"slices"

	"asworn/capture"
	"asworn/capture/workers"
	"asworn/cmd/internal/simulate"
	"asworn/fitcorr"
	"asworn/fitcorr/stats"
)

// difference is one estimate on one axis, forward or up, beside its truth.
type difference struct{ err, sd, df float64 } // mm; df of 0 is many

// The estimates that are shown of each source of knowledge. What a verdict tests is
// the difference of a fixture seating from the panel's mean.
const (
	cupApart = iota // each cup's difference
	headsetApart
	fixturePlace
	meanPlace
	fixtureTurn // half of what the left cup is before or above the right one
	meanTurn
	estimates
)

var estimateNames = [estimates]string{"cup less panel's mean", "headset less panel's mean", "fixture seating", "panel's mean", "fixture seating, half left less right", "panel's mean, half left less right"}

// answers is what one source of knowledge says of some studies.
type answers struct {
	at       [estimates][]difference
	verdicts []verdictTrial
}

func (t *answers) add(q int, e fitcorr.Estimate, truth [3]float64) {
	for a := range 2 {
		t.at[q] = append(t.at[q], difference{e.Value[a] - truth[a], math.Sqrt(e.Cov[a][a]), e.DF})
	}
}

// turn adds half of the left cup's place less the right one's; common is their mean, whose
// variance and the cups' tell that of the difference.
func (t *answers) turn(q int, ears [2]fitcorr.Estimate, common fitcorr.Estimate, left, right [3]float64) {
	for a := range 2 {
		v := (ears[0].Cov[a][a]+ears[1].Cov[a][a])/2 - common.Cov[a][a]
		t.at[q] = append(t.at[q], difference{(ears[0].Value[a] - ears[1].Value[a] - left[a] + right[a]) / 2, math.Sqrt(math.Max(1e-9, v)), common.DF})
	}
}

func (t *answers) join(u answers) {
	for q := range t.at {
		t.at[q] = append(t.at[q], u.at[q]...)
	}
	t.verdicts = append(t.verdicts, u.verdicts...)
}

// The sources: readings without sound, sound without readings, both.
var sourceNames = [...]string{"readings alone", "sound alone", "both"}

// alone writes, of every condition, what readings and sound say of fixture seatings,
// each alone and both together.
func alone(ctx context.Context, w io.Writer, results []result, jobs int) error {
	fmt.Fprint(w, `| condition | of | estimate | RMS error, mm | stated, RMS, mm | error over stated, RMS | degrees of freedom, least | covers, % | 0 mm: use | 6 mm: move | wrong |
|---|---|---|---|---|---|---|---|---|---|---|
`)
	var name string // of the condition whose generators are being put together
	var of [len(sourceNames)]answers
	var on string
	flush := func() {
		for k, source := range sourceNames {
			of[k].row(w, on+", "+name, source)
		}
		of, on = [len(sourceNames)]answers{}, ""
	}
	slices.SortStableFunc(results, func(a, b result) int { return cmp.Compare(a.seed%generatorSeeds, b.seed%generatorSeeds) })
	for _, r := range results {
		all := make([][len(sourceNames)]answers, len(r.scores))
		err := workers.Each(ctx, len(all), max(jobs, 1), nil, func(ctx context.Context) func(int) error {
			return func(i int) (err error) {
				all[i], err = tellApart(ctx, r.condition, generators[r.generator].world, r.seed+uint64(i), newNotes())
				return err
			}
		})
		if err != nil {
			return err
		}
		if name != r.name && on != "" {
			flush()
		}
		name, on = r.name, on+r.generator
		for k := range of {
			for i := range all {
				of[k].join(all[i][k])
			}
		}
	}
	flush()
	return nil
}

func (t answers) row(w io.Writer, condition, source string) {
	const confidence = 0.95
	var in, use, off, move, wrong int
	for _, v := range t.verdicts {
		switch {
		case v.distance < 1e-6:
			in++
			if v.outcome == fitcorr.Use {
				use++
			}
		case math.Abs(v.distance-6) < 1e-6:
			off++
			if v.outcome == fitcorr.Move {
				move++
			}
		}
		if v.wrong() {
			wrong++
		}
	}
	for q, ds := range t.at {
		if len(ds) == 0 {
			continue
		}
		var square, stated, z, covered float64
		n, df := float64(len(ds)), math.Inf(1)
		for _, d := range ds {
			square += d.err * d.err / n
			stated += d.sd * d.sd / n
			z += d.err * d.err / (d.sd * d.sd) / n
			if d.df > 0 {
				df = math.Min(df, d.df)
			}
			if math.Abs(d.err) <= stats.StudentQuantile((1+confidence)/2, d.df)*d.sd {
				covered += 100 / n
			}
		}
		least := "many"
		if !math.IsInf(df, 1) {
			least = fmt.Sprintf("%.1f", df)
		}
		fmt.Fprintf(w, "| %s | %s | %s | %.2f | %.2f | %.2f | %s | %.0f |", condition, source, estimateNames[q], math.Sqrt(square), math.Sqrt(stated), math.Sqrt(z), least, covered)
		if q == headsetApart {
			fmt.Fprintf(w, " %d of %d | %d of %d | %d of %d |\n", use, in, move, off, wrong, len(t.verdicts))
		} else {
			fmt.Fprint(w, " | | |\n")
		}
	}
}

// tellApart analyses one study with its readings and without, which have their surveys in common;
// mem keeps them.
func tellApart(ctx context.Context, c condition, world simulate.World, seed uint64, mem fitcorr.Memory) (out [len(sourceNames)]answers, err error) {
	d := c.design
	drawn := simulate.Draw(seed, d, world)
	seatings, err := drawn.Seatings(ctx, seed, 1)
	if err != nil {
		return out, err
	}
	opt := c.options(seed)
	if len(drawn.Readings) > 0 {
		seatings, opt.Reading = combine(seatings, drawn.Readings, opt)
	}
	cups := cupMeans(drawn)
	tell := func(t *answers, a fitcorr.Analysis) {
		for m, name := range drawn.Models {
			for _, ma := range a.Models {
				if ma.Model != name || ma.Worn == nil {
					continue
				}
				t.add(meanPlace, ma.Worn.Mean, drawn.Worn[m].PanelMean)
				t.turn(meanTurn, ma.Worn.EarMean, ma.Worn.Mean, cups[m][0], cups[m][1])
				for _, o := range ma.Offsets {
					if r, ok := ordinaryRow(drawn, m, o.ID); ok {
						t.add(fixturePlace, o.Headset, r.Headset())
						t.turn(fixtureTurn, o.Ears, o.Headset, r.True[0].Vector(), r.True[1].Vector())
					}
				}
				for _, v := range ma.Verdicts {
					r, ok := ordinaryRow(drawn, m, v.ID)
					if !ok {
						continue
					}
					t.add(headsetApart, v.Headset.Off, less(r.Headset(), drawn.Worn[m].PanelMean))
					for e, p := range r.True {
						t.add(cupApart, v.Ears[e].Off, less(p.Vector(), cups[m][e]))
					}
					t.verdicts = append(t.verdicts, trialOf(r, v.Outcome, drawn.Target(m), cups[m]))
					if v.Readings != nil {
						out[0].add(headsetApart, v.Readings.Off, less(r.Headset(), drawn.Worn[m].PanelMean))
						out[0].verdicts = append(out[0].verdicts, trialOf(r, v.Readings.Outcome, drawn.Target(m), cups[m]))
					}
				}
			}
		}
	}
	both, _, err := fitcorr.AnalyseWith(ctx, seatings, opt, mem)
	if err != nil {
		return out, err
	}
	tell(&out[2], both)
	if !d.Readings {
		return out, nil
	}
	for i := range seatings {
		seatings[i].Read = nil
	}
	var t answers
	sound, _, err := fitcorr.AnalyseWith(ctx, seatings, opt, mem)
	if err != nil {
		return out, err
	}
	tell(&t, sound)
	out[1] = t
	return out, nil
}

// less is a minus b.
func less(a, b [3]float64) [3]float64 { return [3]float64{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

// ordinaryRow is the row of a fixture seating that was not displaced on purpose.
func ordinaryRow(s *simulate.Study, model int, id string) (simulate.Row, bool) {
	for _, r := range s.Rows {
		if r.File == id && r.ModelIndex == model && r.OrdinaryOnFixture() && (r.Point == capture.Blocked || s.Design.Apart) {
			return r, true
		}
	}
	return simulate.Row{}, false
}
