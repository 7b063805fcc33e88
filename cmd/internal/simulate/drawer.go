package simulate

import (
	"math"
	"math/rand/v2"

	"asworn/capture"
)

// drawer draws what people and operators do, by the laws of a design.
type drawer struct {
	*rand.Rand
	d   Design
	own [][][2][3]float64 // per model and listener: the usual place of each ear
}

func (r *drawer) normal(sd float64) float64 { return sd * r.NormFloat64() }

// around returns a placement near a centre with the scatter that no survey
// models: cushion, lean, microphone, gain.
func (r *drawer) around(centre [3]float64, worn bool) Placement {
	k := r.d.Scatter
	if !worn {
		k *= 0.6 // an artificial head has firm sides and no hair
	}
	p := Placement{Displacement: capture.Displacement{ForwardMM: centre[0], UpMM: centre[1], RotationDeg: centre[2]}}
	p.GapMM = r.cushion(0.8 * k)
	p.TiltDeg = [2]float64{r.normal(1 * k), r.normal(1 * k)}
	p.MicMM = [2]float64{r.normal(0.25 * k), r.normal(0.25 * k)}
	p.GainDB = r.normal(0.1 * k)
	return p
}

// mean is how far the people's mean lies from the mark: uniform, or normal.
func (r *drawer) mean(sd float64) float64 { return r.box(sd) }

// ruler is the error of setting a displacement.
func (r *drawer) ruler(sd float64) float64 { return r.box(sd) }

func (r *drawer) box(sd float64) float64 {
	if r.d.Laws == NormalLaws {
		return r.normal(sd)
	}
	return sd * math.Sqrt(3) * (2*r.Float64() - 1)
}

// between is how a listener wears a headphone against other people: three in
// four on one side, one in four far on the other (mean 0, variance sd²).
func (r *drawer) between(sd float64) float64 {
	if r.d.Laws == NormalLaws {
		return r.normal(sd)
	}
	centre, spread := -0.5, 0.6
	if r.Float64() < 0.25 {
		centre, spread = 1.5, 0.8
	}
	return sd * (centre + spread*r.NormFloat64()) / math.Sqrt(1.18)
}

// within is how a seating differs from the listener's usual place.
func (r *drawer) within(sd float64) float64 {
	if r.d.Laws == NormalLaws {
		return r.normal(sd)
	}
	return r.heavy(sd)
}

// heavy is Student's t with three degrees of freedom, scaled to its standard deviation.
func (r *drawer) heavy(sd float64) float64 {
	chi2 := 0.0
	for range 3 {
		v := r.NormFloat64()
		chi2 += v * v
	}
	return sd * r.NormFloat64() / math.Sqrt(chi2)
}

// cushion is the cushion's thickness against its nominal one.
func (r *drawer) cushion(sd float64) float64 { return r.oneSided(sd) }

// landmark is the error of finding the canal's entrance.
func (r *drawer) landmark(sd float64) float64 { return r.oneSided(sd) }

func (r *drawer) oneSided(sd float64) float64 {
	if r.d.Laws == NormalLaws {
		return r.normal(sd)
	}
	return sd * (r.ExpFloat64() - 1)
}

// reading is the error of one reading.
func (r *drawer) reading(sd float64) float64 {
	if r.d.ReadTails || r.d.Laws != NormalLaws {
		return r.heavy(sd)
	}
	return r.normal(sd)
}
