package study

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

const placedSheet = `file,model,subject,point,seating,loudspeaker
a.wav,,L01,blocked,1,front
b.wav,,L01,blocked,1,left 60°
c.wav,Model A,L01,blocked,1,
`

// Bare-ear references of one seating from several places of the loudspeaker are
// rows of their own, and come back as they were written.
func TestLoudspeakerPlaces(t *testing.T) {
	rows, problems := parseSheet("s", []byte(placedSheet))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	if rows[0].Loudspeaker != "front" || rows[1].Loudspeaker != "left 60°" || rows[2].Loudspeaker != "" {
		t.Errorf("places are %q, %q, %q", rows[0].Loudspeaker, rows[1].Loudspeaker, rows[2].Loudspeaker)
	}
	var b bytes.Buffer
	if err := WriteSheet(&b, rows); err != nil {
		t.Fatal(err)
	}
	back, problems := parseSheet("s", b.Bytes())
	if d := cmp.Diff(rows, back, cmpopts.IgnoreFields(Seating{}, "Row")); d != "" || len(problems) > 0 {
		t.Errorf("%v\n%s\n%s", problems, d, b.String())
	}
	b.Reset()
	if err := WriteSheet(&b, rows[2:]); err != nil || strings.Contains(b.String(), "loudspeaker") {
		t.Errorf("a sheet without places has their column (%v)\n%s", err, b.String())
	}
}

func TestLoudspeakerErrors(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"headphone", "Model A,L01,blocked,1,", "Model A,L01,blocked,1,front", `s:4: loudspeaker is "front" on a row that is no bare-ear reference; leave loudspeaker empty`},
		{"same place twice", "left 60°", "front", `s:3: seating 1 of the bare ear on L01 at the blocked ear-canal entrance is in row 2 already`},
		{"spelling", "left 60°", "Front", `s:3: loudspeaker "Front" differs from "front" only in case or spaces`},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, problems := parseSheet("s", []byte(strings.Replace(placedSheet, c.old, c.new, 1)))
			if got := problems.Error(); !strings.Contains(got, c.want) {
				t.Errorf("got\n%s\nwant\n%s", got, c.want)
			}
		})
	}
}
