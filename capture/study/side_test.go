package study

import (
	"encoding/json"
	"testing"
)

// TestSidesAsText: ears and sides are words in results and files, and only the known ones.
func TestSidesAsText(t *testing.T) {
	type both struct {
		Ear  Ear  `json:"ear"`
		Side Side `json:"side,omitempty"`
	}
	for _, c := range []struct {
		text string
		want both
	}{
		{`{"ear":"left"}`, both{Left, BothSides}},
		{`{"ear":"right","side":"left"}`, both{Right, LeftSide}},
		{`{"ear":"right","side":"right"}`, both{Right, RightSide}},
	} {
		var got both
		if err := json.Unmarshal([]byte(c.text), &got); err != nil || got != c.want {
			t.Errorf("%s: %v, %v, want %v", c.text, got, err, c.want)
		}
		if text, err := json.Marshal(c.want); err != nil || string(text) != c.text {
			t.Errorf("%v: %s, %v, want %s", c.want, text, err, c.text)
		}
	}
	for _, bad := range []string{`{"ear":"Left"}`, `{"ear":""}`, `{"ear":0}`, `{"side":"both"}`, `{"side":1}`} {
		var got both
		if err := json.Unmarshal([]byte(bad), &got); err == nil {
			t.Errorf("%s is taken for %v", bad, got)
		}
	}
}
