package panel

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"asworn/fitcorr/placing"
	"asworn/fitcorr/reading"
)

// readings sums up what was read of model m, nil when nothing could be used.
func (fit *panelFit) readings(m int) *Readings {
	r := Readings{OnFixture: fit.models[m].mark.Readings, OneMM: fit.reading.OneMM,
		LandmarkMM: fit.reading.LandmarkMM, FixtureLandmarkMM: fit.reading.FixtureLandmarkMM}
	for _, l := range fit.listeners {
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

// maximiseReading learns the error of one reading and of the landmarks from the
// panel: what the residuals and the listeners' landmarks show, with what was
// known before as so many more of them.
func (fit *panelFit) maximiseReading() {
	now := fit.stated
	sum, count := placing.ReadLandmarkWeight*placing.ReadDim*now.LandmarkMM*now.LandmarkMM, placing.ReadLandmarkWeight*placing.ReadDim
	for i := range fit.per {
		lf := &fit.per[i]
		for a := range placing.ReadDim {
			x, at := lf.x.AtVec(fit.Landmark(0)+a), placing.HeadsetDim+a
			sum += x*x + lf.blocks[0].x.At(at, at)
			count++
		}
	}
	now.LandmarkMM = math.Sqrt(sum / count)
	// What is stated, and what the fixture's readings made of it.
	df := float64(reading.StatedDF)
	for _, m := range fit.models {
		df += float64(placing.ReadDim * m.mark.Readings)
	}
	square := df * now.OneMM * now.OneMM
	fit.each(allModels, func(_ int, w *wornSeating, sp *seatPosterior) {
		if w.read == nil {
			return
		}
		var own [placing.ReadDim]float64 // expected squares, as of a single reading
		var off float64                  // squares from where all else has the seating, over their variance
		one := fit.reading.OneMM * fit.reading.OneMM / w.worth
		var rows mat.Dense // the mean of both cups and the landmark
		rows.Mul(middle, sp.jacobian)
		for a := range placing.ReadDim {
			at := placing.HeadsetDim + a
			rows.Set(a, at, rows.At(a, at)+1)
		}
		known := sp.block.of(&rows)
		for a := range placing.ReadDim {
			given := known.At(a, a)
			for i := range 2 {
				for k := range 2 {
					given += sp.given.At(3*i+a, 3*k+a) / 4
				}
			}
			square := sp.beside[a] * sp.beside[a]
			own[a] = w.worth * (square + given)
			left := max(1-given/(w.doubtOfReading()*one), 1e-6) // of the residual of the others, as the reading has a say
			off += square / (left * left) / (one + given/left)
		}
		weight := reading.Weight(off)
		w.readDoubt = 1 / weight
		for _, v := range own {
			square += weight * v
			df++
		}
	})
	now.OneMM = math.Sqrt(square / df)
	fit.reading = now
}
