package capture_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/curve"
	"asworn/capture/finding"
	"asworn/capture/response"
	"asworn/capture/study"
	"asworn/capture/sweep"
)

// good returns a good recording: two ears, a loopback, latency, a little noise.
func good(d sweep.Design) [][]float64 {
	x := delayed(d.Signal(), 3000)
	x = append(x, make([]float64, 4000)...)
	ch := [][]float64{earFilters[0].run(x), earFilters[1].run(x), x}
	for e := range 2 {
		for i := range ch[e] {
			ch[e][i] *= 0.2
		}
		noise(ch[e], 3e-5, uint64(10+e))
	}
	return ch
}

func processor(t *testing.T, s study.Setup) *capture.Processor {
	t.Helper()
	p, err := capture.NewProcessor(s)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func codes(q finding.Quality) []string {
	var out []string
	for _, f := range q.Findings {
		out = append(out, string(f.Code)+"/"+f.Severity.String()+"/"+f.Channel)
	}
	return out
}

func TestFindings(t *testing.T) {
	d := sweep.Default()
	d.Seconds, d.Repeats = 1.5, 3
	at := func(seconds float64) int { return 3000 + int(seconds*48000) }
	period := d.Seconds + d.GapSeconds
	clean, processors := good(d), map[int]*capture.Processor{} // by loopback
	for _, loop := range []int{0, 3} {
		processors[loop] = processor(t, study.Setup{Sweep: d, Left: 1, Right: 2, Loopback: loop})
	}
	for _, c := range []struct {
		name  string
		spoil func([][]float64) [][]float64
		loop  int
		want  []string
		used  int
	}{
		{"good", func(x [][]float64) [][]float64 { return x }, 3, nil, 3},
		{"good, no loopback", func(x [][]float64) [][]float64 { return x }, 0, nil, 3},
		{"clipped", func(x [][]float64) [][]float64 {
			for i, v := range x[0] {
				x[0][i] = max(-1, min(1, 9*v))
			}
			return x
		}, 3, []string{"clipping/rejected/left"}, 3},
		{"quiet", func(x [][]float64) [][]float64 {
			for i := range x[1] {
				x[1][i] *= 0.01
			}
			return x
		}, 3, []string{"low-level/warning/right", "ears-unequal/warning/right"}, 3},
		{"noisy", func(x [][]float64) [][]float64 {
			noise(x[0], 0.1, 5)
			return x
		}, 3, []string{"noisy/warning/left"}, 3},
		{"hopeless", func(x [][]float64) [][]float64 {
			noise(x[0], 5, 5)
			for i := range x[0] {
				x[0][i] /= 30
			}
			return x
		}, 3, []string{"noisy/rejected/left", "ears-unequal/warning/left"}, 3},
		{"cough on the second repeat", func(x [][]float64) [][]float64 {
			for e := range 2 {
				noise(x[e][at(0.5+period+0.4):at(0.5+period+0.8)], 0.03, 6)
			}
			return x
		}, 0, []string{"repeat-dropped/note/"}, 2},
		{"silent channel", func(x [][]float64) [][]float64 {
			clear(x[1])
			return x
		}, 3, []string{"silent/rejected/right"}, 3},
		{"no excitation", func(x [][]float64) [][]float64 {
			for i := range x {
				clear(x[i])
				noise(x[i], 0.01, uint64(i))
			}
			return x
		}, 0, []string{"no-excitation/rejected/"}, 0},
		{"stopped in the last sweep", func(x [][]float64) [][]float64 {
			for i := range x {
				x[i] = x[i][:at(0.5+2*period+1)]
			}
			return x
		}, 3, []string{"truncated/warning/"}, 2},
		{"started in the first sweep", func(x [][]float64) [][]float64 {
			for i := range x {
				x[i] = x[i][at(0.5+0.4):]
			}
			return x
		}, 0, []string{"truncated/warning/"}, 2},
		{"not a number", func(x [][]float64) [][]float64 {
			x[0][5000] = math.NaN()
			return x
		}, 3, []string{"not-finite/rejected/left"}, 0},
	} {
		x := slices.Clone(clean)
		for i := range x {
			x[i] = slices.Clone(x[i])
		}
		rec, err := processors[c.loop].ProcessSamples(c.spoil(x), 48000)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := codes(rec.Quality); !slices.Equal(got, c.want) {
			t.Errorf("%s: findings %v, want %v: %+v", c.name, got, c.want, rec.Quality)
		}
		if rec.Used != c.used {
			t.Errorf("%s: %d of %d repeats used, want %d", c.name, rec.Used, rec.Repeats, c.used)
		}
		if !rec.Quality.Usable() && slices.Contains(rec.Ears[0].Valid, true) {
			t.Errorf("%s: rejected and still has valid bands", c.name)
		}
		for e, r := range rec.Ears {
			for i := range r.LevelDB {
				for _, v := range []float64{r.LevelDB[i], r.NoiseDB[i], r.StdErrDB[i]} {
					if math.IsNaN(v) || math.IsInf(v, 0) {
						t.Fatalf("%s: ear %d, band %d holds %g", c.name, e, i, v)
					}
				}
			}
		}
	}
}

// TestCoughOfTwo drops the right one of two repeats, which cannot outvote each
// other, and keeps the response.
func TestCoughOfTwo(t *testing.T) {
	d := sweep.Default()
	d.Seconds = 2
	p := processor(t, study.Setup{Sweep: d, Left: 1, Right: 2})
	for bad := range 2 {
		x := good(d)
		from := 3000 + int((0.5+float64(bad)*3+0.9)*48000)
		for e := range 2 {
			noise(x[e][from:from+20000], 0.03, 6)
		}
		rec, err := p.ProcessSamples(x, 48000)
		if err != nil {
			t.Fatal(err)
		}
		if got := codes(rec.Quality); !slices.Equal(got, []string{"repeat-dropped/note/"}) || rec.Quality.Findings[0].Value != float64(bad+1) {
			t.Errorf("cough on repeat %d: %+v", bad+1, rec.Quality)
		}
		for e, r := range rec.Ears {
			for i, b := range band.All() {
				if b.Lower > 30 && b.Upper < 20000 {
					want := earLevels()[e][i] + 20*math.Log10(0.2)
					if diff := math.Abs(r.LevelDB[i] - want); diff > 0.02+3*r.StdErrDB[i] {
						t.Errorf("cough on repeat %d, %.0f Hz: %.3f dB off", bad+1, b.Mid, diff)
					}
				}
			}
		}
	}
}

func TestMisfits(t *testing.T) {
	d := sweep.Default()
	p := processor(t, study.Setup{Sweep: d, Left: 1, Right: 2, Loopback: 3})
	x := good(d)
	for _, c := range []struct {
		x    [][]float64
		rate float64
		want string
	}{
		{x[:2], 48000, "2 channels"},
		{[][]float64{x[0], x[1], x[2][1:]}, 48000, "channel 3"},
		{[][]float64{{}, {}, {}}, 48000, "empty"},
	} {
		if _, err := p.ProcessSamples(c.x, c.rate); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("got %v, want an error with %q", err, c.want)
		}
	}
	for _, s := range []study.Setup{
		{Sweep: d},
		{Sweep: d, Left: 1, Right: 1},
		{Sweep: sweep.Design{}, Left: 1},
		{Sweep: d, Left: 1, Excitation: []float64{0, 0, 0}},
		{Sweep: d, Left: 1, Window: study.Window{PreSeconds: -1}},
		{Sweep: d, Left: 1, Microphones: [2]study.Microphone{{Response: curve.Curve{Hz: []float64{2, 1}, DB: []float64{0, 0}}}}},
	} {
		if _, err := capture.NewProcessor(s); err == nil {
			t.Errorf("no error for %+v", s)
		}
	}
}

// TestHarmonics sends the sweep through a polynomial. For a sine of amplitude A
// x + a₂x² + a₃x³ has the second harmonic a₂A²/2 and the third a₃A³/4 beside
// the fundamental A + 3a₃A³/4.
func TestHarmonics(t *testing.T) {
	const a2, a3 = 0.02, 0.01
	d := sweep.Default()
	p := processor(t, study.Setup{Sweep: d, Left: 1})
	x := delayed(d.Signal(), 500)
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = v + a2*v*v + a3*v*v*v
	}
	rec, err := p.ProcessSamples([][]float64{y}, 48000)
	if err != nil {
		t.Fatal(err)
	}
	a := 0.5
	first := a + 0.75*a3*a*a*a
	want := map[int]float64{2: a2 * a * a / 2 / first, 3: a3 * a * a * a / 4 / first}
	for i, b := range band.All() {
		for j, n := range response.HarmonicOrders {
			got := rec.Ears[0].HarmonicDB[j][i]
			if b.Lower < 40 || float64(n)*b.Upper > 20000 {
				continue
			}
			if w, ok := want[n]; ok {
				// Beyond 24 kHz the products of the polynomial fold back.
				if diff := got - 20*math.Log10(w); math.Abs(diff) > 0.25 {
					t.Errorf("order %d at %.0f Hz: %.2f dB, want %.2f", n, b.Mid, got, 20*math.Log10(w))
				}
			} else if got > -100 {
				t.Errorf("order %d at %.0f Hz: %.2f dB where there is none", n, b.Mid, got)
			}
		}
	}
}

// TestUnits checks the scale of calibrated levels.
func TestUnits(t *testing.T) {
	d := sweep.Default()
	x := d.Signal()
	mic := study.Microphone{PaPerUnit: 10, Response: curve.Curve{Hz: []float64{10, 100, 1000, 20000}, DB: []float64{1, 1, 0, -3}, PhaseDeg: []float64{10, 170, -170, -90}}}
	for _, c := range []struct {
		name  string
		setup study.Setup
		unit  string
		gain  float64 // of the level at 1 kHz
	}{
		{"plain", study.Setup{}, "dB, relative", 1},
		{"loopback at half", study.Setup{Loopback: 3}, "dB, relative", 2},
		{"calibrated", study.Setup{Microphones: [2]study.Microphone{mic, mic}}, "dB re 1 Pa", 10 * d.RMS()},
		{"calibrated, loopback", study.Setup{Loopback: 3, Microphones: [2]study.Microphone{mic, mic}}, "dB re 1 Pa", 10 * d.RMS()},
		{"calibrated, driven", study.Setup{DriveVoltsRMS: 0.1, Microphones: [2]study.Microphone{mic, mic}}, "dB re 1 Pa/V", 10 * d.RMS() / 0.1},
		{"all", study.Setup{Loopback: 3, DriveVoltsRMS: 0.1, Microphones: [2]study.Microphone{mic, mic}}, "dB re 1 Pa/V", 10 * d.RMS() / 0.1},
	} {
		c.setup.Sweep, c.setup.Left, c.setup.Right = d, 1, 2
		p := processor(t, c.setup)
		half := make([]float64, len(x))
		for i, v := range x {
			half[i] = v / 2
		}
		rec, err := p.ProcessSamples([][]float64{x, x, half}, 48000)
		if err != nil {
			t.Fatal(err)
		}
		if string(rec.LevelUnit) != c.unit {
			t.Errorf("%s: unit %q", c.name, rec.LevelUnit)
		}
		for i, b := range band.All() {
			for _, at := range []struct{ hz, db float64 }{{60, -1}, {1000, 0}, {316.2, -0.5}} {
				if b.Lower > at.hz || b.Upper <= at.hz {
					continue
				}
				want := 20 * math.Log10(c.gain)
				if c.setup.Microphones[0].PaPerUnit > 0 {
					want += at.db
				}
				if got := rec.Ears[0].LevelDB[i]; math.Abs(got-want) > 0.03 {
					t.Errorf("%s: %.3f dB at %g Hz, want %.3f", c.name, got, at.hz, want)
				}
			}
		}
		want := 20 * math.Log10(d.RMS()*math.Sqrt2)
		if c.setup.Microphones[0].PaPerUnit > 0 {
			want = 20 * math.Log10(d.RMS()*10/20e-6)
		}
		if got := rec.Ears[0].SweepLevelDB; math.Abs(got-want) > 0.2 {
			t.Errorf("%s: sweep at %.2f dB, want %.2f", c.name, got, want)
		}
	}
}
