// Package sweep designs the excitation: an exponential sine sweep with
// synchronised phase, repeated, with silence before, between and after.
//
// Sources: A. Farina, AES 108th Convention, 2000, preprint 5093; S. Müller and
// P. Massarani, J. Audio Eng. Soc. 49(6), 2001; A. Novak, P. Lotton and
// L. Simon, J. Audio Eng. Soc. 63(10), 2015.
package sweep

import (
	"errors"
	"fmt"
	"math"
)

// Design says what is played. The zero value of an optional field takes the
// default beside it.
type Design struct {
	StartHz, StopHz float64 // first and last instantaneous frequency, Hz
	Seconds         float64 // length of one sweep
	Repeats         int     // number of sweeps; default 1
	GapSeconds      float64 // silence after every sweep, the last one too
	LeadSeconds     float64 // silence before the first sweep: the noise estimate
	RateHz          float64 // sampling rate

	Amplitude      float64 // peak re full scale, a ratio; default 0.5
	FadeInSeconds  float64 // half-Hann; default: the first half octave
	FadeOutSeconds float64 // half-Hann; default: the last twenty-fourth of an octave
}

// Default returns the design that asworn starts a study with: 10 Hz to
// 22 kHz in 3 s, twice, 1 s between, 0.5 s before, at 48 kHz.
func Default() Design {
	return Design{StartHz: 10, StopHz: 22000, Seconds: 3, Repeats: 2, GapSeconds: 1,
		LeadSeconds: 0.5, RateHz: 48000}
}

// Limits of a design. MaxRepeats bounds the repeats, whose spectra are held in
// memory together, and MaxSamples the whole excitation: at 48 kHz it is
// 62.5 s, and takes up to 0.7 GB and 7 s of processor time per recording (noise,
// with a window of 20 s; a sweep less).
const (
	MinRateHz      = 8000
	MaxRateHz      = 768000
	MinStartHz     = 1
	MinSeconds     = 0.1
	MaxSeconds     = 120
	MaxRepeats     = 32
	MaxGapSeconds  = 60
	MaxLeadSeconds = 60
	MaxSamples     = 3_000_000
)

// withDefaults fills the optional fields.
func (d Design) withDefaults() Design {
	if d.Repeats == 0 {
		d.Repeats = 1
	}
	if d.Amplitude == 0 {
		d.Amplitude = 0.5
	}
	if d.FadeInSeconds == 0 {
		d.FadeInSeconds = d.Rate() * math.Ln2 / 2
	}
	if d.FadeOutSeconds == 0 {
		d.FadeOutSeconds = d.Rate() * math.Ln2 / 24
	}
	return d
}

// Fault is one reason why a design cannot be played.
type Fault struct {
	Key   string // of the setting, as study.toml names it; empty where several are to blame
	Found string // what is wrong, beginning with the key if there is one
	Mend  string // empty where Found says it
}

func (f Fault) Error() string {
	if f.Mend == "" {
		return "sweep: " + f.Found
	}
	return "sweep: " + f.Found + ": " + f.Mend
}

// Faults returns every reason why the design cannot be played; nil when it can be.
func (d Design) Faults() (all []Fault) {
	bad := func(key string, value any, format string, a ...any) {
		all = append(all, Fault{key, fmt.Sprintf("%s is %v", key, value), fmt.Sprintf(format, a...)})
	}
	if !(d.RateHz >= MinRateHz && d.RateHz <= MaxRateHz) {
		bad("rate_hz", d.RateHz, "use the recorder's sampling rate, %d to %d", MinRateHz, MaxRateHz)
	}
	if !(d.StartHz >= MinStartHz) || math.IsInf(d.StartHz, 0) {
		bad("start_hz", d.StartHz, "must be %d or more; 10 is usual", MinStartHz)
	}
	if !(d.StopHz > d.StartHz) || !(d.StopHz < d.RateHz/2) {
		bad("stop_hz", d.StopHz, "must lie above start_hz and below half the rate (%g)", d.RateHz/2)
	}
	if !(d.Seconds >= MinSeconds && d.Seconds <= MaxSeconds) {
		bad("seconds", d.Seconds, "must be %g to %d; 3 is usual", MinSeconds, MaxSeconds)
	}
	if d.Repeats < 0 || d.Repeats > MaxRepeats {
		bad("repeats", d.Repeats, "must be 1 to %d; 2 is usual", MaxRepeats)
	}
	if !(d.GapSeconds >= 0 && d.GapSeconds <= MaxGapSeconds) {
		bad("gap_seconds", d.GapSeconds, "must be 0 to %d; 1 is usual", MaxGapSeconds)
	}
	if !(d.LeadSeconds >= 0 && d.LeadSeconds <= MaxLeadSeconds) {
		bad("lead_seconds", d.LeadSeconds, "must be 0 to %d; 0.5 is usual", MaxLeadSeconds)
	}
	if !(d.Amplitude >= 0 && d.Amplitude <= 1) {
		bad("amplitude", d.Amplitude, "must be above 0 and at most 1")
	}
	if len(all) > 0 {
		return all
	}
	f := d.withDefaults()
	if n := d.samples(); n > MaxSamples {
		all = append(all, Fault{"seconds", fmt.Sprintf("seconds is %g, and lead, %d sweeps and gaps come to %d samples", d.Seconds, f.Repeats, n),
			fmt.Sprintf("shorten them, or lower repeats or rate_hz; %d is most", MaxSamples)})
	}
	if !(f.FadeInSeconds >= 0 && f.FadeOutSeconds >= 0 && f.FadeInSeconds+f.FadeOutSeconds <= f.Seconds) {
		all = append(all, Fault{Found: fmt.Sprintf("fades of %g s and %g s do not fit into %g s", f.FadeInSeconds, f.FadeOutSeconds, f.Seconds)})
	}
	return all
}

// Validate returns all Faults of the design, joined. Nil when it can be played.
func (d Design) Validate() error {
	var errs []error
	for _, f := range d.Faults() {
		errs = append(errs, f)
	}
	return errors.Join(errs...)
}

// Rate returns L in seconds, the time in which the frequency grows by the
// factor e: f(t) = StartHz·exp(t/L) (Novak et al. 2015, equation 9).
func (d Design) Rate() float64 { return d.Seconds / math.Log(d.StopHz/d.StartHz) }

// TimeOf returns when the sweep passes hz, in seconds from its start.
func (d Design) TimeOf(hz float64) float64 { return d.Rate() * math.Log(hz/d.StartHz) }

// HarmonicLead returns how many seconds before the linear response the
// response of harmonic order n appears after deconvolution: L·ln n.
func (d Design) HarmonicLead(n int) float64 { return d.Rate() * math.Log(float64(n)) }

// SweepSamples returns the length of one sweep in samples.
func (d Design) SweepSamples() int { return int(math.Round(d.Seconds * d.RateHz)) }

// PeriodSamples returns the distance from one sweep's start to the next. It is in
// samples.
func (d Design) PeriodSamples() int { return d.SweepSamples() + d.GapSamples() }

// GapSamples and LeadSamples return the silences in samples.
func (d Design) GapSamples() int { return int(math.Round(d.GapSeconds * d.RateHz)) }

// LeadSamples returns the silence before the first sweep in samples.
func (d Design) LeadSamples() int { return int(math.Round(d.LeadSeconds * d.RateHz)) }

// RMS returns the root mean square of an unfaded sweep, Amplitude/√2. It is what the
// drive voltage of a study refers to. It is in sample values, full scale 1.
func (d Design) RMS() float64 { return d.withDefaults().Amplitude / math.Sqrt2 }

// Sweep returns one sweep of SweepSamples samples:
//
//	x(t) = Amplitude · sin(2π·StartHz·L·exp(t/L)),
//
// Novak et al. 2015, equation 11. A phase of this form, without the "−1" of
// Farina's, makes n times the phase equal to the phase L·ln n later, for every
// n and any L; the fade, and not a rounded L, makes it start at zero.
func (d Design) Sweep() []float64 {
	return d.Stretched(1)
}

// Stretched returns one sweep as a recorder whose clock runs ratio times as
// fast as the playback clock would sample it: x(t/ratio), from the formula and
// so without interpolation.
func (d Design) Stretched(ratio float64) []float64 {
	d = d.withDefaults()
	x := make([]float64, int(math.Round(d.Seconds*d.RateHz*ratio)))
	step := 1 / (d.RateHz * ratio)
	for i := range x {
		x[i] = d.at(float64(i) * step)
	}
	return x
}

// At returns the sweep t seconds after its start, at any t from 0 to Seconds.
func (d Design) At(t float64) float64 { return d.withDefaults().at(t) }

func (d Design) at(t float64) float64 {
	l := d.Rate()
	// The phase passes 10⁵ rad: exp and sin keep it to 1e-11.
	return d.Amplitude * d.fade(t) * math.Sin(2*math.Pi*d.StartHz*l*math.Exp(t/l))
}

// fade returns the half-Hann fades at t seconds.
func (d Design) fade(t float64) float64 {
	g := 1.0
	if t < d.FadeInSeconds {
		s := math.Sin(math.Pi / 2 * t / d.FadeInSeconds)
		g *= s * s
	}
	if rest := d.Seconds - t; rest < d.FadeOutSeconds {
		s := math.Sin(math.Pi / 2 * max(rest, 0) / d.FadeOutSeconds)
		g *= s * s
	}
	return g
}

// samples returns the length of the whole excitation.
func (d Design) samples() int {
	return d.LeadSamples() + d.withDefaults().Repeats*d.PeriodSamples()
}

// Signal returns the whole excitation: lead, then Repeats times a sweep followed by a
// gap. Samples are of full scale 1, at RateHz.
func (d Design) Signal() []float64 {
	x := make([]float64, d.samples())
	one := d.Sweep()
	for k := range d.withDefaults().Repeats {
		copy(x[d.LeadSamples()+k*d.PeriodSamples():], one)
	}
	return x
}
