package earlier

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"asworn/capture/order"
	"asworn/fitcorr/stats"
	"asworn/fitcorr/survey"
)

// How alike two recordings of the same bare ears are. The differences of all
// listeners to what is remembered of each are compared: most people are who they
// were, so that the middle of the squares, band by band, is the scatter of
// recording a person again.
const (
	// repeatWeight listeners of repeatSD are what is assumed before (common practice, no source).
	repeatWeight = 2.0
	// earOctaves is how far levels of an ear go together over frequency, by which
	// bands count as independent (as fitcorr/panel has it).
	earOctaves = 0.3
)

// repeatSD is the standard deviation of the difference of two recordings of a
// person's bare ear less the fixture's, dB: the microphone comes to sit elsewhere and the head
// turns a little, which counts from some kHz on.
func repeatSD(hz float64) float64 { return math.Sqrt2 * (0.3 + 1.2*math.Min(1, math.Pow(hz/8000, 2))) }

// profile is what tells a person: levels of both ears less the fixture's of the same study,
// without their mean level, dB per position band, NaN where a band does not count.
type profile []float64

// profiles are those of everybody whose bare ears a study has, and of the fixture itself,
// whose is less nothing.
func profiles(bare []Bare) map[string]profile {
	bands := survey.NewBands()
	sum, count := map[string]profile{}, map[string][]float64{}
	for _, b := range bare {
		if sum[b.Subject] == nil {
			sum[b.Subject], count[b.Subject] = make(profile, 2*bands.N), make([]float64, 2*bands.N)
		}
		for e, c := range b.Ears {
			level, variance := bands.Join(c, nil)
			flat := bands.WithoutLevel(level, variance)
			for r, v := range flat {
				if variance[r] < survey.MissingVar {
					sum[b.Subject][e*bands.N+r] += v
					count[b.Subject][e*bands.N+r]++
				}
			}
		}
	}
	for who, p := range sum {
		for i := range p {
			p[i] /= count[who][i] // NaN where nothing counts
		}
	}
	fixture := sum[fixtureSubject]
	delete(sum, fixtureSubject)
	if fixture == nil {
		return nil
	}
	for _, p := range sum {
		for i := range p {
			p[i] -= fixture[i]
		}
	}
	return sum
}

// onePlace keeps of both the recordings with the loudspeaker in the first place that
// both studies have on the fixture; none without one.
func onePlace(now, then []Bare) (a, b []Bare) {
	at := func(bare []Bare, place string) (out []Bare, fixture bool) {
		for _, x := range bare {
			if x.Loudspeaker == place {
				out, fixture = append(out, x), fixture || x.Subject == fixtureSubject
			}
		}
		return out, fixture
	}
	for _, x := range now {
		mine, here := at(now, x.Loudspeaker)
		theirs, there := at(then, x.Loudspeaker)
		if here && there {
			return mine, theirs
		}
	}
	return nil, nil
}

// Doubt is somebody who is not who he was.
type Doubt struct {
	Subject string
	// Ratio is the mean square of the difference to what is remembered, over that of
	// recording a person again; P the probability of as much by chance, before it is
	// held against how many are tested.
	Ratio, P float64
	// As is the remembered listener whom these ears fit instead, "" when nobody.
	As string
}

// Compared is what bare ears say of who is who.
type Compared struct {
	Listeners []string // compared
	Doubts    []Doubt
	// Fixture says that what all listeners have in common moved: the fixture's ear or
	// the loudspeaker's direction is not what it was. It is nil when they did not, and
	// with fewer than three listeners, who do not tell.
	Fixture *Doubt
}

// Compare holds the bare ears of a study against those of an earlier one. size is the
// probability of any false alarm about a listener, and again about the fixture. Without
// the fixture's and a listener's bare ears in both studies nobody is compared. Nil of
// either gives the zero Compared.
func Compare(now, then []Bare, size float64) Compared {
	now, then = onePlace(now, then)
	a, b := profiles(now), profiles(then)
	var out Compared
	for who := range a {
		if b[who] != nil {
			out.Listeners = append(out.Listeners, who)
		}
	}
	slices.Sort(out.Listeners)
	n := len(out.Listeners)
	if n == 0 {
		return out
	}
	t := newTest()
	diff := make([]profile, n)
	for i, who := range out.Listeners {
		diff[i] = difference(a[who], b[who])
	}
	shift := make(profile, 2*t.bands.N) // what all have in common
	if n >= 3 {
		for r := range shift {
			shift[r] = middle(diff, r, -1)
		}
		scatter := t.scatter(diff, shift, -1)
		for r := range scatter { // the fixture's own recordings, and the mean of the listeners'
			scatter[r] *= 1 + math.Pi/2/float64(n)
		}
		if ratio, p := t.of(shift, scatter, n); p < size {
			out.Fixture = &Doubt{Subject: fixtureSubject, Ratio: ratio, P: p}
		}
	}
	for i, who := range out.Listeners {
		d := t.closer(who, a, b, out.Listeners)
		// On another fixture everybody's difference holds that of the fixtures.
		if out.Fixture == nil && d.P < size/2/float64(n*max(1, n-1)) {
			out.Doubts = append(out.Doubts, d)
			continue
		}
		rest := difference(diff[i], shift)
		ratio, p := t.of(rest, t.scatter(diff, shift, i), n)
		if p >= size/2/float64(n) {
			continue
		}
		d = Doubt{Subject: who, Ratio: ratio, P: p}
		least := size
		for _, other := range out.Listeners {
			if other == who {
				continue
			}
			_, q := t.of(difference(difference(a[who], b[other]), shift), t.scatter(diff, shift, i), n)
			if q > least {
				least, d.As = q, other
			}
		}
		out.Doubts = append(out.Doubts, d)
	}
	return out
}

func difference(a, b profile) profile {
	out := make(profile, len(a))
	for i := range a {
		out[i] = a[i] - b[i]
	}
	return out
}

// middle is the median over all but one of value r, 0 where none counts.
func middle(of []profile, r, but int) float64 {
	var x []float64
	for i, p := range of {
		if i != but && !math.IsNaN(p[r]) {
			x = append(x, p[r])
		}
	}
	if len(x) == 0 {
		return 0
	}
	return order.Median(x)
}

type test struct {
	bands   survey.Bands
	free    float64   // independent bands of both ears
	assumed []float64 // variance of recording a person again before any was seen, dB² per band of both ears
}

func newTest() test {
	t := test{bands: survey.NewBands()}
	t.free = independent(t.bands)
	for range 2 {
		for _, hz := range t.bands.Hz {
			sd := repeatSD(hz)
			t.assumed = append(t.assumed, sd*sd)
		}
	}
	return t
}

// scatter is the variance of recording a person again, dB² per band, by all
// listeners but one: from the middle of the squares, which is 0.455 of their mean
// (χ² of one degree of freedom), joined with what is assumed, smoothed over bands.
func (t test) scatter(diff []profile, shift profile, but int) []float64 {
	n := t.bands.N
	out := make([]float64, 2*n)
	for r := range out {
		var squares []profile
		for i, d := range diff {
			if i != but {
				squares = append(squares, profile{(d[r] - shift[r]) * (d[r] - shift[r])})
			}
		}
		m := float64(len(squares))
		lost := m / math.Max(1, m-1) // the middle was taken off
		out[r] = (repeatWeight*t.assumed[r] + m*lost*middle(squares, 0, -1)/0.455) / (repeatWeight + m)
	}
	for e := range 2 {
		stats.SmoothMean(out[e*n:(e+1)*n], 2)
	}
	return out
}

// closer holds the difference of a listener's ears to what is remembered of that name against
// the difference to what is remembered of each other name, and gives the name that fits best with the
// probability that a difference of one's own is as much the larger. It takes nobody else for
// who he was, so that two names which are exchanged are found in the smallest panel. Of somebody
// who is who he was the difference to another is no smaller than recording again makes it, and shares
// with one's own what this recording adds: Snedecor's F of equal degrees of freedom is an upper limit.
func (t test) closer(who string, now, then map[string]profile, listeners []string) Doubt {
	own, count := meanSquare(difference(now[who], then[who]), t.assumed)
	d, best := Doubt{Subject: who, Ratio: own, P: 1}, math.Inf(1)
	for _, other := range listeners {
		square, n := meanSquare(difference(now[who], then[other]), t.assumed)
		if other == who || n == 0 || square >= best {
			continue
		}
		free := t.free * math.Min(count, n) / float64(len(t.assumed))
		best, d.As, d.P = square, other, distuv.F{D1: free, D2: free}.Survival(own/math.Max(square, 1e-9))
	}
	return d
}

// of is the mean over bands of the square over its scatter, with the probability of
// as much by chance: Snedecor's F, the scatter being known from the others.
func (t test) of(d profile, scatter []float64, listeners int) (ratio, p float64) {
	ratio, count := meanSquare(d, scatter)
	if count == 0 {
		return 0, 1
	}
	free := t.free * count / float64(len(d))
	return ratio, distuv.F{D1: free, D2: repeatWeight + float64(listeners-1)*free/2}.Survival(ratio)
}

// meanSquare is the mean over the bands that count of the square over its scatter, and how
// many they are; 0 without any.
func meanSquare(d profile, scatter []float64) (ratio, count float64) {
	for r, v := range d {
		if !math.IsNaN(v) {
			ratio += v * v / scatter[r]
			count++
		}
	}
	return ratio / math.Max(1, count), count
}

// independent is how many bands of both ears are as good as independent, (Σλ)²/Σλ²
// of their correlation (Box, Ann. Math. Stat. 25(2), 1954), the ears of a head
// taken as each other's half.
func independent(b survey.Bands) float64 {
	var square float64
	for i := range b.N {
		for j := range b.N {
			rho := math.Exp(-b.Octaves(i, j) / earOctaves)
			square += rho * rho
		}
	}
	return 1.5 * float64(b.N*b.N) / square
}
