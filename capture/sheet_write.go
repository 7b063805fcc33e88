package capture

import (
	"encoding/csv"
	"io"
	"strconv"
)

// WriteSheet writes the rows as a seatings.csv, in their order.
func WriteSheet(w io.Writer, rows []Seating) error {
	out := csv.NewWriter(w)
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	out.Write([]string{"file", "model", "unit", "subject", "point", "seating", "forward_mm", "up_mm", "rotation_deg", "seal", "notes"})
	for _, r := range rows {
		fields := []string{r.File, r.Model, r.Unit, r.Subject, string(r.Point), strconv.Itoa(r.Number), "", "", "", r.Seal, r.Notes}
		if d := r.Survey; d != nil {
			fields[6], fields[7], fields[8] = number(d.ForwardMM), number(d.UpMM), number(d.RotationDeg)
		}
		out.Write(fields)
	}
	out.Flush()
	return out.Error()
}
