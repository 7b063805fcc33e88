package finding

import (
	"reflect"
	"testing"
)

func TestByCause(t *testing.T) {
	hum := Finding{Code: "hum", Severity: Warning, Channel: "left", Message: "hum", Mend: "another supply"}
	right := hum
	right.Channel = "right"
	clip := Finding{Code: "clip", Severity: Refusal, Channel: "left", Message: "3 places", Mend: "less gain"}
	more := clip
	more.Channel, more.Message = "right", "4 places"
	note := Finding{Code: "hum", Severity: Note, Message: "hum"}
	got := ByCause([]Finding{clip, hum, more, right, note})
	both := []string{"left", "right"}
	want := []Joint{{clip, both}, {hum, both}, {note, nil}}
	want[0].Channel, want[0].Message = "left and right", "3 places (left); 4 places (right)"
	want[1].Channel = "left and right"
	if len(got) != len(want) {
		t.Fatalf("%+v", got)
	}
	for i := range want {
		if !reflect.DeepEqual(got[i], want[i]) {
			t.Errorf("%d: %+v, want %+v", i, got[i], want[i])
		}
	}
	if ByCause(nil) != nil {
		t.Error("something of nothing")
	}
}
