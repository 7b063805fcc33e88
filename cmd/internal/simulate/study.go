package simulate

import (
	"fmt"
	"strings"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/fitcorr"
)

// Row is one recording of an invented study: what the seating sheet says and
// what is true.
type Row struct {
	capture.Seating
	ModelIndex   int // -1 without a headphone
	SubjectIndex int
	True         [2]Placement
	YawDeg       float64 // bare-ear reference: the head's turn
}

// WornTruth is the truth about how people wear one model.
type WornTruth struct {
	// Mean is the mean of the population the panel was drawn from; PanelMean
	// the mean of the positions of this panel's seatings. Forward mm, up mm, rotation degrees.
	Mean      [3]float64 `json:"mean"`
	PanelMean [3]float64 `json:"panel_mean"`
	BetweenSD [3]float64 `json:"between_sd"`
	WithinSD  [3]float64 `json:"within_sd"`
}

// Study is an invented study before it is heard.
type Study struct {
	Design Design
	Models []string
	Open   []bool
	Rows   []Row
	// Readings are those of readings.csv, where several were taken.
	Readings []study.ReadingRow
	Worn     []WornTruth // per model
	// Mark is, per model, where the survey at the drum had the mark in the
	// coordinates of that at the blocked entrance: forward mm, up mm, rotation degrees.
	Mark  [][3]float64
	World Acoustics
	leaks []float64 // per listener: the slit of glasses or hair, mm; -1 where leaks belong to seatings
}

// Headset returns the true offset of the headset: the mean of both cups.
func (r Row) Headset() [3]float64 {
	a, b := r.True[capture.Left].Vector(), r.True[capture.Right].Vector()
	var out [3]float64
	for i := range out {
		out[i] = (a[i] + b[i]) / 2
	}
	return out
}

// Target is the worn mean that fixture seatings are placed about and judged by:
// of this panel's seatings, or of the population when the design says so.
func (s *Study) Target(model int) [3]float64 {
	if s.Design.AboutPeople {
		return s.Worn[model].Mean
	}
	return s.Worn[model].PanelMean
}

// plain returns the row as the estimators see it, without its curves.
func (r Row) plain() fitcorr.Seating {
	return fitcorr.Seating{
		ID: r.File, Model: r.Model, Unit: r.Unit, Subject: r.Subject, Point: r.Point,
		Number: r.Number, Survey: r.Survey, Read: r.Read, Loudspeaker: r.Loudspeaker, Seal: r.Seal,
	}
}

// fileName says who, what and which.
func (r Row) fileName() string {
	what := strings.ToLower(strings.ReplaceAll(r.Model, " ", "-"))
	switch {
	case r.Model == "":
		what = strings.TrimSuffix("bare-ear"+r.Loudspeaker, "°")
	case r.Displaced():
		what += "-survey"
	}
	return fmt.Sprintf("recordings/%s_%s_%03d_%s.wav", strings.ToLower(r.Subject), what, r.Number, r.Point)
}

func (s *Study) row(model, subject int, name string, point capture.Point, number int) Row {
	row := Row{ModelIndex: model, SubjectIndex: subject}
	row.Subject, row.Point, row.Number = name, point, number
	if model >= 0 {
		row.Model, row.Unit = s.Models[model], "1"
	}
	return row
}

func subjectName(i int) string { return fmt.Sprintf("L%02d", i+1) }
