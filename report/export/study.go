package export

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/disk"
	"asworn/fitcorr"
	"asworn/report"
)

// Corrections writes, into dir, the corrections of r as filters at rateHz: one
// WAV file per seating, point and phase, left and right channel. An ear that
// is not corrected, and bands in which a correction was withheld, are passed
// at 0 dB. It returns the files written, in the order of the results. The
// folder must exist.
func Corrections(dir string, r report.Results, rateHz float64) ([]string, error) {
	var files []string
	names := make(namer)
	for _, m := range r.Analysis.Models {
		for _, pair := range pairCorrections(m.Corrections) {
			id := pair.id
			if !strings.Contains(id, string(pair.point)) {
				id += " " + string(pair.point)
			}
			name := names.file(id)
			for _, design := range []struct {
				name string
				f    func([]float64, []float64, float64, int) (Filter, error)
			}{{"minimum-phase", minimumPhase}, {"linear-phase", linearPhase}} {
				var filters [2]Filter
				for e, c := range pair.ears {
					hz, db := correctionCurve(c)
					f, err := design.f(hz, db, rateHz, defaultTaps(rateHz))
					if err != nil {
						return files, fmt.Errorf("correction of %s, %s ear: %w", pair.id, capture.Ear(e), err)
					}
					filters[e] = f
				}
				path := filepath.Join(dir, fmt.Sprintf("%s-%s-%.0fhz.wav", name, design.name, rateHz))
				if err := writeFilters(path, filters[:]...); err != nil {
					return files, err
				}
				files = append(files, path)
			}
		}
	}
	return files, nil
}

// correctionPair is the correction of both ears at one point of one seating.
type correctionPair struct {
	id    string
	point capture.Point
	ears  [2]*fitcorr.Correction // nil: not corrected
}

// pairCorrections puts the ears together and leaves out seatings of which
// nothing is corrected.
func pairCorrections(cs []fitcorr.Correction) []correctionPair {
	var out []correctionPair
next:
	for i, c := range cs {
		applied := false
		for _, a := range c.Applied {
			applied = applied || a
		}
		if !applied {
			continue
		}
		for j := range out {
			if out[j].id == c.ID && out[j].point == c.Point {
				out[j].ears[c.Ear] = &cs[i]
				continue next
			}
		}
		p := correctionPair{id: c.ID, point: c.Point}
		p.ears[c.Ear] = &cs[i]
		out = append(out, p)
	}
	return out
}

func correctionCurve(c *fitcorr.Correction) (hz, db []float64) {
	for b, edges := range band.All() {
		level := 0.0
		if c != nil && b < len(c.DeltaDB) && b < len(c.Applied) && c.Applied[b] {
			level = c.DeltaDB[b]
		}
		hz, db = append(hz, edges.Mid), append(db, level)
	}
	return hz, db
}

// Pair is the impulse responses of a recording, left and right; nil slices
// when there are none.
type Pair struct {
	RateHz float64
	Ears   [2][]float64
	// Start is when each response's first sample comes, in samples after a time
	// zero that the ears share: that of all recordings when they have a
	// loopback (Common), else of this one alone.
	Start  [2]float64
	Common bool
}

// together returns both ears from one time on: the ear that begins later begins with zeros.
func (p Pair) together() (out [2][]float64) {
	first := min(p.Start[0], p.Start[1])
	for e, x := range p.Ears {
		out[e] = append(make([]float64, int(math.Round(p.Start[e]-first))), x...)
	}
	return out
}

// Source finds the impulse responses of a recording.
type Source func(rec report.Recording) (Pair, error)

// Impulses writes, into dir, the impulse responses of every usable recording
// of r, left and right in one WAV file each (WriteImpulses), the later ear behind
// zeros, so that the interaural time is kept to a sample. It returns the files written. The folder must exist.
func Impulses(dir string, r report.Results, source Source) ([]string, error) {
	var files []string
	names := make(namer)
	for _, rec := range r.Recordings {
		if !rec.Usable {
			continue
		}
		pair, err := source(rec)
		if err != nil {
			return files, fmt.Errorf("%s: %w", rec.File, err)
		}
		if len(pair.Ears[0]) == 0 || len(pair.Ears[1]) == 0 {
			continue
		}
		path := filepath.Join(dir, names.file(rec.File)+".wav")
		ears := pair.together()
		if err := writeImpulses(path, pair.RateHz, ears[:]...); err != nil {
			return files, err
		}
		files = append(files, path)
	}
	return files, nil
}

// Headphones writes, into dir, the impulse responses of r as AES69
// files: one per model, subject and point, of the usable seatings
// that were placed normally; and one per subject of bare ears whose loudspeaker's place
// says a direction. common carries what the results do not know
// (organisation, contact, licence, version, date). It returns the files
// written. The folder must exist.
func Headphones(dir string, r report.Results, source Source, common HeadphoneSet) ([]string, error) {
	type key struct {
		model, unit, subject string
		point                capture.Point
	}
	var order []key
	sets := make(map[key]*HeadphoneSet)
	for _, rec := range r.Recordings {
		azimuth, placed := direction(rec.Loudspeaker)
		if bare := rec.Model == ""; !rec.Usable || rec.Displaced() || bare && !placed {
			continue
		}
		pair, err := source(rec)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", rec.File, err)
		}
		if len(pair.Ears[0]) == 0 || len(pair.Ears[1]) == 0 {
			continue
		}
		k := key{rec.Model, rec.Unit, rec.Subject, rec.Point}
		if sets[k] == nil {
			sets[k] = setOf(rec, r, pair.RateHz, common)
			order = append(order, k)
		}
		h := sets[k]
		if pair.RateHz != h.RateHz {
			return nil, fmt.Errorf("%s: %g Hz, the seatings before it %g Hz: one file holds one rate", rec.File, pair.RateHz, h.RateHz)
		}
		h.IR = append(h.IR, pair.Ears)
		if first := min(pair.Start[0], pair.Start[1]); !pair.Common {
			pair.Start[0], pair.Start[1] = pair.Start[0]-first, pair.Start[1]-first
		}
		h.Delay = append(h.Delay, pair.Start)
		if h.Comment != "" {
			h.Comment += "\n"
		}
		what := fmt.Sprintf("seating %d", rec.Number)
		if rec.Model == "" {
			h.Azimuth = append(h.Azimuth, azimuth)
			what = fmt.Sprintf("loudspeaker at %g degrees", azimuth) // in ASCII, which libmysofa needs beside long texts
		}
		h.Comment += fmt.Sprintf("measurement %d: %s, %s", len(h.IR), what, rec.File)
	}
	var files []string
	names := make(namer)
	for _, k := range order {
		h := sets[k]
		h.padToLongest()
		h.fromFirst()
		if h.Azimuth != nil {
			h.Comment += fmt.Sprintf("\nwith the loudspeaker and what of the room the window holds; its distance is not known, %d m stands for it", distanceM)
		}
		name := names.file(strings.Join([]string{cmp.Or(k.model, "bare ears"), k.unit, k.subject, string(k.point)}, " "))
		path := filepath.Join(dir, name+".sofa")
		var b bytes.Buffer
		if err := writeAES69(&b, *h); err != nil {
			return files, fmt.Errorf("%s: %w", path, err)
		}
		if err := disk.WriteFile(path, b.Bytes()); err != nil {
			return files, err
		}
		files = append(files, path)
	}
	return files, nil
}

// setOf begins the set that a recording is the first of.
func setOf(rec report.Recording, r report.Results, rateHz float64, common HeadphoneSet) *HeadphoneSet {
	set := common
	set.DatabaseName, set.RateHz = r.Title, rateHz
	set.Title = strings.TrimSpace(fmt.Sprintf("%s %s on %s, %s", rec.Model, rec.Unit, rec.Subject, rec.Point))
	set.Listener, set.Model = rec.Subject, strings.TrimSpace(rec.Model+" "+rec.Unit)
	if rec.Model == "" {
		set.Title, set.Model = fmt.Sprintf("bare ears of %s, %s", rec.Subject, rec.Point), "loudspeaker"
	}
	set.ListenerDescription = "listener"
	if rec.OnFixture() {
		set.ListenerDescription = strings.TrimSpace(r.Fixture + " " + r.Coupler)
	}
	set.ReceiverDescription = map[capture.Point]string{
		capture.Blocked: "microphone at the blocked ear-canal entrance",
		capture.Drum:    "ear simulator, drum reference point",
	}[rec.Point] + ", " + string(r.LevelUnit)
	set.Comment, set.IR, set.Delay, set.Azimuth = "", nil, nil, nil
	return &set
}

var directionWords = regexp.MustCompile(`^(front|left|right|back) *(\d+(?:\.\d+)?)? *(?:°|deg|degrees)?$`)

// direction reads where a loudspeaker stood, as a sheet's column says it: "front", "back",
// "left 60°", "right 30". The azimuth is in degrees toward the left, 0 to 360; false where the text says
// no direction. Left and right alone are at 90°.
func direction(place string) (azimuth float64, ok bool) {
	m := directionWords.FindStringSubmatch(strings.ToLower(strings.TrimSpace(place)))
	if m == nil {
		return 0, false
	}
	degrees := 90.0
	if m[2] != "" {
		degrees, _ = strconv.ParseFloat(m[2], 64) // digits, by the pattern
	}
	switch {
	case degrees > 180, m[2] != "" && (m[1] == "front" || m[1] == "back"):
		return 0, false
	case m[1] == "front":
		return 0, true
	case m[1] == "back":
		return 180, true
	case m[1] == "right" && degrees > 0:
		return 360 - degrees, true
	}
	return degrees, true
}

// padToLongest fills the responses up with zeros to one length.
func (h *HeadphoneSet) padToLongest() {
	longest := 0
	for _, pair := range h.IR {
		longest = max(longest, len(pair[0]), len(pair[1]))
	}
	for m, pair := range h.IR {
		for e, ir := range pair {
			if len(ir) < longest {
				h.IR[m][e] = append(ir[:len(ir):len(ir)], make([]float64, longest-len(ir))...)
			}
		}
	}
}

// fromFirst moves time zero to the earliest first sample, so that no delay is
// negative, and says in the comment by how much.
func (h *HeadphoneSet) fromFirst() {
	first := math.Inf(1)
	for _, d := range h.Delay {
		first = min(first, d[0], d[1])
	}
	for m := range h.Delay {
		h.Delay[m][0] -= first
		h.Delay[m][1] -= first
	}
	if first != 0 {
		h.Comment += fmt.Sprintf("\ntime zero of Data.Delay: %g samples after the loopback", first)
	}
}

// namer gives file names and never the same one twice.
type namer map[string]bool

// file makes a file name of an id: letters, digits and dots stay, the rest
// becomes dashes.
func (n namer) file(id string) string {
	id = strings.ReplaceAll(filepath.ToSlash(id), ".wav", "")
	dashed := strings.FieldsFunc(id, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '.')
	})
	base := strings.TrimLeft(strings.Join(dashed, "-"), ".")
	if base == "" {
		base = "unnamed"
	}
	name := base
	for i := 2; n[strings.ToLower(name)]; i++ {
		name = fmt.Sprintf("%s-%d", base, i)
	}
	n[strings.ToLower(name)] = true // some file systems know no case
	return name
}
