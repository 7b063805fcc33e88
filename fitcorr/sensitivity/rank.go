package sensitivity

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"asworn/fitcorr/seat"
	"asworn/fitcorr/stats"
)

// Contender is one model of one study in a ranking.
type Contender struct {
	Study string
	Panel string // listeners of the same name in one panel are the same person; "" is the study's own
	Model string
	Ears  []Sensitivity // of one microphone point; ears without a figure are left out
}

// Standing is where a model stands in a ranking by fit sensitivity, the least
// sensitive first.
type Standing struct {
	Study string `json:"study"`
	Model string `json:"model"`
	// Figure is what was compared.
	Figure Figure `json:"figure"`
	// SummaryDB is the RMS of the two ears' figures with its interval; all 0
	// when there is none, and the interval 0 with fewer than three listeners.
	SummaryDB [3]float64 `json:"summary_db"`
	Rank      int        `json:"rank"` // by the estimate; 0 without a figure
	// RankLow and RankHigh hold the rank at the stated confidence; all ranks
	// when the figure has no interval.
	RankLow  int `json:"rank_low"`
	RankHigh int `json:"rank_high"`
	// Less is, per standing in the order of the ranking, the probability that
	// this model is the less sensitive of the two; 0.5 against itself and
	// wherever one of the two has no interval.
	Less []float64 `json:"less"`
}

// Figure is what a ranking compares.
type Figure string

// The two figures that a ranking can compare.
const (
	ByReproducibility Figure = "reproducibility" // SummaryDB, of a panel
	ByRepeatability   Figure = "repeatability"   // SeatingDB
)

// rankDraws is the number of draws when Options.Bootstrap is 0.
const rankDraws = 4000

// Rank puts models side by side, the least sensitive to its fit first, with the
// uncertainty of the order. The figure is the summary of reproducibility; only when no
// contender has one, as in studies without a panel, that of repeatability, and Figure
// says so. It draws every figure anew from its jackknife distribution (Student's t on the
// logarithm). The same listeners of the same panel move all of its models together, so
// what they share does not blur the order; different panels, and seatings on the fixture in different
// studies, are independent. Draws are
// seeded with opt.Seed. Summaries are in dB. No contender gives no standing.
func Rank(contenders []Contender, opt seat.Options) []Standing {
	figure := ByRepeatability
	for _, c := range contenders {
		for _, s := range c.Ears {
			if s.SummaryDB[0] > 0 {
				figure = ByReproducibility
			}
		}
	}
	entries := make([]rankEntry, len(contenders))
	for i, c := range contenders {
		entries[i] = newRankEntry(c, figure, opt.Confidence)
	}
	sortEntries(entries)
	out := make([]Standing, len(entries))
	figures := 0
	for i := range entries {
		out[i] = entries[i].Standing
		if out[i].SummaryDB[0] > 0 {
			figures++
			out[i].Rank = i + 1
		}
	}
	draws := opt.Bootstrap
	if draws == 0 {
		draws = rankDraws
	}
	ranks, less := drawRanks(entries, figures, draws, opt.Seed)
	for i := range out {
		out[i].Less = make([]float64, len(out))
		for j := range out {
			out[i].Less[j] = 0.5
			if i != j && entries[i].known() && entries[j].known() {
				out[i].Less[j] = float64(less[i][j]) / float64(2*draws)
			}
		}
		if i >= figures {
			continue
		}
		out[i].RankLow, out[i].RankHigh = 1, figures
		if entries[i].known() {
			out[i].RankLow, out[i].RankHigh = rankInterval(ranks[i][:figures], draws, opt.Confidence)
		}
	}
	return out
}

// sortEntries puts the least figure first and those without one last; the order of the
// arguments settles ties.
func sortEntries(entries []rankEntry) {
	slices.SortStableFunc(entries, func(a, b rankEntry) int {
		if (a.SummaryDB[0] > 0) != (b.SummaryDB[0] > 0) {
			if a.SummaryDB[0] > 0 {
				return -1
			}
			return 1
		}
		return cmp.Compare(a.SummaryDB[0], b.SummaryDB[0])
	})
}

// drawRanks counts in how many draws each of the first figures entries has each rank, and
// twice in how many its figure is less than each other's: one row per entry.
func drawRanks(entries []rankEntry, figures, draws int, seed uint64) (ranks, less [][]int) {
	ranks, less = make([][]int, len(entries)), make([][]int, len(entries))
	for i := range entries {
		ranks[i], less[i] = make([]int, len(entries)), make([]int, len(entries))
	}
	drawer := newRankDrawer(entries, seed)
	for range draws {
		x := drawer.draw()
		for i := range figures {
			r := 0
			for j := range figures {
				if x[j] < x[i] {
					r++
				}
				switch {
				case x[i] < x[j]:
					less[i][j] += 2
				case x[i] == x[j]: // a tie, as between two copies of one study, is half of each
					less[i][j]++
				}
			}
			ranks[i][r]++
		}
	}
	return ranks, less
}

// rankEntry is a standing with the jackknife deviations of its logarithm,
// scaled so that the sum of their squares is its variance.
type rankEntry struct {
	Standing
	panel     string // whose units of one name are one
	listener  []string
	deviation []float64
}

func (e rankEntry) known() bool { return len(e.deviation) > 0 }

func newRankEntry(c Contender, figure Figure, confidence float64) rankEntry {
	e := rankEntry{Standing: Standing{Study: c.Study, Model: c.Model, Figure: figure}, panel: c.Study}
	if figure == ByReproducibility && c.Panel != "" { // seatings on the fixture are never those of another study
		e.panel = c.Panel
	}
	of := func(s Sensitivity) (float64, []Influence) {
		if figure == ByRepeatability {
			return s.SeatingDB[0], s.SeatingInfluence
		}
		return s.SummaryDB[0], s.Influence
	}
	power, n := 0.0, 0.0
	for _, s := range c.Ears {
		if f, _ := of(s); f > 0 {
			power += f * f
			n++
		}
	}
	if n == 0 {
		return e
	}
	est := math.Sqrt(power / n)
	e.SummaryDB[0] = est
	shift := make(map[string]float64)
	for _, s := range c.Ears {
		f, influence := of(s)
		share := f * f / power
		for _, i := range influence {
			if _, ok := shift[i.Listener]; !ok {
				e.listener = append(e.listener, i.Listener)
			}
			shift[i.Listener] += share * i.Shift
		}
	}
	k := float64(len(e.listener))
	if k < 3 {
		e.listener = nil
		return e
	}
	mean := 0.0
	for _, l := range e.listener {
		mean += shift[l] / k
	}
	variance := 0.0
	for _, l := range e.listener {
		d := (shift[l] - mean) * math.Sqrt((k-1)/k)
		e.deviation = append(e.deviation, d)
		variance += d * d
	}
	reach := stats.StudentQuantile((1+confidence)/2, k-1) * math.Sqrt(variance)
	low, high := figureBounds(k-1, confidence)
	e.SummaryDB[1], e.SummaryDB[2] = est*max(math.Exp(-reach), low), est*min(math.Exp(reach), high)
	return e
}

// rankDrawer draws the logarithms of all figures together.
type rankDrawer struct {
	rng     *rand.Rand
	entries []rankEntry
	people  int
	person  [][]int // per entry and listener, the number of the person
	panel   []int   // per entry
	df      []float64
	normal  []float64
	scale   []float64
	x       []float64
}

func newRankDrawer(entries []rankEntry, seed uint64) *rankDrawer {
	d := &rankDrawer{rng: rand.New(rand.NewPCG(seed, 0x72616e6b)), entries: entries}
	type key struct{ panel, listener string }
	people := make(map[key]int)
	panels := make(map[string]int)
	for _, e := range entries {
		s, ok := panels[e.panel]
		if !ok {
			s = len(panels)
			panels[e.panel] = s
			d.df = append(d.df, 0)
		}
		d.panel = append(d.panel, s)
		if k := float64(len(e.listener)); k > 0 && (d.df[s] == 0 || k-1 < d.df[s]) {
			d.df[s] = k - 1
		}
		var of []int
		for _, l := range e.listener {
			p, ok := people[key{e.panel, l}]
			if !ok {
				p = len(people)
				people[key{e.panel, l}] = p
			}
			of = append(of, p)
		}
		d.person = append(d.person, of)
	}
	d.normal = make([]float64, len(people))
	d.scale = make([]float64, len(d.df))
	d.x = make([]float64, len(entries))
	return d
}

// draw returns one set of logarithms; the slice is used again.
func (d *rankDrawer) draw() []float64 {
	for i := range d.normal {
		d.normal[i] = d.rng.NormFloat64()
	}
	for s, df := range d.df {
		// χ² with whole degrees of freedom, one per panel: that makes the
		// normal draws Student's t.
		sum := 0.0
		for range int(df) {
			z := d.rng.NormFloat64()
			sum += z * z
		}
		d.scale[s] = 1
		if df > 0 {
			d.scale[s] = math.Sqrt(df / sum)
		}
	}
	for i, e := range d.entries {
		dev := 0.0
		for k, w := range e.deviation {
			dev += w * d.normal[d.person[i][k]]
		}
		d.x[i] = math.Log(e.SummaryDB[0]) + dev*d.scale[d.panel[i]]
	}
	return d.x
}

// rankInterval is the central interval of counted ranks.
func rankInterval(counts []int, draws int, confidence float64) (low, high int) {
	tail := (1 - confidence) / 2 * float64(draws)
	sum := 0
	for r, n := range counts {
		sum += n
		if low == 0 && float64(sum) > tail {
			low = r + 1
		}
		if float64(sum) >= float64(draws)-tail {
			return low, r + 1
		}
	}
	return low, len(counts)
}
