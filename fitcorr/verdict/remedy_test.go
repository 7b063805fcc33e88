package verdict

import (
	"encoding/json"
	"testing"
)

func TestRemedyAsText(t *testing.T) {
	for _, c := range []struct {
		text string
		want Remedy
	}{
		{`"a survey of twice the rows"`, Remedy{Do: "a survey of twice the rows"}},
		{`"twice the listeners (then use is expected in 60 %)"`, Remedy{"twice the listeners", "then use is expected in 60 %"}},
		{`"one (or two) readings"`, Remedy{Do: "one (or two) readings"}},
		{`""`, Remedy{}},
	} {
		var got Remedy
		if err := json.Unmarshal([]byte(c.text), &got); err != nil || got != c.want {
			t.Errorf("%s: %+v, %v, want %+v", c.text, got, err, c.want)
		}
		if text, err := json.Marshal(c.want); err != nil || string(text) != c.text {
			t.Errorf("%+v: %s, %v, want %s", c.want, text, err, c.text)
		}
	}
}
