package finding

import "testing"

func TestText(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Text("%.1f dB of a-b %s", -0.78, "x -1"), "−0.8 dB of a-b x -1"},
		{Text("%+.0f ppm, %+.0f ppm", 65.2, -18.4), "+65 ppm, −18 ppm"},
		{Text("%g mm, %5.1f|%-6.1f|", -31.5, -2.0, -2.0), "−31.5 mm,  −2.0|−2.0  |"},
		{Text("%d of %d, %.2e", -1, 2, 0.001), "-1 of 2, 1.00e−03"},
	} {
		if c.got != c.want {
			t.Errorf("%q, want %q", c.got, c.want)
		}
	}
}
