package main

import (
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"asworn/capture/study"
	"asworn/cmd/internal/console"
	"asworn/fitcorr/reading"
	"asworn/report/table"
	"asworn/report/text"
)

func readingsCommand(c *console.Console) *cobra.Command {
	return &cobra.Command{
		Use:   "readings FILE",
		Short: "Find what readings with a ruler are worth: the values of [reading] for study.toml",
		Long: `Reads a readings.csv (docs/study-format.md), such as that of a trial: ten
placements read twice by each reader without seeing the first figures, and the
canal's entrance found anew three times on some heads. Prints how far one reading and one
finding of the entrance err, how readers differ, which entries look like slips,
and the [reading] table to put into study.toml. A study that has a readings.csv of
its own needs none of this: asworn run learns the same from it.`,
		Example: `  asworn readings trial/readings.csv
  asworn readings my-study/readings.csv --json`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error { return showReadings(c, args[0]) },
	}
}

// readingTrial is the JSON of the command.
type readingTrial struct {
	Readings        int              `json:"readings"`
	Placements      int              `json:"placements"`
	One             reading.Learned  `json:"one"`
	Bias            reading.Learned  `json:"bias"`
	Landmark        reading.Learned  `json:"landmark"`
	FixtureLandmark reading.Learned  `json:"fixture_landmark"`
	Readers         []reading.Reader `json:"readers"`
	Slips           []reading.Slip   `json:"slips,omitempty"`
}

func showReadings(c *console.Console, file string) error {
	rows, err := study.LoadReadings(file)
	if err != nil {
		return err
	}
	stated := study.Default().Reading
	r := reading.Combine(rows, stated)
	if c.JSON {
		out := readingTrial{Readings: len(rows), Placements: len(r.At), One: r.One, Bias: r.Bias,
			Landmark: r.Landmark, FixtureLandmark: r.FixtureLandmark, Readers: r.Readers, Slips: r.Slips}
		enc := json.NewEncoder(c.Out)
		enc.SetIndent("", "  ")
		return enc.Encode(out)
	}
	t := table.Table{Name: "readers", Title: "Readers", Note: "Bias: against the mean of all readers, toward the nose and the crown, with its standard uncertainty.",
		Columns: []table.Column{{Head: "Reader", Key: "reader"}, {Head: "Readings", Key: "readings", Kind: table.Number},
			{Head: "Forward\nmm", Key: "forward_mm", Kind: table.Number}, {Head: "Up\nmm", Key: "up_mm", Kind: table.Number}, {Head: "u\nmm", Key: "u_mm", Kind: table.Number}}}
	for _, p := range r.Readers {
		name := p.Name
		if name == "" {
			name = "–"
		}
		t.Add(table.Word(name), table.Count(p.Readings), table.Value(p.BiasMM[0], 2), table.Value(p.BiasMM[1], 2), table.Value(p.SE, 2))
	}
	if len(r.Readers) > 1 {
		if err := table.WriteAll(c.Out, []table.Table{t}, table.Options{}); err != nil {
			return err
		}
	}
	for _, s := range r.Slips {
		c.Note("%s:%d: %s mm from the other readings of that placement: check the entry", file, s.Row, text.Fixed(s.MM, 0))
	}
	values := r.Uncertainty(stated)
	say := func(l reading.Learned, what string) string {
		if l.DF <= reading.StatedDF {
			return "# not repeated: the default stands"
		}
		return fmt.Sprintf("# %s, %.0f degrees of freedom", what, l.DF-reading.StatedDF)
	}
	fmt.Fprintf(c.Out, "[reading]\nuncertainty_mm = %.2f       %s\nlandmark_mm = %.2f          %s\nfixture_landmark_mm = %.2f  %s\n",
		values.OneMM, say(r.One, fmt.Sprintf("from %d placements", len(r.At))),
		values.LandmarkMM, say(r.Landmark, "from repeated findings on listeners"),
		values.FixtureLandmarkMM, say(r.FixtureLandmark, "from repeated findings on the fixture"))
	return nil
}
