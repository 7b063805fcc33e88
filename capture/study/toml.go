package study

import (
	"bytes"
	"errors"
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// studyKeys mirrors study.toml. Pointers tell a key that is not there from a
// zero; comments are those of a file that is written.
type studyKeys struct {
	Title       *string          `toml:"title,omitempty"`
	Sweep       *sweepKeys       `toml:"sweep,omitempty" comment:"What was played."`
	Channels    *channelKeys     `toml:"channels,omitempty" comment:"Channels of the recordings, counted from 1."`
	Drive       *driveKeys       `toml:"drive,omitempty"`
	Microphone  *microphoneKeys  `toml:"microphone,omitempty"`
	Calibration *calibrationKeys `toml:"calibration,omitempty"`
	Fixture     *fixtureKeys     `toml:"fixture,omitempty"`
	Window      *windowKeys      `toml:"window,omitempty" comment:"How much of the impulse response counts, about its onset."`
	Limits      *limitKeys       `toml:"limits,omitempty" comment:"When a fixture seating counts as sitting like the worn ones."`
	Reading     *readingKeys     `toml:"reading,omitempty" comment:"How well positions are read off a head, where the sheet holds any: standard uncertainties per axis."`
}

type sweepKeys struct {
	Kind        *string  `toml:"kind,omitempty" comment:"exponential sine sweep with synchronised phase"`
	File        *string  `toml:"file,omitempty" comment:"the excitation, one repeat of it"`
	StartHz     *float64 `toml:"start_hz,omitempty"`
	StopHz      *float64 `toml:"stop_hz,omitempty"`
	Seconds     *float64 `toml:"seconds,omitempty" comment:"length of one sweep"`
	Repeats     *int     `toml:"repeats,omitempty"`
	GapSeconds  *float64 `toml:"gap_seconds,omitempty" comment:"silence after each sweep"`
	LeadSeconds *float64 `toml:"lead_seconds,omitempty" comment:"silence before the first sweep: the noise is estimated there"`
	RateHz      *float64 `toml:"rate_hz,omitempty"`
	Amplitude   *float64 `toml:"amplitude,omitempty" comment:"peak of the sweep, full scale = 1"`
	FadeIn      *float64 `toml:"fade_in_seconds,omitempty"`
	FadeOut     *float64 `toml:"fade_out_seconds,omitempty"`
}

type channelKeys struct {
	Left     *int `toml:"left,omitempty"`
	Right    *int `toml:"right,omitempty"`
	Loopback *int `toml:"loopback,omitempty" comment:"electrical reference recorded beside the microphones"`
}

type driveKeys struct {
	VoltsRMS *float64 `toml:"volts_rms,omitempty" comment:"voltage of the sweep at the headphone, for levels in dB re 1 Pa/V"`
}

type microphoneKeys struct {
	Left  *earKeys `toml:"left,omitempty"`
	Right *earKeys `toml:"right,omitempty"`
}

type earKeys struct {
	Correction      *string  `toml:"correction,omitempty" comment:"frequency_hz,level_db[,phase_deg]"`
	Calibrator      *string  `toml:"calibrator,omitempty" comment:"recording of the calibrator on this microphone"`
	CalibratorAfter *string  `toml:"calibrator_after,omitempty" comment:"the same, recorded again at the end of the study"`
	CalibratorDBSPL *float64 `toml:"calibrator_db_spl,omitempty"`
}

type calibrationKeys struct {
	UncertaintyDB *float64 `toml:"uncertainty_db,omitempty" comment:"standard uncertainty of the level calibration, from the certificates of calibrator and microphones"`
}

type fixtureKeys struct {
	Name      *string  `toml:"name,omitempty"`
	Coupler   *string  `toml:"coupler,omitempty"`
	Reference *string  `toml:"reference,omitempty" comment:"response at the drum reference point; it belongs to this fixture alone"`
	Slope     *float64 `toml:"slope_db_per_octave,omitempty" comment:"extra tilt of the reference about 1 kHz; yours to choose"`
}

type windowKeys struct {
	Pre     *float64 `toml:"pre_seconds,omitempty"`
	Post    *float64 `toml:"post_seconds,omitempty"`
	FadeIn  *float64 `toml:"fade_in_seconds,omitempty"`
	FadeOut *float64 `toml:"fade_out_seconds,omitempty"`
}

type limitKeys struct {
	MaxOffsetMM *float64 `toml:"max_offset_mm,omitempty" comment:"an offset below this is as good as none"`
	Confidence  *float64 `toml:"confidence,omitempty"`
}

type readingKeys struct {
	UncertaintyMM     *float64 `toml:"uncertainty_mm,omitempty" comment:"of one reading"`
	LandmarkMM        *float64 `toml:"landmark_mm,omitempty" comment:"of finding the canal's entrance on a listener, the same in all readings on that head"`
	FixtureLandmarkMM *float64 `toml:"fixture_landmark_mm,omitempty" comment:"the same on the fixture"`
}

// document is one study.toml: what it says and where.
type document struct {
	file     string
	keys     studyKeys
	lines    map[string]int // line of each dotted key and table
	problems Errors
	// strayTable says that a key outside every known table is unknown: it may
	// be a table's name, misspelt.
	strayTable bool
}

func (d *document) report(line int, mend, format string, args ...any) {
	d.problems = append(d.problems, Problem{File: d.file, Line: line, Message: fmt.Sprintf(format, args...), Mend: mend})
}

// maxBadValues bounds how often a document is decoded again behind a value
// that is not of its key's type.
const maxBadValues = 50

// decode reads the document. go-toml stops at the first value of a wrong type;
// so that all are listed at once, the line is blanked and decoding starts over.
func (d *document) decode(text []byte) {
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if !utf8.Valid(text) {
		d.report(invalidLine(text), "save it as UTF-8", "the text is not UTF-8")
		return
	}
	var any map[string]any
	if err := toml.Unmarshal(text, &any); err != nil {
		d.report(position(err), "see docs/study-format.md for an example", "not TOML: %s", plain(err))
		return
	}
	d.lines = keyLines(text)
	text = bytes.Clone(text)
	for range maxBadValues {
		d.keys = studyKeys{}
		err := toml.NewDecoder(bytes.NewReader(text)).DisallowUnknownFields().Decode(&d.keys)
		var unknown *toml.StrictMissingError
		if errors.As(err, &unknown) {
			for _, e := range unknown.Errors {
				d.unknown(e.Key(), position(&e))
			}
			return
		}
		var bad *toml.DecodeError
		if !errors.As(err, &bad) {
			return
		}
		d.wrongType(bad)
		blank(text, position(bad))
	}
}

// wrongType reports a value that is not of its key's type.
func (d *document) wrongType(e *toml.DecodeError) {
	key := []string(e.Key())
	for typeOf(key) == nil {
		key = key[:len(key)-1]
	}
	line, _ := e.Position()
	name, t := strings.Join(key, "."), typeOf(key)
	for child, at := range d.lines {
		if isTable(t) && at == line && strings.HasPrefix(child, name+".") { // an inline table
			d.report(line, "see docs/study-format.md for the type of each key", "%s holds a value of the wrong type", name)
			return
		}
	}
	d.report(line, "see docs/study-format.md for an example", "%s must be %s", name, typeName(t))
}

// unknown reports a key that does not exist, with the one that was meant.
func (d *document) unknown(key []string, line int) {
	if len(key) == 0 {
		return
	}
	table, name := key[:len(key)-1], key[len(key)-1]
	d.strayTable = d.strayTable || typeOf(key[:1]) == nil
	where := "unknown key " + printable(name)
	if len(table) > 0 {
		where += " in [" + printable(strings.Join(table, ".")) + "]"
	}
	siblings := children(typeOf(table))
	mend := ""
	if near, ok := nearest(name, siblings); ok {
		mend = "did you mean " + near + "?"
	} else if home, ok := homeOf(name); ok {
		mend = "it belongs in [" + home + "]"
	} else if len(siblings) > 0 {
		mend = "known here: " + strings.Join(siblings, ", ")
	} else {
		mend = "known tables: " + strings.Join(children(typeOf(nil))[1:], ", ")
	}
	d.report(line, mend, "%s", where)
}

// keyLines finds the line of every key and table of a valid document.
func keyLines(text []byte) map[string]int {
	lines := map[string]int{}
	var p unstable.Parser
	p.Reset(text)
	var note func(table []string, n *unstable.Node) []string
	note = func(table []string, n *unstable.Node) []string {
		path := append([]string(nil), table...)
		line := 0
		for it := n.Key(); it.Next(); {
			k := it.Node()
			path = append(path, string(k.Data))
			line = p.Shape(k.Raw).Start.Line
		}
		if name := strings.Join(path, "."); lines[name] == 0 {
			lines[name] = line
		}
		if n.Kind == unstable.KeyValue && n.Value().Kind == unstable.InlineTable {
			for it := n.Value().Children(); it.Next(); {
				note(path, it.Node())
			}
		}
		return path
	}
	var table []string
	for p.NextExpression() {
		switch n := p.Expression(); n.Kind {
		case unstable.Table, unstable.ArrayTable:
			table = note(nil, n)
		case unstable.KeyValue:
			note(table, n)
		}
	}
	return lines
}

// position returns the line of an error of go-toml, or 0.
func position(err error) int {
	var e *toml.DecodeError
	if errors.As(err, &e) {
		line, _ := e.Position()
		return line
	}
	return 0
}

func plain(err error) string {
	s, _, _ := strings.Cut(strings.TrimPrefix(err.Error(), "toml: "), "\n")
	return s
}

// blank overwrites a line with spaces, so that all others keep their numbers.
func blank(text []byte, line int) {
	for i := range text {
		switch {
		case text[i] == '\n':
			line--
		case line == 1:
			text[i] = ' '
		}
	}
}

func invalidLine(text []byte) int {
	line := 1
	for len(text) > 0 {
		r, n := utf8.DecodeRune(text)
		if r == utf8.RuneError && n == 1 {
			break
		}
		if r == '\n' {
			line++
		}
		text = text[n:]
	}
	return line
}

// typeOf returns the type of a key or table of study.toml, nil when there is
// none.
func typeOf(path []string) reflect.Type {
	t := reflect.TypeFor[studyKeys]()
	for _, name := range path {
		if !isTable(t) {
			return nil
		}
		var next reflect.Type
		for i := range t.NumField() {
			if tagName(t.Field(i)) == name {
				next = t.Field(i).Type.Elem()
			}
		}
		if next == nil {
			return nil
		}
		t = next
	}
	return t
}

// printable quotes a name that would disturb a line.
func printable(name string) string {
	if name == "" || strings.ContainsFunc(name, func(r rune) bool { return !strconv.IsPrint(r) }) {
		return strconv.Quote(name)
	}
	return name
}

func isTable(t reflect.Type) bool { return t.Kind() == reflect.Struct }

func tagName(f reflect.StructField) string {
	name, _, _ := strings.Cut(f.Tag.Get("toml"), ",")
	return name
}

// children lists the keys of a table.
func children(t reflect.Type) []string {
	if t == nil || !isTable(t) {
		return nil
	}
	names := make([]string, t.NumField())
	for i := range names {
		names[i] = tagName(t.Field(i))
	}
	return names
}

// homeOf returns the first table that has a key of this name.
func homeOf(name string) (string, bool) {
	var find func(t reflect.Type, path string) (string, bool)
	find = func(t reflect.Type, path string) (string, bool) {
		for i := range t.NumField() {
			f := t.Field(i)
			if path != "" && tagName(f) == name {
				return path, true
			}
			if isTable(f.Type.Elem()) {
				if home, ok := find(f.Type.Elem(), strings.TrimPrefix(path+"."+tagName(f), ".")); ok {
					return home, true
				}
			}
		}
		return "", false
	}
	return find(reflect.TypeFor[studyKeys](), "")
}

func typeName(t reflect.Type) string {
	switch t.Kind() {
	case reflect.String:
		return "text in quotes"
	case reflect.Int:
		return "a whole number"
	case reflect.Float64:
		return "a number, without quotes"
	default:
		return "a table"
	}
}
