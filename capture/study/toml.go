package study

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"asworn/capture/textfile"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// document is one study.toml: what it says and where.
type document struct {
	file     string
	sections []section
	keys     map[string]any // as go-toml decodes it
	lines    map[string]int // line of each dotted key and table
	problems textfile.Errors
	// strayTable says that a key outside every known table is unknown: it may
	// be a table's name, misspelt.
	strayTable bool
}

func (d *document) report(line int, mend, format string, args ...any) {
	d.problems = append(d.problems, textfile.Problem{File: d.file, Line: line, Message: fmt.Sprintf(format, args...), Mend: mend})
}

// parse reads the text as TOML.
func (d *document) parse(text []byte) {
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if !utf8.Valid(text) {
		d.report(textfile.InvalidLine(text), "save it as UTF-8", "the text is not UTF-8")
		return
	}
	if err := toml.Unmarshal(text, &d.keys); err != nil {
		d.report(position(err), "see docs/study-format.md for an example", "not TOML: %s", plain(err))
		d.keys = nil
		return
	}
	d.lines = keyLines(text)
}

// has reports whether a dotted key or table is given.
func (d *document) has(key string) bool {
	at := d.keys
	names := strings.Split(key, ".")
	for i, name := range names {
		v, ok := at[name]
		if !ok || i == len(names)-1 {
			return ok
		}
		at, _ = v.(map[string]any)
	}
	return false
}

// assign puts the values of a table where the settings say, and reports what
// does not belong. Values with a problem leave the default.
func (d *document) assign(s *Study, table string, values map[string]any) {
	for _, name := range slices.Sorted(maps.Keys(values)) {
		key := strings.TrimPrefix(table+"."+name, ".")
		setting, known := d.setting(key)
		sub, isTable := values[name].(map[string]any)
		switch {
		case strings.Contains(name, ".") || !known && len(d.children(key)) == 0:
			d.unknown(table, name)
		case known:
			d.set(s, setting, values[name])
		case isTable:
			d.assign(s, key, sub)
		default:
			d.report(d.lines[key], "see docs/study-format.md for an example", "%s must be a table", key)
		}
	}
}

// set takes over one value.
func (d *document) set(s *Study, k setting, value any) {
	line := d.lines[k.key]
	wrong := func(what string) {
		d.report(line, "see docs/study-format.md for an example", "%s must be %s", k.key, what)
	}
	number := func(v float64) bool {
		if v >= k.min && v <= k.max {
			return true
		}
		d.report(line, "write a number, "+k.bounds(), "%s is %g: impossible", k.key, v)
		return false
	}
	switch to := k.at(s).(type) {
	case *string:
		v, ok := value.(string)
		if !ok {
			wrong("text in quotes")
			return
		}
		if k.file {
			if v, ok = below(v); !ok {
				d.report(line, "put the file into the study folder and name it from there", "%s is %q, which is not below the study folder", k.key, value)
			}
		}
		*to = v
	case *[]string:
		list, ok := value.([]any)
		if !ok {
			wrong("a list of texts, in square brackets")
			return
		}
		for _, entry := range list {
			v, ok := entry.(string)
			if v = strings.TrimSpace(strings.ReplaceAll(v, `\`, "/")); !ok || v == "" {
				wrong("a list of texts in quotes, none of them empty")
				return
			}
			*to = append(*to, v)
		}
	case *int:
		v, ok := value.(int64)
		if !ok {
			wrong("a whole number")
		} else if number(float64(v)) {
			*to = int(v)
		}
	case *float64:
		var v float64
		switch x := value.(type) {
		case float64:
			v = x
		case int64:
			v = float64(x)
		default:
			wrong("a number, without quotes")
			return
		}
		if !number(v) {
			return
		}
		if k.whole && v != math.Trunc(v) {
			d.report(line, "write a whole number", "%s is %g, not a whole number", k.key, v)
			return
		}
		*to = v
	}
}

// bounds gives the range of a number in words.
func (k setting) bounds() string {
	return strings.TrimSuffix(fmt.Sprintf("%s to %s %s", plainNumber(k.min), plainNumber(k.max), k.unit), " ")
}

func plainNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// unknown reports a key that does not exist, with the one that was meant.
func (d *document) unknown(table, name string) {
	line := d.lines[strings.TrimPrefix(table+"."+name, ".")]
	where := "unknown key " + printable(name)
	if table != "" {
		where += " in [" + printable(table) + "]"
	} else {
		d.strayTable = true
	}
	siblings := d.children(table)
	mend := "known tables: " + strings.Join(siblings[min(1, len(siblings)):], ", ")
	if near, ok := textfile.Nearest(name, siblings); ok {
		mend = "did you mean " + near + "?"
	} else if home, ok := d.homeOf(name); ok {
		mend = "it belongs in [" + home + "]"
	} else if table != "" {
		mend = "known here: " + strings.Join(siblings, ", ")
	}
	d.report(line, mend, "%s", where)
}

// setting finds a dotted key.
func (d *document) setting(key string) (setting, bool) {
	for _, section := range d.sections {
		for _, k := range section.settings {
			if k.key == key {
				return k, true
			}
		}
	}
	return setting{}, false
}

// children lists the keys and tables of a table, "" for those of the document;
// none for what is no table.
func (d *document) children(table string) (out []string) {
	for _, section := range d.sections {
		for _, k := range section.settings {
			rest, ok := strings.CutPrefix("."+k.key, strings.TrimSuffix("."+table, ".")+".")
			if name, _, _ := strings.Cut(rest, "."); ok && !slices.Contains(out, name) {
				out = append(out, name)
			}
		}
	}
	return out
}

// homeOf returns the first table that has a key of this name.
func (d *document) homeOf(name string) (string, bool) {
	for _, section := range d.sections[1:] {
		if slices.ContainsFunc(section.settings, func(k setting) bool { return k.key == section.name+"."+name }) {
			return section.name, true
		}
	}
	return "", false
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

// printable quotes a name that would disturb a line.
func printable(name string) string {
	if name == "" || strings.ContainsFunc(name, func(r rune) bool { return !strconv.IsPrint(r) }) {
		return strconv.Quote(name)
	}
	return name
}
