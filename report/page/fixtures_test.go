package page

import (
	"bytes"
	"strings"
	"testing"

	"asworn/report/internal/sample"
)

// TestFixturesPage: every model, figure and table is there, what is missing is said
// with what to record, and nothing is fetched.
func TestFixturesPage(t *testing.T) {
	var b bytes.Buffer
	if err := WriteFixtures(&b, sample.Fixtures()); err != nil {
		t.Fatal(err)
	}
	html := b.String()
	for _, want := range []string{
		"Two fixtures: fixtures compared", `<a href="../old/report.html">`, `<a href="fixtures-thirds.csv">`, `<a href="fixtures-places.csv">`, `href="curves/model-a-new-old-drum-left-final.csv"`,
		"Model B on old: not set against people with position and seal taken out; it needs ordinary seatings at the blocked ear-canal entrance",
		"Model C on new: not set against people with", "new minus old, compensated", "apart though alike: suspect position first", "Models side by side, left ear",
	} {
		if !strings.Contains(html, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for _, not := range []string{"Model A on new: ", "http:", "https:", "tables/"} {
		if strings.Contains(strings.ReplaceAll(html, "http://www.w3.org/2000/svg", ""), not) {
			t.Errorf("the page says %q", not)
		}
	}
	measured := sample.Fixtures() // from sound alone nothing may sit as worn
	for i := range measured.Models {
		m := &measured.Models[i]
		for k := range m.Differences {
			m.Differences[k].FinalDB, m.Differences[k].HalfDB, m.Differences[k].CompensatedDB = nil, nil, nil
		}
		for k := range m.People {
			m.People[k].LeftDB, m.People[k].HalfDB = nil, nil
		}
	}
	b.Reset()
	if err := WriteFixtures(&b, measured); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"no seating to use: measured only", "Model A on new: no final curve to set against another fixture", "Per third octave, as measured: one of the fixtures has no seating"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("without final curves the page does not say %q", want)
		}
	}
	r := sample.Fixtures()
	r.Title, r.Names[0] = "<script>alert(1)</script>", `"><i>x`
	b.Reset()
	if err := WriteFixtures(&b, r); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(b.String(), "<script>alert") || strings.Contains(b.String(), `"><i>x`) {
		t.Error("hostile names are not escaped")
	}
}
