package fitcorr

import (
	"asworn/fitcorr/correct"
	"asworn/fitcorr/panel"
	"asworn/fitcorr/position"
	"asworn/fitcorr/sensitivity"
	"asworn/fitcorr/standout"
	"asworn/fitcorr/survey"
	"asworn/fitcorr/verdict"
)

// ModelAnalysis is everything estimated about one headphone model. Parts that
// the study cannot support are nil or empty, and Cannot says why.
type ModelAnalysis struct {
	Model    string            `json:"model"`
	OpenBack bool              `json:"open_back"` // the data show no seal
	Survey   [2]*survey.Report `json:"survey"`
	// DrumSurvey is the survey at the drum per ear, Mark how its marked position
	// differs from that of Survey as far as readings tell; both nil where there is none.
	DrumSurvey  *[2]*survey.Report        `json:"drum_survey,omitempty"`
	Mark        *position.MarkError       `json:"mark,omitempty"`
	Offsets     []position.Offset         `json:"offsets,omitempty"`
	Worn        *panel.Worn               `json:"worn,omitempty"`
	Verdicts    []verdict.Verdict         `json:"verdicts,omitempty"`
	Corrections []correct.Correction      `json:"corrections,omitempty"`
	Curves      []correct.FinalCurve      `json:"curves,omitempty"`
	Sensitivity []sensitivity.Sensitivity `json:"sensitivity,omitempty"`
	Cannot      []string                  `json:"cannot,omitempty"` // what this study cannot answer about the model, in plain words
}

// Analysis is everything estimated about a study.
type Analysis struct {
	Models    []ModelAnalysis     `json:"models"`
	Misfits   []Misfit            `json:"misfits,omitempty"`
	StandOuts []standout.StandOut `json:"stand_outs,omitempty"`
	Cannot    []string            `json:"cannot,omitempty"`
}

// Misfit names a recording that is not what it is said to be: an electrical signal
// in place of an ear, or on the fixture no seating of its model at its point,
// wherever the headphone may sit. It is judged in nothing.
type Misfit struct {
	ID   string `json:"id"`
	Why  string `json:"why"`
	Mend string `json:"remedy"`
}
