package seat

import (
	"math"

	"asworn/capture/band"
)

// PerThird is the number of kept bands in a third-octave band.
const PerThird = band.PerThird

// Curve is the level of one ear per kept band (length band.Count, or less of a curve that
// is kept for its low end). The zero value counts nowhere.
type Curve struct {
	LevelDB  []float64 `json:"level_db"`  // in the study's unit of level
	StdErrDB []float64 `json:"stderr_db"` // of the noise of the measurement
	Valid    []bool    `json:"valid"`     // bands that count
}

// Counts reports whether kept band b of the curve holds a usable level. Bands count from
// 0 in the order of band.All; a band beyond the curve does not hold one.
func (c Curve) Counts(b int) bool {
	return b < len(c.Valid) && b < len(c.LevelDB) && c.Valid[b] &&
		!math.IsNaN(c.LevelDB[b]) && !math.IsInf(c.LevelDB[b], 0)
}
