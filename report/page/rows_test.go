package page

import (
	"html/template"
	"strings"
	"testing"

	"asworn/report/table"
)

// slowRows are the rows of a table as html/template writes them, cell by cell.
const slowRows = `{{$t := .}}{{$cols := .Columns}}{{range .Rows}}<tr>{{range $i, $c := .}}{{$col := index $cols $i}}{{if eq $i 0}}<th scope="row"{{else}}<td{{end}}{{if $col.Right}} class="n"{{else}} class="{{if $c.Tone}}{{tone $c.Tone}} {{end}}{{if $t.Wide $i}}w{{end}}"{{end}}{{if $c.Here}} id="{{anchor $c.Link}}"{{end}}>{{if and $c.Link (not $c.Here)}}<a href="#{{to $c.Link}}">{{$c.Text}}</a>{{else}}{{$c.Text}}{{end}}{{if eq $i 0}}</th>{{else}}</td>{{end}}{{end}}</tr>
{{end}}`

// TestRows: a table's rows are those of html/template, to the byte, whatever a cell holds.
func TestRows(t *testing.T) {
	const nasty = "<script>alert('1')</script> & \"+−5 dB\" \x00 ‘ü’ </td><td onclick=x> a long text with spaces in it"
	tab := table.Table{Columns: []table.Column{{Head: "File"}, {Head: "Note"}, {Head: "Level", Kind: table.Number}, {Head: "Short"}}}
	tab.Add(table.Linked(nasty, nasty), table.Word(nasty), table.Value(-1.5, 1), table.Toned("no", table.Bad))
	tab.Add(table.Cell{Text: "here", Link: nasty, Here: true}, table.Toned(nasty, table.Act), table.None(), table.Word(""))
	tab.Add(table.Linked("a sheet", "key"), table.Word("x"), table.Cell{Text: "+3", Tone: table.Good, Link: "key"}, table.Word("'"))
	l := links{sheets: map[string]bool{"key": true}}
	slow := template.Must(template.New("").Funcs(template.FuncMap{"tone": table.Tone.String, "anchor": anchor, "to": l.to}).Parse(slowRows))
	var want strings.Builder
	if err := slow.Execute(&want, tab); err != nil {
		t.Fatal(err)
	}
	if got := string(l.rows(tab)); got != want.String() {
		t.Errorf("got\n%s\nwant\n%s", got, want.String())
	}
}
