package pipeline

import (
	"slices"

	"asworn/capture"
	"asworn/capture/finding"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/studydir"
	"asworn/report"
)

// Counts says what a run had to do.
type Counts struct {
	Recordings int  `json:"recordings"`
	Missing    int  `json:"missing,omitempty"` // rows not recorded yet, left out with Options.Partial
	Processed  int  `json:"processed"`         // responses computed
	Cached     int  `json:"cached"`            // responses taken from the cache
	Refused    int  `json:"refused"`           // recordings that count in no curve
	Read       int  `json:"read"`              // files whose bytes were read to see whether they changed
	Estimated  bool `json:"estimated"`         // estimates were computed, not taken from the cache
	// Anew is how many parts of the estimates were computed and not taken from the cache, by the
	// name of the part (fitcorr.Memory).
	Anew    map[string]int   `json:"-"`
	Damaged int              `json:"damaged,omitempty"` // files of earlier runs that were not as written, and made anew
	Changed []string         `json:"changed,omitempty"` // files of recordings that changed since an earlier run
	Strays  []string         `json:"strays,omitempty"`  // WAV files that are in no row of the sheet
	Twins   []studydir.Twins `json:"twins,omitempty"`   // recordings that hold the same bytes
	// PanelChanged says that somebody, or the fixture, is not who an earlier study
	// knows; the results' findings say who.
	PanelChanged bool     `json:"panel_changed,omitempty"`
	Doubts       []string `json:"doubts,omitempty"` // what is allowed in the sheet and yet looks like a slip
}

// WithChanges returns the results with a finding at every recording that
// changed since an earlier run. It is for showing alone: what lies on disk does
// not depend on what was run before.
func (c Counts) WithChanges(r report.Results) report.Results {
	if len(c.Changed) == 0 {
		return r
	}
	r.Recordings = slices.Clone(r.Recordings)
	for i, rec := range r.Recordings {
		if slices.Contains(c.Changed, rec.File) {
			r.Recordings[i].Findings = append(slices.Clone(rec.Findings), finding.New(finding.Changed, "the file changed since an earlier run"))
		}
	}
	return r
}

// misfiled adds recordings that are in no row, and the same under two names; responses
// are the keys of the rows' responses.
func (c *Counts) misfiled(st *capture.Study, responses []cache.Key) (err error) {
	c.Strays = studydir.Strays(st.Dir, st)
	c.Twins, err = studydir.FindTwins(st.Dir, st.Seatings, responses, c.Strays)
	return err
}

func doubts(study *capture.Study) (out []string) {
	for _, p := range study.Doubts() {
		out = append(out, p.Error())
	}
	return out
}
