package respond

import (
	"bytes"
	"encoding/gob"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// Impulse responses come back from gob to the bit, an ear without one too; what was
// cut short is refused.
func TestImpulsesThroughGob(t *testing.T) {
	want := Impulses{{1, -0.5, math.SmallestNonzeroFloat32, float32(math.Copysign(0, -1))}, {}}
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(want); err != nil {
		t.Fatal(err)
	}
	var got Impulses
	if err := gob.NewDecoder(&b).Decode(&got); err != nil || !cmp.Equal(got, want) || !math.Signbit(float64(got[0][3])) {
		t.Errorf("%v, %v", got, err)
	}
	raw, _ := want.GobEncode()
	for n := range raw {
		if err := new(Impulses).GobDecode(raw[:n]); err == nil {
			t.Errorf("cut to %d of %d bytes: no error", n, len(raw))
		}
	}
}
