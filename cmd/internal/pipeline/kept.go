package pipeline

import (
	"encoding/gob"
	"io"

	"asworn/capture"
	"asworn/capture/compare"
	"asworn/cmd/internal/cache"
	"asworn/cmd/internal/respond"
	"asworn/report"
)

// ended is what is kept of a whole run, so that one in which nothing changed need
// not put the results together from their parts.
type ended struct {
	Results      report.Results // without the analysis
	Responses    []cache.Key    // of each row
	Estimates    cache.Key      // of the analysis
	Outputs      cache.Key      // of what was written
	Refused      int
	PanelChanged bool
}

// compared is what the comparison of all recordings of a study shows.
type compared struct {
	Found  [][]capture.Finding // per row
	Traits []compare.Traits    // those that are refused now marked so
}

// tell adds what was found to the responses.
func (c compared) tell(responses []respond.Response) {
	for i, found := range c.Found {
		responses[i].Recording.AddFindings(found...)
	}
}

// meetTypes makes the files of a run the same whatever was in the cache: gob numbers
// types in the order in which a process first meets them.
func meetTypes() {
	to := gob.NewEncoder(io.Discard)
	for _, v := range []any{frozen{}, capture.Recording{}, compared{}, ended{}} {
		_ = to.Encode(v) // an error tells of the value; its type was met
	}
}
