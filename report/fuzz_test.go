package report

import (
	"bytes"
	"testing"
)

// FuzzReadJSON feeds any bytes as a results file: an error, or results that
// are written and read as the same.
func FuzzReadJSON(f *testing.F) {
	var b bytes.Buffer
	if err := WriteJSON(&b, Results{}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte(`{"schema":"asworn-results-2","recordings":[{"file":"a","ears":[null,null]}],"analysis":{"models":[null]}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		r, err := ReadJSON(bytes.NewReader(text))
		if err != nil {
			return
		}
		var once, twice bytes.Buffer
		if err := WriteJSON(&once, r); err != nil {
			t.Fatal(err)
		}
		back, err := ReadJSON(bytes.NewReader(once.Bytes()))
		if err != nil {
			t.Fatal(err)
		}
		if err := WriteJSON(&twice, back); err != nil || !bytes.Equal(once.Bytes(), twice.Bytes()) {
			t.Fatalf("%v\n%s\n%s", err, once.Bytes(), twice.Bytes())
		}
	})
}
