package table

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
	"unicode"

	"github.com/olekukonko/tablewriter"
	"github.com/olekukonko/tablewriter/renderer"
	"github.com/olekukonko/tablewriter/tw"

	"asworn/report/text"
)

// Options shape tables for a terminal.
type Options struct {
	Width int  // columns to fit in; 0 means 100, less than 40 counts as 40
	Color bool // colour verdicts; the words say the same without it
}

// Columns is the width to fit in.
func (o Options) Columns() int {
	switch {
	case o.Width == 0:
		return 100
	case o.Width < 40:
		return 40
	}
	return o.Width
}

// WriteText writes the table for a terminal. Text columns wrap first; if that
// is not enough the table is cut into blocks of columns, each of which repeats
// the columns that name the row. Nothing is left out.
func (t Table) WriteText(w io.Writer, opt Options) error {
	width := opt.Columns()
	var b strings.Builder
	b.WriteString(strings.Join(Wrap(t.Title, width), "\n") + "\n")
	if t.Note != "" {
		b.WriteString(strings.Join(Wrap(t.Note, width), "\n") + "\n")
	}
	if t.Empty() {
		b.WriteString("nothing to list\n")
	} else {
		for _, block := range t.blocks(width) {
			if err := t.writeBlock(&b, block, opt.Color); err != nil {
				return err
			}
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// WriteAll writes tables for a terminal, one after the other.
func WriteAll(w io.Writer, tables []Table, opt Options) error {
	for _, t := range tables {
		if err := t.WriteText(w, opt); err != nil {
			return err
		}
	}
	return nil
}

// WriteMarkdown writes the table as a Markdown section with a pipe table.
func (t Table) WriteMarkdown(w io.Writer) error {
	var b strings.Builder
	b.WriteString("### " + markdownText(t.Title) + "\n\n")
	if t.Note != "" {
		b.WriteString(markdownText(t.Note) + "\n\n")
	}
	if t.Empty() {
		b.WriteString("nothing to list\n\n")
		_, err := io.WriteString(w, b.String())
		return err
	}
	rule := "|"
	b.WriteString("|")
	for _, c := range t.Columns {
		b.WriteString(" " + markdownText(text.OneLine(c.Head)) + " |")
		if c.Right() {
			rule += "---:|"
		} else {
			rule += "---|"
		}
	}
	b.WriteString("\n" + rule + "\n")
	for _, row := range t.Rows {
		b.WriteString("|")
		for _, c := range row {
			b.WriteString(" " + markdownText(c.Text) + " |")
		}
		b.WriteString("\n")
	}
	b.WriteString("\n")
	_, err := io.WriteString(w, b.String())
	return err
}

// markdownText escapes what Markdown or the HTML inside it would act on.
func markdownText(s string) string {
	var b strings.Builder
	for _, r := range text.OneLine(s) {
		switch {
		case r == '<':
			b.WriteString("&lt;")
		case r == '>':
			b.WriteString("&gt;")
		case r == '&':
			b.WriteString("&amp;")
		case strings.ContainsRune("\\`*_{}[]#|~", r):
			b.WriteByte('\\')
			b.WriteRune(r)
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// WriteCSV writes the table as RFC 4180 CSV with one head line: numbers at
// full precision with a decimal point and no unit, an interval as three
// columns (estimate, _lower, _upper), nothing where there is nothing. Text
// that a spreadsheet would read as a formula gets a leading apostrophe (OWASP,
// "CSV Injection").
func (t Table) WriteCSV(w io.Writer) error {
	cw := csv.NewWriter(w)
	var head []string
	for _, c := range t.Columns {
		head = append(head, c.Key)
		if c.Kind == Interval {
			head = append(head, c.Key+"_lower", c.Key+"_upper")
		}
	}
	if err := cw.Write(head); err != nil {
		return err
	}
	for _, row := range t.Rows {
		var rec []string
		for i, c := range row {
			rec = append(rec, csvCells(t.Columns[i].Kind, c)...)
		}
		if err := cw.Write(rec); err != nil {
			return err
		}
	}
	cw.Flush()
	return cw.Error()
}

func csvCells(k Kind, c Cell) []string {
	n := [...]int{Text: 1, Number: 1, Interval: 3}[k]
	if k == Text {
		return []string{csvText(c.Text)}
	}
	out := make([]string, n)
	for i := range min(n, len(c.Num)) {
		out[i] = strconv.FormatFloat(c.Num[i], 'g', 8, 64)
	}
	return out
}

// csvText disarms formulas: a cell that begins with =, +, -, @, tab, return or
// their full-width forms, after any white space, gets a leading apostrophe.
func csvText(s string) string {
	if s == "–" {
		return ""
	}
	if s != "" && strings.ContainsRune("\t\r\n", rune(s[0])) {
		return "'" + s
	}
	if rest := strings.TrimLeftFunc(s, unicode.IsSpace); rest != "" {
		if r := []rune(rest)[0]; strings.ContainsRune("=+-@＝＋－＠", r) {
			return "'" + s
		}
	}
	return s
}

func (t Table) writeBlock(w io.Writer, b block, color bool) error {
	head := make([]string, len(b.cols))
	align := make(tw.Alignment, len(b.cols))
	for i, c := range b.cols {
		head[i] = strings.Join(Wrap(t.Columns[c].Head, b.widths[i]), "\n")
		align[i] = tw.AlignLeft
		if t.Columns[c].Right() {
			align[i] = tw.AlignRight
		}
	}
	pad := tw.Padding{Left: "", Right: strings.Repeat(" ", gap), Overwrite: true}
	cell := tw.CellConfig{
		Formatting: tw.CellFormatting{AutoWrap: tw.WrapNone, AutoFormat: tw.Off},
		Alignment:  tw.CellAlignment{PerColumn: align},
		Padding:    tw.CellPadding{Global: pad},
	}
	var raw strings.Builder
	table := tablewriter.NewTable(&raw,
		tablewriter.WithRenderer(renderer.NewBlueprint(tw.Rendition{
			Borders: tw.BorderNone,
			Symbols: tw.NewSymbols(tw.StyleLight),
			Settings: tw.Settings{
				Separators: tw.Separators{BetweenColumns: tw.Off, BetweenRows: tw.Off, ShowHeader: tw.On},
				Lines:      tw.Lines{ShowHeaderLine: tw.On},
			},
		})),
		tablewriter.WithConfig(tablewriter.Config{Header: cell, Row: cell,
			Behavior: tw.Behavior{TrimSpace: tw.Off, TrimLine: tw.Off}}),
	)
	table.Header(head)
	for _, row := range t.Rows {
		cells := make([]string, len(b.cols))
		for i, c := range b.cols {
			lines := Wrap(row[c].Text, b.widths[i])
			if color {
				for k := range lines {
					lines[k] = paint(lines[k], row[c].Tone)
				}
			}
			cells[i] = strings.Join(lines, "\n")
		}
		if err := table.Append(cells); err != nil {
			return err
		}
	}
	if err := table.Render(); err != nil {
		return err
	}
	sum := gap * (len(b.widths) - 1)
	for _, n := range b.widths {
		sum += n
	}
	for line := range strings.Lines(raw.String()) {
		line = strings.TrimRight(line, " \n")
		if strings.Trim(line, "─") == "" && line != "" { // the rule: not wider than the cells
			line = strings.Repeat("─", sum)
		}
		if _, err := io.WriteString(w, line+"\n"); err != nil {
			return err
		}
	}
	_, err := io.WriteString(w, "\n")
	return err
}

// paint colours a cell with the terminal's own sixteen colours (ECMA-48).
func paint(s string, t Tone) string {
	code := [...]string{Plain: "", Good: "32", Act: "1;33", Unsure: "36", Bad: "1;31"}[t]
	if code == "" || s == "" {
		return s
	}
	return "\x1b[" + code + "m" + s + "\x1b[0m"
}
