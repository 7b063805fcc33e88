package report

import (
	"strconv"
	"strings"

	"asworn/fitcorr"
)

// index finds the parts of a Results value that belong together.
type index struct {
	r      Results
	byFile map[string]int
}

func newIndex(r Results) index {
	ix := index{r: r, byFile: make(map[string]int, len(r.Recordings))}
	for i, rec := range r.Recordings {
		ix.byFile[rec.File] = i
	}
	return ix
}

func (ix index) recording(id string) (Recording, bool) {
	i, ok := ix.byFile[id]
	if !ok {
		return Recording{}, false
	}
	return ix.r.Recordings[i], true
}

// name calls a seating by its parts, or by its id when the sheet has no such row.
func (ix index) name(id string) string {
	if rec, ok := ix.recording(id); ok {
		return seatingName(rec)
	}
	return id
}

// numbers calls seatings of one subject by their numbers: "seating 3", "seatings 3, 5".
func (ix index) numbers(ids []string) string {
	var out []string
	for _, id := range ids {
		if rec, ok := ix.recording(id); ok {
			id = strconv.Itoa(rec.Number)
		}
		out = append(out, id)
	}
	if len(out) == 1 {
		return "seating " + out[0]
	}
	return "seatings " + strings.Join(out, ", ")
}

func offsetOf(m fitcorr.ModelAnalysis, id string) *fitcorr.Offset {
	for i := range m.Offsets {
		if m.Offsets[i].ID == id {
			return &m.Offsets[i]
		}
	}
	return nil
}
