package excitation

import (
	"fmt"
	"math"

	"asworn/capture/band"
	"asworn/capture/deconv"
	"asworn/capture/response"
)

// Default window lengths in seconds; docs/capture.md says why.
const (
	defaultPre         = 0.2
	DefaultPreForeign  = 0.05 // of excitations that are no sweep of ours
	DefaultPost        = 0.5
	defaultFadeInPart  = 0.5
	defaultFadeOutPart = 0.25
)

func (c *Plan) prepareWindow() error {
	w := c.Setup.Window
	if w.PreSeconds == 0 {
		w.PreSeconds = DefaultPreForeign
		if c.Design {
			w.PreSeconds = min(defaultPre, 0.7*c.Setup.Sweep.HarmonicLead(2))
		}
	}
	if w.PostSeconds == 0 {
		w.PostSeconds = min(DefaultPost, max(0.02, float64(c.Tail)/c.RateHz-prerollSeconds))
	}
	if w.FadeInSeconds == 0 {
		w.FadeInSeconds = defaultFadeInPart * w.PreSeconds
	}
	if w.FadeOutSeconds == 0 {
		w.FadeOutSeconds = defaultFadeOutPart * w.PostSeconds
	}
	if !(w.PreSeconds > 0 && w.PostSeconds > 0 && w.FadeInSeconds >= 0 && w.FadeOutSeconds >= 0 &&
		w.FadeInSeconds <= w.PreSeconds && w.FadeOutSeconds <= w.PostSeconds) {
		return fmt.Errorf("capture: window %+v: lengths must be positive and fades not longer than their side", w)
	}
	c.Setup.Window = w
	s := func(v float64) int { return int(math.Round(v * c.RateHz)) }
	c.Pre, c.Post = s(w.PreSeconds), s(w.PostSeconds)
	if c.Pre+c.Post > c.N {
		return fmt.Errorf("capture: a window of %g s does not fit a sweep of %g s", w.PreSeconds+w.PostSeconds, float64(c.N)/c.RateHz)
	}
	c.Window = deconv.Tukey(c.Pre+c.Post, s(w.FadeInSeconds), s(w.FadeOutSeconds))
	for _, v := range c.Window {
		c.SumW2 += v * v
		c.SumW4 += v * v * v * v
	}
	c.preparePlain()
	c.prepareKappa()
	c.prepareHarmonics()
	return nil
}

// prepareKappa works out, per band, how much of the band's energy lies where
// the window lets noise in: Σ w²(t)·s²(t) / Σ s²(t) with the impulse response
// of the band, a sinc about the direct sound. It is 1 where the band is wide
// against the inverse of the window's length, and below 1 for bands narrower
// than that.
func (c *Plan) prepareKappa() {
	c.Kappa = make([]float64, len(c.Bands))
	for i, b := range c.Bands {
		width := (b.Upper - b.Lower) / c.RateHz
		step := max(1, int(0.05/width))
		sum := 0.0
		if width*float64(c.Pre) > 50 {
			c.Kappa[i] = 1
			continue
		}
		for j := step / 2; j < len(c.Window); j += step {
			x := math.Pi * width * float64(j-c.Pre)
			s := 1.0
			if x != 0 {
				s = math.Sin(x) / x
			}
			sum += c.Window[j] * c.Window[j] * s * s
		}
		c.Kappa[i] = min(1, sum*float64(step)*width)
	}
}

// harmonic says where the response of one order lies.
type harmonic struct {
	Order  int
	Lead   int // samples before the linear response
	Window []float64
	SumW2  float64 // Σw²
	Before int     // of the window's samples, before the harmonic's onset
	Bands  []band.Band
	Count  int // bands whose harmonic lies below the end of the sweep
}

func (c *Plan) prepareHarmonics() {
	if !c.Design {
		return
	}
	lead := func(n int) float64 { return c.Setup.Sweep.HarmonicLead(n) * c.RateHz }
	longest := 0
	for _, n := range response.HarmonicOrders {
		before := int(0.4 * (lead(n+1) - lead(n)))
		after := int(min(0.3*(lead(n)-lead(n-1)), 0.25*c.RateHz))
		if before < 8 || after < 8 {
			c.Orders = nil
			return // too short a sweep
		}
		h := harmonic{Order: n, Lead: int(math.Round(lead(n))), Before: before,
			Window: deconv.Tukey(before+after, before/2, after/2)}
		for _, w := range h.Window {
			h.SumW2 += w * w
		}
		for _, b := range c.Bands {
			f := float64(n)
			h.Bands = append(h.Bands, band.Band{Lower: f * b.Lower, Mid: f * b.Mid, Upper: f * b.Upper})
			if f*b.Upper <= c.HighHz {
				h.Count++
			}
		}
		c.Orders = append(c.Orders, h)
		longest = max(longest, len(h.Window))
	}
	c.HarmN = deconv.FastLen(max(longest, int(0.2*c.RateHz)))
}
