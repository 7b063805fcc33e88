package compare

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
	"slices"

	"asworn/capture/band"
	"asworn/capture/finding"
	"asworn/capture/order"
	"asworn/capture/response"
	"asworn/capture/study"
)

// What two ears differ by is compared between these. Common practice, no source.
const (
	groupFromHz = 250 // below it a leak under one cup makes the ears differ
	groupToHz   = 16000
)

// groupLeast is how many recordings make a group.
const groupLeast = 3

// Traits are what recordings of a study are compared by.
type Traits struct {
	EarsDB           []float64  // left less right as recorded, dB per third octave; NaN where either does not count
	Polarity         [2]float64 // Response.Polarity of left and right
	ClockPPM         float64    // Recording.DriftPPM
	ClockSEPPM       float64
	Repeats          int
	Usable           bool
	Drift, Inversion bool // was found already: drift, polarity

	LevelDB    [2][]float64 // per third octave; NaN where it does not count
	RecordedDB [2][]float64 // as recorded, before the microphones are allowed for, per kept band; NaN where it does not count
	HarmonicDB [2]float64   // median level of the third harmonic from 200 Hz to 2 kHz; NaN where not known
	Loopback   bool         // there is one, at LoopbackDB
	LoopbackDB float64
	Content    [32]byte // hash of levels and noise; zero when nothing counts
}

// Microphones are what turns a level at each microphone into the recorded one, dB per kept band.
type Microphones [2][]float64

// MicrophonesOf returns those of the setup.
func MicrophonesOf(s study.Setup) (m Microphones) {
	for e, mic := range s.Microphones {
		for _, b := range band.All() {
			db := 0.0
			if len(mic.Response.Hz) > 0 {
				db += mic.Response.LevelDB(b.Mid)
			}
			if mic.PaPerUnit > 0 {
				db -= 20 * math.Log10(mic.PaPerUnit)
			}
			m[e] = append(m[e], db)
		}
	}
	return m
}

// TraitsOf returns the traits of a recording made with the setup.
func TraitsOf(s study.Setup, r response.Recording) Traits { return MicrophonesOf(s).Traits(r) }

// Traits returns the traits of a recording made with the microphones.
func (m Microphones) Traits(r response.Recording) Traits {
	return Traits{
		LevelDB: levelsOf(r), RecordedDB: m.recorded(r), HarmonicDB: [2]float64{harmonicOf(r.Ears[0]), harmonicOf(r.Ears[1])},
		Loopback: r.LoopbackDB != nil, LoopbackDB: deref(r.LoopbackDB), Content: contentOf(r),
		EarsDB: m.earDifference(r), Polarity: [2]float64{r.Ears[study.Left].Polarity, r.Ears[study.Right].Polarity},
		ClockPPM: r.DriftPPM, ClockSEPPM: r.DriftSEPPM, Repeats: r.Repeats, Usable: r.Quality.Usable(),
		Drift: finding.Has(r.Quality.Findings, finding.Drift), Inversion: finding.Has(r.Quality.Findings, finding.Polarity),
	}
}

func deref(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

// contentOf is the hash of what no two recordings have in common to the last bit.
func contentOf(r response.Recording) [32]byte {
	var b []byte
	for _, ear := range r.Ears {
		for i, l := range ear.LevelDB {
			if i < len(ear.Valid) && ear.Valid[i] {
				b = binary.LittleEndian.AppendUint64(b, math.Float64bits(l))
			}
		}
	}
	if len(b) == 0 {
		return [32]byte{}
	}
	return sha256.Sum256(b)
}

// levelsOf returns the third-octave levels of both ears, NaN where fewer than half
// of the bands count.
func levelsOf(r response.Recording) (out [2][]float64) {
	each := band.Count / band.Thirds
	for e, ear := range r.Ears {
		out[e] = make([]float64, band.Thirds)
		for i := range out[e] {
			sum, n := 0.0, 0
			for j := i * each; j < (i+1)*each && j < len(ear.Valid); j++ {
				if ear.Valid[j] {
					sum, n = sum+ear.LevelDB[j], n+1
				}
			}
			out[e][i] = math.NaN()
			if n >= each/2 {
				out[e][i] = sum / float64(n)
			}
		}
	}
	return out
}

// recorded returns the levels of both ears as the microphones gave them, NaN where
// they do not count.
func (m Microphones) recorded(r response.Recording) (out [2][]float64) {
	for e, ear := range r.Ears {
		out[e] = make([]float64, band.Count)
		for i, db := range m[e] {
			out[e][i] = math.NaN()
			if i < len(ear.Valid) && ear.Valid[i] {
				out[e][i] = ear.LevelDB[i] + db
			}
		}
	}
	return out
}

// harmonicOf is the median level of the third harmonic from 200 Hz to 2 kHz, which
// a limiter or a compressor raises; NaN where it is not known.
func harmonicOf(r response.Response) float64 {
	if len(r.HarmonicDB) < 2 {
		return math.NaN()
	}
	var at []float64
	for i, b := range band.All() {
		if h := r.HarmonicDB[1]; b.Mid >= 200 && b.Mid <= 2000 && i < len(h) && h[i] > response.NoLevelDB {
			at = append(at, h[i])
		}
	}
	if len(at) == 0 {
		return math.NaN()
	}
	return order.Median(at)
}

// groupsOf gathers the usable rows with equal keys, in the order of the sheet;
// groups that are too small to compare are left out.
func groupsOf(rows []study.Seating, recs []Traits, key func(study.Seating) string) (out [][]int) {
	at := map[string]int{}
	for i, r := range rows {
		if !recs[i].Usable {
			continue
		}
		k := key(r)
		if _, ok := at[k]; !ok {
			at[k] = len(out)
			out = append(out, nil)
		}
		out[at[k]] = append(out[at[k]], i)
	}
	return slices.DeleteFunc(out, func(g []int) bool { return len(g) < groupLeast })
}

// earDifference returns left less right as recorded, in dB per third-octave
// band; NaN where either does not count.
func (m Microphones) earDifference(r response.Recording) []float64 {
	bands := band.All()
	out := make([]float64, band.Thirds)
	const each = band.PerThird
	for i := range out {
		n := 0
		for j := i * each; j < (i+1)*each; j++ {
			if len(r.Ears[0].Valid) <= j || len(r.Ears[1].Valid) <= j || !r.Ears[0].Valid[j] || !r.Ears[1].Valid[j] {
				continue
			}
			f := bands[j].Mid
			if f < groupFromHz || f > groupToHz {
				continue
			}
			out[i] += r.Ears[0].LevelDB[j] + m[0][j] - r.Ears[1].LevelDB[j] - m[1][j]
			n++
		}
		if n < each/2 {
			out[i] = math.NaN()
			continue
		}
		out[i] /= float64(n)
	}
	return out
}
