package capture

import "fmt"

// refuseRate refuses a recording whose header gives another rate than the
// study. Nothing is resampled: whether header or study is wrong decides what
// the samples mean. The sweep tells which: it is there at the study's rate when
// only the header is wrong.
func (t *take) refuseRate(rateHz float64) {
	f := Finding{Code: "wrong-rate", Severity: Refusal, Value: rateHz, Unit: "Hz",
		Message: fmt.Sprintf("the file's header says %.6g Hz, the study %.6g", rateHz, t.p.rate),
		Mend:    "record again at the rate of the study, or set sweep.rate_hz to the rate that was played and recorded"}
	t.locate()
	if t.found.clarity >= doubtful && t.playedAtAnotherRate() == 0 {
		f.Message += fmt.Sprintf("; the excitation is there as it is at %.6g Hz, so the header is wrong", t.p.rate)
		f.Mend = fmt.Sprintf("write a copy of the file whose header says %.6g Hz and name the copy in the sheet; set the recorder right", t.p.rate)
	}
	t.add(f)
}
