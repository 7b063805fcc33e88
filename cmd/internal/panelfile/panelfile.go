// Package panelfile reads and writes the file by which a run tells later studies what
// it knows of its panel (docs/earlier-studies.md).
package panelfile

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"asworn/capture"
	"asworn/capture/band"
	"asworn/capture/disk"
	"asworn/capture/study"
	"asworn/capture/textfile"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/resultdir"
	"asworn/fitcorr"
	"asworn/fitcorr/earlier"
	"asworn/fitcorr/reading"
	"asworn/fitcorr/seat"
	"asworn/report"
)

// format names the format and its version.
const format = "asworn-panel-2"

// maxBytes bounds a panel file, in bytes: a hundred times that of eight listeners.
const maxBytes = 64 << 20

// document is a panel file. SHA256 is of the panel as compact JSON, the keys in
// the order of the format, so that it does not depend on blanks.
type document struct {
	Format string        `json:"format"`
	SHA256 string        `json:"sha256"`
	Panel  earlier.Panel `json:"panel"`
}

func sumOf(p earlier.Panel) (string, error) {
	raw, err := json.Marshal(p)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:]), nil
}

// encode is the content of a panel file.
func encode(p earlier.Panel) ([]byte, error) {
	sum, err := sumOf(p)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = json.NewEncoder(&b).Encode(document{format, sum, p})
	return b.Bytes(), err
}

const runAgain = "run that study again, and take the file as it was written"

// read reads a panel file and holds it against its checksum.
func read(file string) (document, error) {
	var doc document
	raw, err := disk.ReadFile(file, maxBytes)
	if err != nil {
		p := textfile.Missing(file, err)
		if errors.Is(err, fs.ErrNotExist) {
			p.Mend = "run that study, which writes it, or correct the path in [panel] earlier"
		}
		return doc, p
	}
	wrong := func(mend, format string, args ...any) error {
		return textfile.Problem{File: file, Message: fmt.Sprintf(format, args...), Mend: mend}
	}
	var head struct {
		Format string `json:"format"`
	}
	if err := json.Unmarshal(raw, &head); err != nil {
		return doc, wrong(runAgain, "not a panel file: %v", err)
	}
	if head.Format != format {
		return doc, wrong("name the results/"+resultdir.PanelFile+" of a study, or run that study again with this version", "its format is %q, not %q", head.Format, format)
	}
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&doc); err != nil {
		return doc, wrong(runAgain, "not as it was written: %v", err)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return doc, wrong(runAgain, "something follows the panel")
	}
	sum, err := sumOf(doc.Panel)
	if err != nil {
		return doc, err
	}
	if sum != doc.SHA256 {
		return doc, wrong(runAgain, "it was changed after it was written: its checksum does not fit")
	}
	return doc, nil
}

// Earlier are the panel files that a study names, each fit for it, and their checksums.
type Earlier struct {
	Panels []earlier.Panel
	Sums   []string
	files  []string
}

// Apart is an error when an earlier study is made of recordings that this one has too:
// what it knows would count twice, and intervals be too narrow.
func (e Earlier) Apart(own []earlier.Recording) error {
	var problems textfile.Errors
	for i, p := range e.Panels {
		if both := p.SharedRecordings(own); len(both) > 0 {
			problems = append(problems, textfile.Problem{File: e.files[i], Message: earlier.Named(both) + " of this study is in it too, and would count twice",
				Mend: "take the file out of [panel] earlier, or out of this study what the earlier one holds"})
		}
	}
	return problems.Sorted()
}

// Load reads the panel files that study.toml names. The error holds
// everything that is wrong with all of them. Of a study with several fixtures one takes those of its own.
func Load(st *study.Study, address string) (Earlier, error) {
	var out Earlier
	if len(st.Earlier) == 0 {
		return out, nil
	}
	fixture, err := fixtureOf(st)
	if err != nil {
		return out, err
	}
	var listeners []string
	for _, rows := range [][]capture.Seating{st.Seatings, st.NotRecorded} {
		for _, r := range rows {
			if !r.OnFixture() && !slices.Contains(listeners, r.Subject) {
				listeners = append(listeners, r.Subject)
			}
		}
	}
	slices.Sort(listeners)
	own, _ := os.Stat(filepath.Join(resultdir.Root(address), resultdir.PanelFile))
	var problems textfile.Errors
	for _, name := range st.Earlier {
		file := filepath.FromSlash(name)
		if !filepath.IsAbs(file) {
			file = filepath.Join(st.Dir, file)
		}
		wrong := func(mend, format string, args ...any) {
			problems = append(problems, textfile.Problem{File: file, Message: fmt.Sprintf(format, args...), Mend: mend})
		}
		if info, err := os.Stat(file); err == nil && own != nil && os.SameFile(info, own) {
			wrong("take it out of [panel] earlier", "it is this study's own: a study does not come before itself")
			continue
		}
		doc, err := read(file)
		if err != nil {
			var p textfile.Problem
			if !errors.As(err, &p) {
				return out, err
			}
			problems = append(problems, p)
			continue
		}
		if doc.Panel.Fixture.Name != fixture.Name && slices.ContainsFunc(st.Fixtures, func(f study.Fixture) bool { return f.Name == doc.Panel.Fixture.Name }) {
			continue // of another fixture of this study
		}
		if err := doc.Panel.Check(fixture, listeners); err != nil {
			wrong("", "%v", err)
			continue
		}
		for i, p := range out.Panels {
			if doc.SHA256 == out.Sums[i] {
				wrong("name each study once", "it is the same as that of study %q, which is named too", p.Study)
			} else if both := p.Shared(&doc.Panel); both != "" {
				wrong("name studies that share no recordings, the merged one or its parts", "%s is in study %q too, which is named as well, and would count twice", both, p.Study)
			}
		}
		out.Panels, out.Sums = append(out.Panels, doc.Panel), append(out.Sums, doc.SHA256)
		out.files = append(out.files, file)
	}
	return out, problems.Sorted()
}

// fixtureOf is the fixture of a study as a panel file names it.
func fixtureOf(st *study.Study) (earlier.Fixture, error) {
	out := earlier.Fixture{Name: st.Fixture.Name, Coupler: st.Fixture.Coupler}
	c, err := st.Reference() // without the slope, which is a choice and no property of the fixture
	if err != nil || len(c.Hz) == 0 {
		return out, err
	}
	for _, b := range band.All() {
		out.ReferenceDB = append(out.ReferenceDB, c.LevelDB(b.Mid))
	}
	return out, nil
}

// Stated joins what the lab states of its readings with what earlier studies' readings showed.
func (e Earlier) Stated(u study.ReadingUncertainty) study.ReadingUncertainty {
	if len(e.Panels) == 0 {
		return u
	}
	return earlier.Stated(seat.ReadingOr(u), e.Panels)
}

// Of is the content of the file that says what a study knows of its panel by itself;
// readings are what its readings.csv came to, contents those of the files of each of r.Recordings.
func Of(st *study.Study, r report.Results, readings reading.Result, contents [][]cache.Key) ([]byte, error) {
	fixture, err := fixtureOf(st)
	if err != nil {
		return nil, err
	}
	var ss []fitcorr.Seating
	var recordings []earlier.Recording
	for i, rec := range r.Recordings {
		if rec.Usable {
			recordings = append(recordings, Recordings(rec.Seating, contents[i])...)
			ss = append(ss, fitcorr.Seating{ID: rec.File, Model: rec.Model, Subject: rec.Subject, Point: rec.Point, Number: rec.Number, Ears: rec.Ears})
		}
	}
	var models []earlier.Model
	for _, m := range r.Analysis.Models {
		models = append(models, earlier.Model{Model: m.Model, Sensitivity: m.Sensitivity})
	}
	p := earlier.Of(st.Title, fixture, ss, st.Readings, readings, models)
	p.Recordings = recordings
	return encode(p)
}

// Recordings are the files of a row with what they hold.
func Recordings(row study.Seating, contents []cache.Key) (out []earlier.Recording) {
	for i, f := range row.Files() {
		out = append(out, earlier.Recording{File: f, SHA256: contents[i].String()})
	}
	return out
}

// told is what an error says was found, without what to do.
func told(err error) error {
	var p textfile.Problem
	if errors.As(err, &p) {
		p.Mend = ""
		return p
	}
	return err
}

// Joint is what several studies that are looked at together have in common.
type Joint struct {
	// Before are what the studies before them know, once each and without those that are
	// among the named themselves.
	Before []earlier.Panel
	// People says, per named study and then per one of Before, whose panel it is: where the numbers
	// are equal, one study names the other as before it, and listeners of one name are one person.
	People []int
	Shared []string // which of all these are made of the same recordings, in words
}

// Together looks up what the named studies have in common. An address whose study.toml
// is not there has no studies before it.
func Together(addresses []string) (out Joint, err error) {
	var sums []string
	var all []earlier.Panel // the named ones, then those before them
	for i, address := range addresses {
		doc, err := read(filepath.Join(resultdir.Root(address), resultdir.PanelFile))
		if err != nil && len(addresses) > 1 {
			out.Shared = append(out.Shared, fmt.Sprintf("Whether %s shares recordings with the others is not known (%v); run it again.", address, told(err)))
		}
		doc.Panel.Study = address
		sums, all, out.People = append(sums, doc.SHA256), append(all, doc.Panel), append(out.People, i)
	}
	for a, address := range addresses {
		if _, err := os.Stat(filepath.Join(resultdir.StudyFolder(address), study.SettingsFile)); errors.Is(err, fs.ErrNotExist) {
			continue
		}
		st, err := study.LoadPartial(address)
		if err != nil {
			return Joint{}, err
		}
		e, err := Load(st, address)
		if err != nil {
			return Joint{}, err
		}
		for i, p := range e.Panels {
			at := slices.Index(sums, e.Sums[i])
			if at < 0 {
				at = len(all)
				sums, all, out.People = append(sums, e.Sums[i]), append(all, p), append(out.People, at)
			}
			from, to := out.People[at], out.People[a]
			for k, who := range out.People {
				if who == from {
					out.People[k] = to
				}
			}
		}
	}
	for i, p := range all {
		for _, q := range all[:i] {
			if both := q.Shared(&p); both != "" {
				text := fmt.Sprintf("%s and %s both hold %s, which counts twice: the probabilities of their order are rough.", q.Study, p.Study, both)
				if resultdir.StudyFolder(q.Study) != resultdir.StudyFolder(p.Study) { // else two fixtures of one
					text += " Name the merged study or its parts."
				}
				out.Shared = append(out.Shared, text)
			}
		}
	}
	out.Before = all[len(addresses):]
	return out, nil
}
