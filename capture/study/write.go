package study

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

const studyHead = `# A study of seatings. Every key and its default: docs/study-format.md.
# Paths are relative to this folder. Recordings are only ever read.
`

// WriteSettings writes a study.toml that Load reads as the same study, with a word on
// each key that may need one. The rows are WriteSheet's. Errors are w's.
func WriteSettings(w io.Writer, s Study) error { return writeSettings(w, s, false) }

// WriteNewSettings writes the study.toml of a study that begins: as WriteSettings, and
// with what else an operator may want to state, commented out. Errors are w's.
func WriteNewSettings(w io.Writer, s Study) error { return writeSettings(w, s, true) }

func writeSettings(w io.Writer, s Study, begin bool) error {
	var b strings.Builder
	b.WriteString(studyHead)
	for _, section := range sectionsOf(s.Fixtures) {
		var lines []string
		open := true // nothing but what is commented out
		for _, k := range section.settings {
			text, err := k.line(&s)
			switch {
			case err != nil:
				return err
			case text != "":
				open = false
			case begin && k.example != "":
				text = "# " + k.name() + " = " + k.example
			default:
				continue
			}
			if k.meaning != "" {
				lines = append(lines, "# "+k.meaning)
			}
			lines = append(lines, text)
		}
		if len(lines) == 0 {
			continue
		}
		b.WriteByte('\n')
		if section.meaning != "" {
			fmt.Fprintf(&b, "# %s\n", section.meaning)
		}
		if section.name != "" {
			if open {
				b.WriteString("# ")
			}
			fmt.Fprintf(&b, "[%s]\n", section.name)
		}
		fmt.Fprintln(&b, strings.Join(lines, "\n"))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// name is the key without its table.
func (k setting) name() string { return k.key[strings.LastIndexByte(k.key, '.')+1:] }

// line is the key with its value in s, as TOML; empty when it is not written.
func (k setting) line(s *Study) (string, error) {
	value, zero := any(nil), false
	switch at := k.at(s).(type) {
	case *string:
		value, zero = *at, *at == ""
	case *[]string:
		value, zero = *at, len(*at) == 0
	case *float64:
		value, zero = *at, *at == 0
	case *int:
		value, zero = *at, *at == 0
	}
	if k.written == nil && zero || k.written != nil && !k.written(s) {
		return "", nil
	}
	text, err := toml.Marshal(map[string]any{k.name(): value})
	return strings.TrimSpace(string(text)), err
}

// WriteSheet writes the rows as a seatings.csv, in their order. The columns of read
// positions, and of what files hold, are there when some row needs them. No rows give the
// head alone. Errors are w's.
func WriteSheet(w io.Writer, rows []Seating) error {
	return writeSheet(w, rows, slices.ContainsFunc(rows, func(r Seating) bool { return r.Read != nil }))
}

// WritePlan writes rows that are still to be recorded: as WriteSheet, with every column
// that an operator may fill in. Errors are w's.
func WritePlan(w io.Writer, rows []Seating) error { return writeSheet(w, rows, true) }

func writeSheet(w io.Writer, rows []Seating, read bool) error {
	out := csv.NewWriter(w)
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	holds := slices.ContainsFunc(rows, func(r Seating) bool { return r.Holds != HoldsRecording })
	placed := slices.ContainsFunc(rows, func(r Seating) bool { return r.Loudspeaker != "" })
	write := func(left, position []string, held, loudspeaker string, right ...string) {
		if !read {
			position = nil
		}
		if placed {
			right = append([]string{loudspeaker}, right...)
		}
		if holds {
			right = append([]string{held}, right...)
		}
		out.Write(slices.Concat(left, position, right))
	}
	write([]string{"file", "model", "unit", "subject", "point", "seating", "forward_mm", "up_mm", "rotation_deg"},
		[]string{columnReadForward, columnReadUp}, "holds", columnLoudspeaker, "seal", "notes")
	for _, r := range rows {
		left := []string{r.File, r.Model, r.Unit, r.Subject, string(r.Point), strconv.Itoa(r.Number), "", "", ""}
		if d := r.Survey; d != nil {
			left[6], left[7], left[8] = number(d.ForwardMM), number(d.UpMM), number(d.RotationDeg)
		}
		position := []string{"", ""}
		if r.Read != nil {
			position = []string{number(r.Read.ForwardMM), number(r.Read.UpMM)}
		}
		write(left, position, cmp.Or(string(r.Holds), recordingWord), r.Loudspeaker, r.Seal, r.Notes)
	}
	out.Flush()
	return out.Error()
}
