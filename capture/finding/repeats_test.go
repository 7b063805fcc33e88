package finding

import (
	"reflect"
	"testing"
)

// What many recordings share is shown thrice, and the rest is told by rows; nothing
// else is held back.
func TestRepeats(t *testing.T) {
	hum := Joint{Finding: Finding{Code: MainsHum, Severity: Warning, Mend: "look for loops"}}
	clip := Joint{Finding: Finding{Code: Clipping, Severity: Refusal, Mend: "lower the gain"}}
	var recordings [][]Joint
	for i := range 10 {
		f := []Joint{hum}
		if i%2 == 0 {
			f = append(f, clip) // five, few enough to be shown one by one
		}
		recordings = append(recordings, f)
	}
	r := NewRepeats(recordings)
	shown := map[Code][]int{}
	for i, findings := range recordings {
		for _, f := range findings {
			if r.Show(f, i+2) {
				shown[f.Code] = append(shown[f.Code], i+2)
			}
		}
	}
	if want := (map[Code][]int{MainsHum: {2, 3, 4}, Clipping: {2, 4, 6, 8, 10}}); !reflect.DeepEqual(shown, want) {
		t.Errorf("shown %v, want %v", shown, want)
	}
	rest := r.Rest()
	if len(rest) != 1 || !reflect.DeepEqual(rest[0].First, hum) || rest[0].Row != 2 || rest[0].String() != "7 more, rows 5 to 11" {
		t.Errorf("the rest is %+v", rest)
	}
}
