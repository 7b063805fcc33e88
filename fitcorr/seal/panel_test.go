package seal

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"asworn/fitcorr/stats"
)

// Leaks that belong to listeners: the interval of the panel's mean loss by
// listener covers the people's mean, that by seating is too small.
func TestPanelLossCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	const studies, listeners, seatings, mean, between, within = 1500, 8, 5, 3.0, 3.0, 1.2
	var byListener, bySeating, ratio float64
	for range studies {
		var who []string
		var leaks []Leak
		for l := range listeners {
			own := mean + between*rng.NormFloat64()
			for range seatings {
				var k Leak
				k.Class = "leaking"
				k.LossDB[1] = own + within*rng.NormFloat64()
				who, leaks = append(who, fmt.Sprint(l)), append(leaks, k)
			}
		}
		p := OfPanel(who, leaks)
		off := math.Abs(p.MeanDB[1] - mean)
		if off <= stats.Coverage(0.95, p.DF)*p.SE[1] {
			byListener += 1.0 / studies
		}
		se := p.SD[1] / math.Sqrt(listeners*seatings)
		if off <= 1.96*se {
			bySeating += 1.0 / studies
		}
		ratio += p.SE[1] / se / studies
	}
	t.Logf("covers %.3f by listener, %.3f by seating, whose standard error is %.2f times too small", byListener, bySeating, ratio)
	if byListener < 0.93 || byListener > 0.975 {
		t.Errorf("the interval by listener covers %.3f", byListener)
	}
	if bySeating > 0.8 {
		t.Errorf("leaks that belong to listeners should not be told by seating: %.3f", bySeating)
	}
}

// A few listeners leak in every seating: by the listeners' spread alone a panel of eight
// that holds few of them states too little.
func TestRareLeaks(t *testing.T) {
	for _, c := range []struct{ chance, least, most float64 }{{0.25, 1, 6}, {0.2, 6, 10}, {0.4, 0, 10}} {
		covered, plain := rareLeaks(c.chance, c.least, c.most)
		t.Logf("%.0f %% lose %.0f to %.0f dB: covers %.3f, by the listeners' spread alone %.3f", 100*c.chance, c.least, c.most, covered, plain)
		if covered < 0.94 || plain > 0.92 {
			t.Errorf("%.0f %% lose %.0f to %.0f dB: covers %.3f, by the listeners' spread alone %.3f", 100*c.chance, c.least, c.most, covered, plain)
		}
	}
}

func rareLeaks(chance, least, most float64) (covered, plain float64) {
	rng := rand.New(rand.NewPCG(27, 28))
	const studies, listeners = 2000, 8
	people := chance * (least + most) / 2
	for range studies {
		var who []string
		var leaks []Leak
		var loss []float64
		for l := range listeners {
			var k Leak
			k.Class = Sealed
			if rng.Float64() < chance {
				k.Class, k.LossDB[1] = Leaking, least+(most-least)*rng.Float64()
			}
			for range 3 {
				who, leaks, loss = append(who, fmt.Sprint(l)), append(leaks, k), append(loss, k.LossDB[1])
			}
		}
		p := OfPanel(who, leaks)
		mean, se, df := stats.GroupMean(who, loss)
		if math.Abs(p.MeanDB[1]-people) <= stats.Coverage(0.95, p.DF)*p.SE[1] {
			covered += 1.0 / studies
		}
		if math.Abs(mean-people) <= stats.Coverage(0.95, df)*se {
			plain += 1.0 / studies
		}
	}
	return covered, plain
}

func TestPanelLossOfFew(t *testing.T) {
	l := Leak{Class: "sealed", LossDB: [3]float64{1, 0.5, 0.2}}
	if p := OfPanel([]string{"a", "b"}, []Leak{l, {}}); p.MeanDB != l.LossDB || p.SE != [3]float64{} || p.DF != 0 {
		t.Errorf("one listener that counts: %+v", p)
	}
	if p := OfPanel(nil, nil); p != (PanelLoss{}) {
		t.Errorf("nobody: %+v", p)
	}
}
