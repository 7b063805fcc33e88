package capture

import (
	"fmt"
	"math"
	"slices"
)

// add records a finding; the worst come first, and among equals the earlier.
func (t *take) add(f Finding) {
	if math.IsNaN(f.Value) || math.IsInf(f.Value, 0) {
		f.Value = 0
	}
	t.rec.Quality.Findings = append(t.rec.Quality.Findings, f)
	slices.SortStableFunc(t.rec.Quality.Findings, func(a, b Finding) int { return int(b.Severity) - int(a.Severity) })
}

// Limits of the plain findings.
const (
	clipLevel      = 0.9999 // of full scale: one 16-bit step below it counts
	clipRun        = 3      // samples in a row
	lowLevelDB     = -50.0  // sweep re full scale, AES17
	noisySNRDB     = 30.0   // median over the bands
	largeDriftPPM  = 100.0
	unclearPattern = 30.0 // pulse over trace when looking for the sweeps
)

// checkSamples looks at the raw samples.
func (t *take) checkSamples() {
	for role, x := range t.x {
		if x == nil {
			continue
		}
		name := channelNames[role]
		peak, bad := extent(x)
		if bad > 0 {
			t.add(Finding{Code: "not-finite", Severity: Refusal, Channel: name, Value: float64(bad), Unit: "samples",
				Message: fmt.Sprintf("%d samples are not numbers", bad), Mend: "record again; the file is damaged"})
		}
		if peak == 0 {
			t.add(Finding{Code: "silent", Severity: Refusal, Channel: name,
				Message: "the channel is silent", Mend: "check cable, phantom power and the channel numbers of the study"})
			continue
		}
		if runs := clippedRuns(x, peak); runs > 0 {
			t.add(Finding{Code: "clipping", Severity: Refusal, Channel: name, Value: float64(runs), Unit: "places",
				Message: fmt.Sprintf("clipped in %d places at %.1f dB re full scale", runs, 20*math.Log10(peak)),
				Mend:    "lower the recording gain, or the drive, and record again"})
		}
	}
}

// extent returns the largest magnitude and how many samples are not finite.
func extent(x []float64) (peak float64, bad int) {
	// Four at a time, so that one comparison does not wait for the last.
	var top [4]float64
	sum := 0.0
	whole := len(x) &^ 3
	for i := 0; i < whole; i += 4 {
		v := x[i : i+4 : i+4]
		for j := range top {
			a := math.Abs(v[j])
			if a > top[j] {
				top[j] = a
			}
		}
		sum += (v[0] + v[1] + v[2] + v[3]) * 0 // not 0 when one is not finite
	}
	for _, v := range x[whole:] {
		top[0] = max(top[0], math.Abs(v))
		sum += v * 0
	}
	if sum != 0 {
		for _, v := range x {
			if v-v != 0 {
				bad++
			}
		}
	}
	return max(top[0], top[1], top[2], top[3]), bad
}

// clippedRuns counts the places where the signal stays at its own peak, within
// one 16-bit step, for clipRun samples or more, when that peak is full scale.
func clippedRuns(x []float64, peak float64) int {
	if peak < clipLevel {
		return 0
	}
	limit := peak - 1.0/32768
	runs, length := 0, 0
	for _, v := range x {
		if math.Abs(v) < limit {
			length = 0
			continue
		}
		if length++; length == clipRun {
			runs++
		}
	}
	return runs
}

// checkFound reports what the search for the sweeps says, and whether there is
// anything to go on with.
func (t *take) checkFound() bool {
	f := t.found
	if !t.rec.Quality.finite() {
		return false
	}
	if len(f.start) == 0 && f.cut > 0 {
		t.add(Finding{Code: "truncated", Severity: Refusal, Value: float64(f.cut), Unit: "repeats",
			Message: "no repeat of the excitation is whole: the recording starts too late or stops too early",
			Mend:    "start recording before playback and stop after the end, and record again"})
		return false
	}
	if len(f.start) == 0 || f.clarity < unclearPattern {
		t.add(Finding{Code: "no-excitation", Severity: Refusal, Value: f.clarity,
			Message: "the excitation of the study is not in this recording",
			Mend:    "check that the right excitation was played, at the right rate and into the right channels, and record again"})
		return false
	}
	if f.cut > 0 || f.missing > 0 {
		t.add(Finding{Code: "truncated", Severity: Warning, Value: float64(len(f.start)), Unit: "repeats",
			Message: fmt.Sprintf("%d of %d repeats are whole", len(f.start), t.p.repeats),
			Mend:    "start recording before playback and stop after the end"})
	}
	return true
}

// finite reports whether the samples are numbers.
func (q Quality) finite() bool {
	return !slices.ContainsFunc(q.Findings, func(f Finding) bool { return f.Code == "not-finite" })
}

// checkResponses looks at the finished responses.
func (t *take) checkResponses() {
	rec := t.rec
	if d := math.Abs(rec.DriftPPM); d > largeDriftPPM && d > 3*rec.DriftSEPPM {
		t.add(Finding{Code: "drift", Severity: Note, Value: rec.DriftPPM, Unit: "ppm",
			Message: fmt.Sprintf("the recorder's clock runs %+.0f ppm against playback; it was allowed for", rec.DriftPPM),
			Mend:    "nothing for these curves; a common word clock would remove it"})
	}
	for e := range 2 {
		if t.x[e] == nil {
			continue
		}
		r := &rec.Ears[e]
		if r.SweepLevelDB <= NoLevelDB {
			continue // silent, and reported so
		}
		if level := t.fullScaleLevel(Ear(e)); level < lowLevelDB {
			t.add(Finding{Code: "low-level", Severity: Warning, Channel: channelNames[e], Value: level, Unit: "dB re full scale",
				Message: fmt.Sprintf("the sweep is recorded at %.0f dB re full scale", level),
				Mend:    "raise the recording gain"})
		}
		var snr []float64
		for i := range r.LevelDB {
			if b := t.p.bands[i]; b.Lower >= max(t.p.lowHz, 40) && b.Upper <= min(t.p.highHz, 16000) {
				snr = append(snr, r.LevelDB[i]-r.NoiseDB[i])
			}
		}
		if len(snr) == 0 {
			continue
		}
		slices.Sort(snr)
		if m := snr[len(snr)/2]; m < noisySNRDB {
			severity, mend := Warning, "raise the drive within the safe limit, or record in quiet"
			if m < t.p.minSNR() {
				severity = Refusal
			}
			t.add(Finding{Code: "noisy", Severity: severity, Channel: channelNames[e], Value: m, Unit: "dB",
				Message: fmt.Sprintf("signal to noise is %.0f dB in the middle of the bands", m), Mend: mend})
		}
	}
	if !rec.Quality.Usable() {
		for e := range rec.Ears {
			clear(rec.Ears[e].Valid)
		}
	}
}

// fullScaleLevel returns the level of the sweep re full scale (AES17).
func (t *take) fullScaleLevel(e Ear) float64 {
	level := t.rec.Ears[e].SweepLevelDB
	if pa := t.p.setup.Microphones[e].PaPerUnit; pa > 0 {
		level += 20*math.Log10(20e-6/pa) + 20*math.Log10(math.Sqrt2)
	}
	return level
}
