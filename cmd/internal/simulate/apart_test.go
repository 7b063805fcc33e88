package simulate

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"asworn/capture"
	"asworn/capture/study"
)

// silent is a world nobody listens to: for what is drawn alone.
func silent(uint64, Design, []bool) Acoustics { return nil }

// Drum and blocked placements of the fixture share neither number nor place,
// both are surveyed, and the drum's survey lies about a mark of its own.
func TestApart(t *testing.T) {
	d := BarDesign()
	d.Apart, d.BlockedSeatings, d.MarkSD, d.SurveySize, d.SurveyLeaks, d.Readings = true, 2, 1, 25, 0, true
	var square, n float64
	for seed := range uint64(60) {
		s := Draw(seed, d, silent)
		numbers := map[int]capture.Point{}
		count := map[capture.Point]int{}
		var miss [3]float64
		for _, r := range s.Rows {
			if r.ModelIndex != 0 || !r.OnFixture() {
				continue
			}
			if p, twice := numbers[r.Number]; twice {
				t.Fatalf("seating %d stands at %s and at %s", r.Number, p, r.Point)
			}
			numbers[r.Number] = r.Point
			if r.Read == nil {
				t.Errorf("seating %d was not read", r.Number)
			}
			if r.Survey == nil {
				count[r.Point]++
			} else if r.Point == capture.Drum {
				for a, v := range r.Headset() {
					miss[a] += (v - r.Survey.Vector()[a] - s.Mark[0][a]) / float64(d.SurveySize)
				}
			}
		}
		if count[capture.Drum] != 6 || count[capture.Blocked] != 2 || len(numbers) != 6+2+2*25 {
			t.Fatalf("%v ordinary seatings, %d placements", count, len(numbers))
		}
		for a := range 2 {
			if math.Abs(miss[a]) > 0.3 {
				t.Errorf("the survey at the drum is %.2f mm from its mark", miss[a])
			}
			square += s.Mark[0][a] * s.Mark[0][a]
			n++
		}
	}
	if sd := math.Sqrt(square / n); math.Abs(sd-1) > 0.2 {
		t.Errorf("marks differ by %.2f mm, want 1", sd)
	}
}

// Whatever the laws, means and standard deviations are those of the design.
func TestUnlikeLawsKeepSpread(t *testing.T) {
	d := BarDesign()
	d.Laws = UnlikeLaws
	r := &drawer{Rand: rand.New(rand.NewPCG(3, 3)), d: d}
	for name, law := range map[string]func(float64) float64{
		"mean": r.mean, "between": r.between, "within": r.within, "ruler": r.ruler,
		"cushion": r.cushion, "landmark": r.landmark, "reading": r.reading,
	} {
		const n = 200000
		var sum, square, fourth float64
		for range n {
			v := law(2)
			sum += v
			square += v * v
			fourth += v * v * v * v
		}
		mean, sd := sum/n, math.Sqrt(square/n)
		tolerance := 0.02
		if name == "within" || name == "reading" {
			tolerance = 0.15 // no fourth moment
		}
		if math.Abs(mean) > 0.03 || math.Abs(sd/2-1) > tolerance {
			t.Errorf("%s: mean %.3f, standard deviation %.3f, want 2", name, mean, sd)
		}
		if kurtosis := fourth / n / math.Pow(sd, 4); math.Abs(kurtosis-3) < 0.1 {
			t.Errorf("%s: kurtosis %.2f, as of a normal law", name, kurtosis)
		}
	}
}

// Glasses belong to people: a listener leaks always, on both sides, or never.
func TestLeaksOfListeners(t *testing.T) {
	d := BarDesign()
	d.LeakListeners, d.LeakChance, d.Listeners, d.DisplacedListeners = true, 0.5, 40, 40
	s := Draw(2, d, silent)
	leaking := map[int]float64{}
	for _, r := range s.Rows {
		if r.ModelIndex < 0 || r.OnFixture() || s.Open[r.ModelIndex] {
			continue
		}
		for _, p := range r.True {
			first, seen := leaking[r.SubjectIndex]
			if !seen {
				leaking[r.SubjectIndex] = p.SlitMM
			} else if (first > 0) != (p.SlitMM > 0) || first > 0 && math.Abs(p.SlitMM/first-1) > 0.25 {
				t.Fatalf("%s: slits of %.2f and %.2f mm", r.Subject, first, p.SlitMM)
			}
		}
	}
	n := 0
	for _, mm := range leaking {
		if mm > 0 {
			n++
		}
	}
	if n < 12 || n > 28 {
		t.Errorf("%d of 40 listeners leak, half were asked for", n)
	}
}

// Several readings are as good as one each, a reader who reads the fixture and
// listeners errs in common, and slips are rare and large.
func TestReaders(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Design)
		each   int
		lo, hi float64 // standard deviation of one reading
	}{
		{"one", func(*Design) {}, 1, 0.95, 1.06},
		{"four", func(d *Design) { d.ReadingsEach = 4 }, 4, 0.97, 1.04},
		{"two readers", func(d *Design) { d.ReadingsEach, d.Readers, d.ReaderSD = 4, 2, 1 }, 4, 1.1, 1.9},
		{"tails", func(d *Design) { d.ReadTails = true }, 1, 0.8, 1.3},
		{"slips", func(d *Design) { d.SlipChance = 0.05 }, 1, 1.1, 2.5},
	} {
		d := BarDesign()
		d.Readings, d.LandmarkSD, d.FixtureLandmarkSD, d.ReadPointMM, d.Listeners = true, 0, 0, 0, 4
		c.change(&d)
		var square, n, want float64
		readers := map[string]bool{}
		for seed := range uint64(12) {
			s := Draw(seed, d, silent)
			at := map[[3]string]Row{}
			for _, r := range s.Rows {
				if r.ModelIndex < 0 || r.Point == capture.Drum {
					continue
				}
				want += float64(c.each)
				at[[3]string{r.Subject, r.Model, strconv.Itoa(r.Number)}] = r
				if r.Read != nil {
					h := r.Headset()
					square += math.Pow(r.Read.ForwardMM-h[0], 2) + math.Pow(r.Read.UpMM-h[1], 2)
					n++
				}
			}
			for _, g := range s.Readings {
				r := at[[3]string{g.Subject, g.Model, strconv.Itoa(g.Number)}]
				cup := r.True[g.Side-study.LeftSide].Vector()
				square += math.Pow(g.ForwardMM-cup[0], 2) + math.Pow(g.UpMM-cup[1], 2)
				n++
				if g.Subject == capture.FixtureSubject && g.Reader != "R1" {
					t.Errorf("%s: %s read the fixture", c.name, g.Reader)
				}
				readers[g.Reader] = true
			}
		}
		if sd := math.Sqrt(square / n / 2); sd < c.lo || sd > c.hi || n != want {
			t.Errorf("%s: %g readings, want %g, err by %.2f mm", c.name, n, want, sd)
		}
		if d.Readers == 2 && len(readers) != 2 {
			t.Errorf("%s: readers %v", c.name, readers)
		}
	}
}
