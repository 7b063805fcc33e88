package verdict

import (
	"asworn/fitcorr/placing"
)

// Target is the worn mean of a model: what a fixture seating is held against.
type Target struct {
	Mean      [placing.HeadsetDim]float64                     `json:"mean"` // of the left cup, then of the right: mm, mm, degrees
	Cov       [placing.HeadsetDim][placing.HeadsetDim]float64 `json:"cov"`  // of Mean
	DF        float64                                         `json:"df"`
	LossDB    [2][3]float64                                   `json:"loss_db"`    // mean worn loss to leaks per ear at 20, 50, 100 Hz, dB
	LossSE    [2][3]float64                                   `json:"loss_se_db"` // its standard errors, dB
	LossDF    [2]float64                                      `json:"loss_df"`    // listeners − 1; 0 says nothing of how listeners differ
	Seatings  int                                             `json:"seatings"`
	Listeners int                                             `json:"listeners"`
	Bare      bool                                            `json:"bare"`
	Displaced bool                                            `json:"displaced"` // some listener also wore the model displaced on purpose
	Read      bool                                            `json:"read"`      // positions were read off heads
	Ruler     *Ruler                                          `json:"ruler,omitempty"`
	Worn      []WornSeating                                   `json:"worn,omitempty"`
}

// WornSeating is the estimated position of one worn seating, for the list of the most alike.
type WornSeating struct {
	ID  string                                          `json:"id"`
	Pos [placing.HeadsetDim]float64                     `json:"pos"` // mm, mm, degrees of the left cup, then of the right
	Cov [placing.HeadsetDim][placing.HeadsetDim]float64 `json:"cov"` // of Pos
}

// planeVariance is the variance of the mean of both ears, forward and up.
func (t *Target) planeVariance() (v float64) {
	for a := range 2 {
		v += (t.Cov[a][a] + t.Cov[3+a][3+a] + 2*t.Cov[a][3+a]) / 4
	}
	return v
}

// Ruler is the worn mean as readings alone give it: the mean reading of the
// panel's seatings, whatever point of the cup is read, mm forward and up.
type Ruler struct {
	Mean [placing.ReadDim]float64 `json:"mean"`
	// OneVar and LandmarkVar are the variances per axis of that mean, mm²: from the
	// errors of single readings and from those of the listeners' canal entrances.
	OneVar      float64 `json:"one_var"`
	LandmarkVar float64 `json:"landmark_var"`
}
