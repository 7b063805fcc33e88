package study

import (
	"cmp"
	"encoding/csv"
	"io"
	"slices"
	"strconv"
)

// WriteSheet writes the rows as a seatings.csv, in their order. The columns of
// read positions, and of what files hold, are there when some row needs them.
func WriteSheet(w io.Writer, rows []Seating) error {
	return writeSheet(w, rows, slices.ContainsFunc(rows, func(r Seating) bool { return r.Read != nil }))
}

// WritePlan writes rows that are still to be recorded: as WriteSheet, with
// every column that an operator may fill in.
func WritePlan(w io.Writer, rows []Seating) error { return writeSheet(w, rows, true) }

func writeSheet(w io.Writer, rows []Seating, read bool) error {
	out := csv.NewWriter(w)
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	holds := slices.ContainsFunc(rows, func(r Seating) bool { return r.Holds != HoldsRecording })
	placed := slices.ContainsFunc(rows, func(r Seating) bool { return r.Loudspeaker != "" })
	write := func(left, position []string, held, loudspeaker string, right ...string) {
		if !read {
			position = nil
		}
		if placed {
			right = append([]string{loudspeaker}, right...)
		}
		if holds {
			right = append([]string{held}, right...)
		}
		out.Write(slices.Concat(left, position, right))
	}
	write([]string{"file", "model", "unit", "subject", "point", "seating", "forward_mm", "up_mm", "rotation_deg"},
		[]string{columnReadForward, columnReadUp}, "holds", columnLoudspeaker, "seal", "notes")
	for _, r := range rows {
		left := []string{r.File, r.Model, r.Unit, r.Subject, string(r.Point), strconv.Itoa(r.Number), "", "", ""}
		if d := r.Survey; d != nil {
			left[6], left[7], left[8] = number(d.ForwardMM), number(d.UpMM), number(d.RotationDeg)
		}
		position := []string{"", ""}
		if r.Read != nil {
			position = []string{number(r.Read.ForwardMM), number(r.Read.UpMM)}
		}
		write(left, position, cmp.Or(string(r.Holds), recordingWord), r.Loudspeaker, r.Seal, r.Notes)
	}
	out.Flush()
	return out.Error()
}
