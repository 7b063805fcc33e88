package table

import (
	"cmp"
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
	align := make(tw.Alignment, len(t.Columns))
	head := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		head[i] = markdownText(c.Head)
		align[i] = tw.AlignLeft
		if c.Right() {
			align[i] = tw.AlignRight
		}
	}
	cell := tw.CellConfig{
		Formatting: tw.CellFormatting{AutoWrap: tw.WrapNone, AutoFormat: tw.Off},
		Alignment:  tw.CellAlignment{PerColumn: align},
	}
	out := tablewriter.NewTable(&b, tablewriter.WithRenderer(renderer.NewMarkdown()),
		tablewriter.WithConfig(tablewriter.Config{Header: cell, Row: cell}))
	out.Header(head)
	for _, row := range t.Rows {
		cells := make([]string, len(row))
		for i, c := range row {
			cells[i] = markdownText(c.Text)
		}
		if err := out.Append(cells); err != nil {
			return err
		}
	}
	if err := out.Render(); err != nil {
		return err
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
		return []string{csvText(cmp.Or(c.Code, c.Text))}
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

// writeBlock has tablewriter make one block: it wraps cells at their spaces to
// the widths of b, aligns them and draws the rule.
func (t Table) writeBlock(w io.Writer, b block, color bool) error {
	last := len(b.cols) - 1
	align := make(tw.Alignment, len(b.cols))
	padding := make([]tw.Padding, len(b.cols))
	widest := make(tw.Mapper[int, int])
	head := make([]string, len(b.cols))
	for i, c := range b.cols {
		head[i] = t.Columns[c].Head
		align[i] = tw.AlignLeft
		if t.Columns[c].Right() {
			align[i] = tw.AlignRight
		}
		padding[i] = tw.Padding{Right: strings.Repeat(" ", gap), Overwrite: true}
		if i == last {
			padding[i].Right = ""
		}
		widest[i] = b.widths[i] + len(padding[i].Right)
	}
	cell := tw.CellConfig{
		Formatting:   tw.CellFormatting{AutoWrap: tw.WrapNormal, AutoFormat: tw.Off},
		Alignment:    tw.CellAlignment{PerColumn: align},
		Padding:      tw.CellPadding{PerColumn: padding},
		ColMaxWidths: tw.CellWidth{PerColumn: widest},
	}
	out := tablewriter.NewTable(w,
		tablewriter.WithRenderer(renderer.NewBlueprint(tw.Rendition{
			Borders: tw.BorderNone,
			Symbols: tw.NewSymbols(tw.StyleLight),
			Settings: tw.Settings{
				Separators: tw.Separators{BetweenColumns: tw.Off, BetweenRows: tw.Off, ShowHeader: tw.On},
				Lines:      tw.Lines{ShowHeaderLine: tw.On},
			},
		})),
		tablewriter.WithConfig(tablewriter.Config{Header: cell, Row: cell}),
	)
	out.Header(head)
	for _, row := range t.Rows {
		cells := make([]string, len(b.cols))
		for i, c := range b.cols {
			cells[i] = wrappable(row[c].Text, b.widths[i])
			if color {
				cells[i] = paint(cells[i], row[c].Tone)
			}
		}
		if err := out.Append(cells); err != nil {
			return err
		}
	}
	if err := out.Render(); err != nil {
		return err
	}
	_, err := io.WriteString(w, "\n")
	return err
}

// paint colours a cell with the terminal's own sixteen colours (ECMA-48), word
// by word, so that wrapping does not colour what stands beside it.
func paint(s string, t Tone) string {
	code := [...]string{Plain: "", Good: "32", Act: "1;33", Unsure: "36", Bad: "1;31"}[t]
	if code == "" {
		return s
	}
	words := strings.Fields(s)
	for i, w := range words {
		words[i] = "\x1b[" + code + "m" + w + "\x1b[0m"
	}
	return strings.Join(words, " ")
}
