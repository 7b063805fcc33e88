package page

import (
	"html/template"
	"strings"

	"asworn/report/table"
)

// escaped is text as html/template writes it in an element or a quoted attribute.
var escaped = strings.NewReplacer("\x00", "\uFFFD", `"`, "&#34;", "&", "&amp;", "'", "&#39;", "+", "&#43;", "<", "&lt;", ">", "&gt;")

// rows are the rows of a table, of which a page has thousands: by a template each cell takes several
// calls by reflection, and all of them a third of a page's time.
func (l links) rows(t table.Table) template.HTML {
	classes := make([]string, len(t.Columns)) // of cells without a tone; figures never have one
	figures := make([]bool, len(t.Columns))
	for i, c := range t.Columns {
		if figures[i] = c.Right(); figures[i] {
			classes[i] = "n"
		} else if t.Wide(i) {
			classes[i] = "w"
		}
	}
	var b strings.Builder
	for _, row := range t.Rows {
		b.WriteString("<tr>")
		for i, c := range row {
			start, end := "<td", "</td>"
			if i == 0 {
				start, end = `<th scope="row"`, "</th>"
			}
			b.WriteString(start + ` class="`)
			if c.Tone != table.Plain && !figures[i] {
				b.WriteString(c.Tone.String() + " ")
			}
			b.WriteString(classes[i] + `"`)
			if c.Here {
				b.WriteString(` id="` + anchor(c.Link) + `"`)
			}
			b.WriteString(">")
			text := escaped.Replace(c.Text)
			if c.Link != "" && !c.Here {
				text = `<a href="#` + l.to(c.Link) + `">` + text + "</a>"
			}
			b.WriteString(text + end)
		}
		b.WriteString("</tr>\n")
	}
	return template.HTML(b.String())
}
