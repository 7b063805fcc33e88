package capture_test

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"asworn/capture"
	"asworn/capture/finding"
	"asworn/capture/study"
	"asworn/capture/sweep"
)

// plantedDesigns are the ways of recording in which faults are planted: short
// sweeps, so that thousands of them are cheap, and from shortDesigns on some as
// studies use them, for faults whose look depends on the sweep's speed.
var plantedDesigns = [...]struct {
	rate          float64
	seconds, lead float64
	repeats       int
	loop          int
}{
	{16000, 0.4, 0.3, 1, 3},
	{16000, 0.3, 0.3, 2, 0},
	{16000, 0.3, 0, 2, 3},
	{16000, 0.3, 0.2, 3, 3},
	{16000, 0.5, 0, 1, 0},
	{16000, 0.3, 0.2, 3, 0},

	{48000, 3, 0.5, 1, 3},
	{48000, 3, 0.5, 1, 0},
	{48000, 3, 0, 2, 3},
	{48000, 3, 0.5, 2, 0},
}

const shortDesigns = 6

func plantedSetup(i int) study.Setup {
	p := plantedDesigns[i]
	d := sweep.Design{StartHz: 20, StopHz: 0.475 * p.rate, Seconds: p.seconds, Repeats: p.repeats,
		GapSeconds: 0.3, LeadSeconds: p.lead, RateHz: p.rate}
	return study.Setup{Sweep: d, Left: 1, Right: 2, Loopback: p.loop}
}

// pristine makes the processor of each planted design once; it is only cloned.
var pristine = func() (out [len(plantedDesigns)]func() (*capture.Processor, error)) {
	for i := range out {
		out[i] = sync.OnceValues(func() (*capture.Processor, error) { return capture.NewProcessor(plantedSetup(i)) })
	}
	return out
}()

// planted returns a processor of a planted design that has processed nothing yet.
func planted(t testing.TB, design int) *capture.Processor {
	t.Helper()
	p, err := pristine[design]()
	if err != nil {
		t.Fatal(err)
	}
	return p.Clone()
}

// recipe is a recording that is yet to be made. As drawn it is a good one.
type recipe struct {
	*rand.Rand
	design  int
	sweep   sweep.Design
	ppm     float64
	latency float64 // samples
	ears    [2]chain
	peakDB  [2]float64 // of each ear, re full scale
	square  float64    // of the drive, full scale 1
	cube    float64
	noiseDB float64 // re the sweep, unweighted
	humDB   float64 // re the sweep
	humHz   float64
	dc      float64
	bits    int

	play   func(drive []float64, at, ratio float64) // another excitation than the stated one
	starts []int                                    // of the repeats, in samples, once made
	before func(ch [][]float64)                     // spoils what comes to the converter
	after  func(ch [][]float64) [][]float64
}

// drawGood draws a good recording: levels, responses of an earphone on an ear,
// noise, a little hum, distortion and d.c., and a clock that is off, all within
// what is usual.
func drawGood(seed uint64, design int) *recipe {
	r := &recipe{Rand: rand.New(rand.NewPCG(seed, 77)), design: design, sweep: plantedSetup(design).Sweep}
	r.ppm = max(-70, min(70, 30*r.NormFloat64()))
	r.latency = r.between(0.005, 0.05) * r.sweep.RateHz
	rate := r.sweep.RateHz
	low, mid, high := r.between(15, 60), r.between(2000, 4000), r.between(4500, 6900)
	for e := range r.ears {
		own := func(sd float64) float64 { return math.Exp(sd * r.NormFloat64()) }
		r.ears[e] = chain{
			highpass(low*own(0.2), r.between(0.6, 1), rate),
			peak(r.between(70, 200), r.between(0.7, 1.5), 3*r.NormFloat64(), rate),
			peak(mid*own(0.05), r.between(1.5, 3), r.between(5, 12), rate),
			peak(min(high*own(0.05), 0.44*rate), r.between(3, 7), -r.between(6, 15), rate),
		}
	}
	level := r.between(-35, -4)
	r.peakDB = [2]float64{level + r.between(-2, 0), level + r.between(-2, 0)}
	r.square, r.cube = 0.004*r.Float64(), 0.004*r.Float64()
	r.noiseDB, r.humDB = r.between(-70, -50), r.between(-70, -48)
	r.humHz = []float64{50, 60}[r.IntN(2)]
	r.dc = 0.002 * r.NormFloat64()
	r.bits = []int{16, 24}[r.IntN(2)]
	return r
}

func (r *recipe) between(a, b float64) float64 { return a + (b-a)*r.Float64() }

// make makes the recording: left, right and loopback, full scale 1.
func (r *recipe) make() [][]float64 {
	d, ratio := r.sweep, 1+r.ppm*1e-6
	total := int(r.latency + 0.15*d.RateHz + d.LeadSeconds*d.RateHz + float64(d.Repeats*d.PeriodSamples()))
	drive := make([]float64, total)
	r.starts = nil
	for k := range d.Repeats {
		at := (float64(d.LeadSamples()+k*d.PeriodSamples()) + r.latency) * ratio
		if r.play != nil {
			r.play(drive, at, ratio)
		} else {
			addStretched(drive, d, ratio, at)
		}
		r.starts = append(r.starts, int(at))
		if d.StopHz > d.RateHz/2 { // what the recorder's filter takes away
			from, to := int(at+d.TimeOf(0.49*d.RateHz)*d.RateHz), int(at)+d.SweepSamples()
			clear(drive[from:min(to+1, total)])
		}
	}
	bent := make([]float64, total)
	for i, v := range drive {
		bent[i] = v + r.square*v*v + r.cube*v*v*v
	}
	ch := [][]float64{r.ears[0].run(bent), r.ears[1].run(bent), drive}
	for e := range 2 {
		top := 0.0
		for _, v := range ch[e] {
			top = max(top, math.Abs(v))
		}
		gain := math.Pow(10, r.peakDB[e]/20) / top
		power := 0.0
		for i := range ch[e] {
			ch[e][i] *= gain
			power += ch[e][i] * ch[e][i]
		}
		rms := math.Sqrt(power / float64(d.Repeats*d.SweepSamples()))
		white, hum, phase := rms*math.Pow(10, r.noiseDB/20), rms*math.Pow(10, r.humDB/20), 2*math.Pi*r.Float64()
		for i := range ch[e] {
			w := 2*math.Pi*r.humHz*float64(i)/d.RateHz + phase
			ch[e][i] += white*r.NormFloat64() + r.dc + hum*1.3*(math.Sin(w)+0.3*math.Sin(3*w)+0.2*math.Sin(2*w))
		}
	}
	gain := r.between(0.3, 1.5)
	for i := range ch[2] {
		ch[2][i] = gain*ch[2][i] + 2e-6*r.NormFloat64()
	}
	if r.before != nil {
		r.before(ch)
	}
	step := math.Pow(2, float64(1-r.bits))
	for _, x := range ch {
		for i, v := range x {
			x[i] = step * math.Round(max(-1, min(1-step, v))/step)
		}
	}
	if r.after != nil {
		ch = r.after(ch)
	}
	return ch
}

// inSweep draws a sample in the middle eight tenths of a repeat.
func (r *recipe) inSweep() int {
	return r.starts[r.IntN(len(r.starts))] + int(r.between(0.1, 0.9)*float64(r.sweep.SweepSamples()))
}

func amplify(x []float64, db float64) {
	g := math.Pow(10, db/20)
	for i := range x {
		x[i] *= g
	}
}

func rmsOf(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v * v
	}
	return math.Sqrt(s / float64(len(x)))
}

// gate lets through what is above a threshold, and of the rest a part. It holds for
// some 30 ms.
func gate(x []float64, rate, threshold, closed float64) {
	fall := math.Exp(-1 / (0.03 * rate))
	envelope, gain := 0.0, closed
	for i, v := range x {
		envelope = max(math.Abs(v), envelope*fall)
		want := closed
		if envelope > threshold {
			want = 1
		}
		gain += (want - gain) / (0.004 * rate)
		x[i] = v * gain
	}
}

// plant is a fault of one kind in several sizes.
type plant struct {
	name  string
	code  finding.Code
	also  []finding.Code // that stand for the same
	unit  string
	sizes []float64 // from the smallest; a single size where there is no more to say
	sure  int       // of the sizes, how many from the largest must always be found
	needs func(repeats, loop int) bool
	spoil func(r *recipe, size float64)
}

func needsLoop(_, loop int) bool   { return loop > 0 }
func needsTwo(repeats, _ int) bool { return repeats > 1 }

// spoils wraps what is done to the samples of all channels.
func all(do func(x []float64)) func([][]float64) {
	return func(ch [][]float64) {
		for _, x := range ch {
			do(x)
		}
	}
}

// toldAs are what else another sweep than the stated one is told as: it is found
// at another rate, or not whole.
var toldAs = []finding.Code{finding.WrongRate, finding.Drift, finding.Truncated, finding.Dropout}

var plants = []plant{
	{name: "clipping at full scale", code: finding.Clipping, unit: "dB over", sizes: []float64{0.1, 0.3, 1, 3, 10}, sure: 2,
		spoil: func(r *recipe, size float64) { r.peakDB[r.IntN(2)] = size }},
	{name: "tops cut flat before the converter", code: finding.FlatTop, unit: "dB over", sizes: []float64{0.1, 0.3, 1, 3, 10}, sure: 2,
		spoil: func(r *recipe, size float64) {
			e := r.IntN(2)
			r.before = func(ch [][]float64) {
				limit := math.Pow(10, (r.peakDB[e]-size)/20)
				for i, v := range ch[e] {
					ch[e][i] = max(-limit, min(limit, v))
				}
				for i := range ch[e] {
					ch[e][i] += 1e-5 * r.NormFloat64() // of the converter
				}
			}
		}},
	{name: "peaks between samples", code: finding.InterSamplePeak, unit: "dB over", sizes: []float64{0.2, 0.5, 1, 2}, sure: 2,
		spoil: func(r *recipe, size float64) {
			e := r.IntN(2)
			r.peakDB[e] = -6
			r.after = func(ch [][]float64) [][]float64 {
				// A tone of a quarter of the rate whose samples all miss its tops.
				at := r.starts[0] + r.sweep.SweepSamples()/2
				for i := range 64 {
					w := 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/64)
					ch[e][at+i] = (1 - w) * ch[e][at+i]
					ch[e][at+i] += w * math.Pow(10, size/20) * math.Sin(math.Pi/2*float64(i)+math.Pi/4)
				}
				return ch
			}
		}},
	{name: "low level", code: finding.LowLevel, unit: "dB re full scale", sizes: []float64{-52, -55, -60, -70}, sure: 3,
		spoil: func(r *recipe, size float64) {
			r.bits, r.dc = 24, 0
			e := r.IntN(2)
			r.before = func(ch [][]float64) {
				power := 0.0
				for _, s := range r.starts {
					v := rmsOf(ch[e][s : s+r.sweep.SweepSamples()])
					power += v * v / float64(len(r.starts))
				}
				amplify(ch[e], size-10*math.Log10(2*power))
			}
		}},
	{name: "noise", code: finding.Noisy, unit: "dB re sweep", sizes: []float64{-20, -10, 0, 10}, sure: 2,
		spoil: func(r *recipe, size float64) { r.noiseDB = size; r.peakDB = [2]float64{-20, -20} }},
	{name: "mains hum", code: finding.MainsHum, unit: "dB re sweep", sizes: []float64{-40, -36, -30, -20, -10}, sure: 3,
		spoil: func(r *recipe, size float64) { r.humDB = size }},
	{name: "d.c.", code: finding.DCOffset, unit: "% of full scale", sizes: []float64{1, 3, 5, 10}, sure: 2,
		spoil: func(r *recipe, size float64) {
			r.dc = math.Copysign(size/100, r.NormFloat64())
			for e := range r.peakDB {
				r.peakDB[e] = min(r.peakDB[e], -6)
			}
		}},
	{name: "samples blanked", code: finding.Dropout, unit: "samples", sizes: []float64{4, 16, 64, 256}, sure: 2,
		spoil: func(r *recipe, size float64) {
			r.after = func(ch [][]float64) [][]float64 {
				at := r.inSweep()
				all(func(x []float64) { clear(x[at : at+int(size)]) })(ch)
				return ch
			}
		}},
	{name: "samples held", code: finding.Dropout, unit: "samples", sizes: []float64{4, 16, 64, 256}, sure: 2,
		spoil: func(r *recipe, size float64) {
			r.after = func(ch [][]float64) [][]float64 {
				at := r.inSweep()
				all(func(x []float64) {
					for i := range int(size) {
						x[at+i] = x[at-1]
					}
				})(ch)
				return ch
			}
		}},
	{name: "samples lost in a sweep", code: finding.Dropout, unit: "samples", sizes: []float64{1, 4, 16, 64, 256},
		spoil: func(r *recipe, size float64) {
			r.after = func(ch [][]float64) [][]float64 {
				at := r.inSweep()
				for i, x := range ch {
					ch[i] = append(x[:at:at], x[at+int(size):]...)
				}
				return ch
			}
		}},
	{name: "samples played twice in a sweep", code: finding.Dropout, unit: "samples", sizes: []float64{1, 4, 16, 64, 256},
		spoil: func(r *recipe, size float64) {
			r.after = func(ch [][]float64) [][]float64 {
				at := r.inSweep()
				for i, x := range ch {
					ch[i] = append(x[:at:at], x[at-int(size):]...)
				}
				return ch
			}
		}},
	{name: "samples lost between sweeps", code: finding.Dropout, unit: "samples", sizes: []float64{1, 4, 16, 64}, sure: 1,
		needs: func(repeats, loop int) bool { return repeats > 2 || repeats == 2 && loop > 0 },
		spoil: func(r *recipe, size float64) {
			r.after = func(ch [][]float64) [][]float64 {
				at := r.starts[0] + r.sweep.SweepSamples() + int(0.1*r.sweep.RateHz)
				for i, x := range ch {
					ch[i] = append(x[:at:at], x[at+int(size):]...)
				}
				return ch
			}
		}},
	{name: "click in one channel", code: finding.Click, unit: "of the peak", sizes: []float64{0.01, 0.03, 0.1, 0.3, 1},
		spoil: func(r *recipe, size float64) {
			r.peakDB = [2]float64{-10, -10}
			e := r.IntN(2)
			r.before = func(ch [][]float64) { ch[e][r.inSweep()] += size * math.Pow(10, r.peakDB[e]/20) }
		}},
	{name: "microphone and loopback exchanged", code: finding.ChannelsSwapped, sizes: []float64{1}, sure: 1, needs: needsLoop,
		spoil: func(r *recipe, _ float64) {
			e := r.IntN(2)
			r.after = func(ch [][]float64) [][]float64 { ch[e], ch[2] = ch[2], ch[e]; return ch }
		}},
	{name: "one channel a copy of another", code: finding.IdenticalChannels, unit: "dB difference", sizes: []float64{-62, -70, -80, -100}, sure: 3,
		spoil: func(r *recipe, size float64) {
			r.bits = 24
			r.dc = 0
			r.before = func(ch [][]float64) {
				g := r.between(-1, 1)
				s := rmsOf(ch[0]) * math.Abs(g) * math.Pow(10, size/20)
				for i, v := range ch[0] {
					ch[1][i] = g*v + s*r.NormFloat64()
				}
			}
		}},
	{name: "one ear's polarity turned", code: finding.Polarity, sizes: []float64{1}, sure: 1,
		spoil: func(r *recipe, _ float64) {
			e := r.IntN(2)
			r.before = func(ch [][]float64) {
				for i, v := range ch[e] {
					ch[e][i] = -v
				}
			}
		}},
	{name: "stopped too early", code: finding.Truncated, unit: "% of the last sweep", sizes: []float64{10, 20, 50}, sure: 3,
		spoil: func(r *recipe, size float64) {
			r.after = func(ch [][]float64) [][]float64 {
				end := r.starts[len(r.starts)-1] + int((1-size/100)*float64(r.sweep.SweepSamples()))
				for i := range ch {
					ch[i] = ch[i][:end]
				}
				return ch
			}
		}},
	{name: "started too late", code: finding.Truncated, unit: "% of the first sweep", sizes: []float64{10, 20, 50}, sure: 3,
		spoil: func(r *recipe, size float64) {
			r.after = func(ch [][]float64) [][]float64 {
				from := r.starts[0] + int(size/100*float64(r.sweep.SweepSamples()))
				for i := range ch {
					ch[i] = ch[i][from:]
				}
				return ch
			}
		}},
	{name: "noise in place of the sweep", code: finding.NoExcitation, sizes: []float64{1}, sure: 1,
		spoil: func(r *recipe, _ float64) {
			r.before = all(func(x []float64) {
				for i := range x {
					x[i] = 0.05 * r.NormFloat64()
				}
			})
		}},
	{name: "player and recorder at different rates", code: finding.WrongRate, unit: "recorder's over player's", sizes: []float64{44100.0 / 48000, 48000.0 / 44100, 0.5, 2}, sure: 1,
		spoil: func(r *recipe, size float64) {
			d := r.sweep
			d.Seconds, d.GapSeconds, d.LeadSeconds = d.Seconds*size, d.GapSeconds*size, d.LeadSeconds*size
			d.StartHz, d.StopHz = d.StartHz/size, d.StopHz/size
			r.sweep = d
		}},
	{name: "clock", code: finding.Drift, unit: "ppm", sizes: []float64{110, 150, 300, 800}, sure: 2, needs: needsTwo,
		spoil: func(r *recipe, size float64) { r.ppm = math.Copysign(size, r.NormFloat64()) }},
	{name: "distortion", code: finding.Distortion, unit: "%", sizes: []float64{2, 4, 8, 16}, sure: 2,
		spoil: func(r *recipe, size float64) {
			if r.IntN(2) == 0 { // of a sine of 0.5: a₂/4 and a₃/16
				r.square = size / 100 * 4
			} else {
				r.cube = size / 100 * 16
			}
		}},
	{name: "cough during one repeat", code: finding.RepeatDropped, unit: "dB re sweep", sizes: []float64{-20, -10, 0, 10}, sure: 2, needs: needsTwo,
		spoil: func(r *recipe, size float64) {
			r.peakDB = [2]float64{-25, -25}
			r.before = func(ch [][]float64) {
				s := r.starts[r.IntN(len(r.starts))]
				n := r.sweep.SweepSamples()
				for e := range 2 {
					g := rmsOf(ch[e][s:s+n]) * math.Pow(10, size/20)
					for i := range n / 2 {
						ch[e][s+n/4+i] += g * r.NormFloat64()
					}
				}
			}
		}},
	{name: "one ear louder", code: finding.EarsUnequal, unit: "dB", sizes: []float64{12, 15, 20, 30}, sure: 3,
		spoil: func(r *recipe, size float64) {
			e := r.IntN(2)
			r.peakDB[1-e] = r.between(-20, -4)
			r.peakDB[e] = r.peakDB[1-e] - size
		}},
	{name: "microphone moved between repeats", code: finding.LevelJump, unit: "dB", sizes: []float64{0.5, 1, 2, 6}, sure: 3, needs: needsTwo,
		spoil: func(r *recipe, size float64) {
			e := r.IntN(2)
			r.before = func(ch [][]float64) {
				from := r.starts[1+r.IntN(len(r.starts)-1)] - int(0.05*r.sweep.RateHz)
				amplify(ch[e][from:], math.Copysign(size, r.NormFloat64())-6)
				amplify(ch[e][:from], -6)
			}
		}},
	{name: "loopback through a high-pass", code: finding.LoopbackNotFlat, unit: "Hz", sizes: []float64{15, 30, 60, 120}, sure: 3, needs: needsLoop,
		spoil: func(r *recipe, size float64) {
			r.before = func(ch [][]float64) { ch[2] = chain{highpass(size, 0.707, r.sweep.RateHz)}.run(ch[2]) }
		}},
	{name: "sweep begins higher than stated", code: finding.OtherExcitation, also: toldAs, unit: "octaves", sizes: []float64{0.1, 0.5, 1, 2}, sure: 3,
		spoil: func(r *recipe, size float64) {
			d := r.sweep
			d.StartHz *= math.Pow(2, size)
			r.play = func(drive []float64, at, ratio float64) { addStretched(drive, d, ratio, at) }
		}},
	{name: "sweep ends lower than stated", code: finding.OtherExcitation, also: toldAs, unit: "octaves", sizes: []float64{0.1, 0.25, 0.5, 1}, sure: 2,
		spoil: func(r *recipe, size float64) {
			d := r.sweep
			d.StopHz *= math.Pow(2, -size)
			r.play = func(drive []float64, at, ratio float64) { addStretched(drive, d, ratio, at) }
		}},
	{name: "linear sweep in place of an exponential one", code: finding.OtherExcitation, also: toldAs, sizes: []float64{1}, sure: 1,
		spoil: func(r *recipe, _ float64) {
			d := r.sweep
			r.play = func(drive []float64, at, ratio float64) {
				n := float64(d.SweepSamples())
				for i := int(at) + 1; float64(i) < at+n*ratio && i < len(drive); i++ {
					s := (float64(i) - at) / ratio / d.RateHz
					drive[i] += 0.5 * math.Sin(2*math.Pi*(d.StartHz*s+(d.StopHz-d.StartHz)*s*s/2/d.Seconds))
				}
			}
		}},
	{name: "noise gate", code: finding.NoiseGate, unit: "dB", sizes: []float64{6, 12, 20, 100}, sure: 2,
		spoil: func(r *recipe, size float64) {
			r.dc, r.bits = 0, 24
			r.before = func(ch [][]float64) {
				for _, x := range ch[:2] {
					gate(x, r.sweep.RateHz, 4*rmsOf(x[len(x)-int(0.05*r.sweep.RateHz):]), math.Pow(10, -size/20))
				}
			}
		}},
	{name: "a silent channel", code: finding.Silent, sizes: []float64{1}, sure: 1,
		spoil: func(r *recipe, _ float64) {
			e := r.IntN(2)
			r.after = func(ch [][]float64) [][]float64 { clear(ch[e]); return ch }
		}},
	{name: "samples that are not numbers", code: finding.NotFinite, unit: "samples", sizes: []float64{1, 100}, sure: 2,
		spoil: func(r *recipe, size float64) {
			r.after = func(ch [][]float64) [][]float64 {
				e := r.IntN(2)
				for range int(size) {
					ch[e][r.IntN(len(ch[e]))] = []float64{math.NaN(), math.Inf(1)}[r.IntN(2)]
				}
				return ch
			}
		}},
}
