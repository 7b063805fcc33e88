package plot

import (
	"testing"

	"asworn/report/internal/sample"
	"asworn/report/view"
)

// BenchmarkWrite draws every figure of three models as SVG and PNG.
func BenchmarkWrite(b *testing.B) {
	figs := view.New(sample.Results()).Figures()
	for b.Loop() {
		if _, err := Write(b.TempDir(), figs, Options{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(2*float64(len(figs)), "files/op")
}
