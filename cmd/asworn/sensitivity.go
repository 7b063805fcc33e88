package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"asworn/capture"
	"asworn/capture/study"
	"asworn/cmd/internal/console"
	"asworn/cmd/internal/panelfile"
	"asworn/cmd/internal/resultdir"
	"asworn/fitcorr"
	"asworn/fitcorr/sensitivity"
	"asworn/report"
	"asworn/report/table"
	"asworn/report/text"
	"asworn/report/view"
)

func sensitivityCommand(c *console.Console) *cobra.Command {
	point := string(capture.Blocked)
	var bands bool
	cmd := &cobra.Command{
		Use:   "sensitivity DIR...",
		Short: "Put models side by side by their fit sensitivity, over one or several studies",
		Long: `Ranks models by how much their response depends on how they sit, from the
last results of each study: one figure per model (docs/sensitivity.md) with its
interval and the interval of the rank, last; before it each figure per ear and
point, with --bands the components behind it per third octave. Listeners of the same name in one study are the same person.
Earlier studies that a study names ([panel] earlier in study.toml) are ranked with it, their
listeners taken for the same people.`,
		Example: `  asworn sensitivity my-study
  asworn sensitivity spring-study autumn-study --json
  asworn sensitivity my-study --point drum`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(_ *cobra.Command, dirs []string) error {
			if p := capture.Point(point); p != capture.Blocked && p != capture.Drum {
				return console.Usagef("--point %q: want %s or %s", point, capture.Blocked, capture.Drum)
			}
			return showSensitivity(c, dirs, capture.Point(point), bands)
		},
	}
	cmd.Flags().StringVar(&point, "point", point, "microphone point: blocked or drum")
	cmd.Flags().BoolVar(&bands, "bands", false, "also the components per third octave")
	console.Complete(cmd, "point", string(capture.Blocked), string(capture.Drum))
	cmd.ValidArgsFunction = console.Folders
	return cmd
}

// sideBySide is the JSON of the command.
type sideBySide struct {
	Point     capture.Point                               `json:"point"`
	Standings []sensitivity.Standing                      `json:"standings"`
	Studies   map[string]map[string][]fitcorr.Sensitivity `json:"studies"` // by study, then model
	Shared    []string                                    `json:"shared_recordings,omitempty"`

	contenders []sensitivity.Contender
}

func showSensitivity(c *console.Console, dirs []string, point capture.Point, bands bool) error {
	if err := distinct(dirs); err != nil {
		return err
	}
	joint, err := panelfile.Together(dirs)
	if err != nil {
		return err
	}
	out := sideBySide{Point: point, Studies: map[string]map[string][]fitcorr.Sensitivity{}, Shared: joint.Shared}
	studies, err := out.last(c, dirs, joint.People)
	if err != nil {
		return err
	}
	for _, s := range joint.Shared {
		c.Note("%s", s)
	}
	for i, p := range joint.Before {
		name := out.name(p.Study, fmt.Sprintf("%s (%d)", p.Study, i+1))
		for _, m := range p.Models {
			out.add(name, m.Model, joint.People[len(dirs)+i], m.Sensitivity)
		}
	}
	opt := fitcorr.DefaultOptions()
	opt.Confidence = studies[0].Options.Confidence
	out.Standings = sensitivity.Rank(out.contenders, opt)
	if c.JSON {
		return json.NewEncoder(c.Out).Encode(out)
	}
	for i, r := range studies {
		if len(dirs) > 1 {
			fmt.Fprintf(c.Out, "%s\n\n", dirs[i])
		}
		t := view.New(r).Tables()
		show := []table.Table{t.Sensitivity}
		if bands {
			show = t.Scatter()
		}
		if err := table.WriteAll(c.Out, show, c.TableOptions()); err != nil {
			return err
		}
	}
	return standingTable(out.Standings, opt.Confidence, len(dirs)+len(joint.Before) > 1).WriteText(c.Out, c.TableOptions())
}

// last adds the models of the last results of each study; people says who wore them.
func (s *sideBySide) last(c *console.Console, dirs []string, people []int) ([]report.Results, error) {
	var studies []report.Results
	for i, dir := range dirs {
		r, err := resultdir.Last(dir)
		if err != nil {
			return nil, err
		}
		name := s.name(filepath.Base(filepath.Clean(dir)), filepath.Clean(dir)) // there may be another folder of that name
		for _, m := range r.Analysis.Models {
			if !s.add(name, m.Model, people[i], m.Sensitivity) {
				c.Note("%s: %s has no %s seatings to compare", dir, m.Model, s.Point)
			}
		}
		studies = append(studies, r)
	}
	return studies, nil
}

// name is what a study is called, or the other where one is called so already.
func (s *sideBySide) name(study, other string) string {
	if _, taken := s.Studies[study]; taken {
		return other
	}
	return study
}

// add adds a model that people wore in a study; it reports whether it has seatings at the point.
func (s *sideBySide) add(study, model string, people int, all []fitcorr.Sensitivity) bool {
	if s.Studies[study] == nil {
		s.Studies[study] = map[string][]fitcorr.Sensitivity{}
	}
	var ears []fitcorr.Sensitivity
	for _, one := range all {
		if one.Point == s.Point {
			ears = append(ears, one)
		}
	}
	if len(ears) == 0 {
		return false
	}
	s.Studies[study][model] = ears
	s.contenders = append(s.contenders, sensitivity.Contender{Study: study, Panel: strconv.Itoa(people), Model: model, Ears: ears})
	return true
}

// distinct returns an error when a study, or what one of its fixtures sees, is
// named twice, whatever its spelling.
func distinct(addresses []string) error {
	type seen struct {
		info    os.FileInfo
		fixture string
	}
	var before []seen
	for _, address := range addresses {
		dir, fixture := study.Split(address)
		info, err := os.Stat(dir)
		if err != nil {
			return fmt.Errorf("name the folder of a study: %w", err)
		}
		if i := slices.IndexFunc(before, func(s seen) bool { return s.fixture == fixture && os.SameFile(s.info, info) }); i >= 0 {
			return console.Usagef("study %s is named twice (as %s too); a study counts once", address, addresses[i])
		}
		before = append(before, seen{info, fixture})
	}
	return nil
}

// standingTable is the ranking for people.
func standingTable(standings []sensitivity.Standing, confidence float64, several bool) table.Table {
	t := table.Table{
		Name: "standings", Title: "Models by fit sensitivity, the least sensitive first",
		Note: fmt.Sprintf("How far, in dB RMS from 50 Hz to 10 kHz, one listener putting the headphone on once is from the sample mean; "+
			"intervals at %.0f %%. Steadier than the next: the probability that the order of the two is right.", 100*confidence),
	}
	head := "Listener and\nseating, dB"
	if len(standings) > 0 && standings[0].Figure == sensitivity.ByRepeatability {
		head = "Seating\ndB"
		t.Title = "Models by repeatability, the steadiest first"
		t.Note = fmt.Sprintf("No panel: how far, in dB RMS from 50 Hz to 10 kHz, one seating on the fixture is from their mean; it says nothing about listeners. "+
			"Intervals at %.0f %%. Steadier than the next: the probability that the order of the two is right.", 100*confidence)
	}
	if several {
		t.Columns = append(t.Columns, table.Column{Head: "Study", Key: "study", Repeat: true})
	}
	t.Columns = append(t.Columns,
		table.Column{Head: "Model", Key: "model", Repeat: true},
		table.Column{Head: "Rank", Key: "rank", Kind: table.Number},
		table.Column{Head: "Rank\ninterval", Key: "rank_interval"},
		table.Column{Head: head, Key: "summary_db", Kind: table.Interval},
		table.Column{Head: "Steadier than\nthe next", Key: "less_than_next", Kind: table.Number},
	)
	for i, s := range standings {
		var row []table.Cell
		if several {
			row = append(row, table.Cell{Text: s.Study})
		}
		row = append(row, table.Cell{Text: s.Model})
		if s.Rank == 0 {
			row = append(row, table.Cell{Text: "–"}, table.Cell{Text: "no panel"}, table.Cell{Text: "–"}, table.Cell{Text: "–"})
			t.Rows = append(t.Rows, row)
			continue
		}
		figure := table.Cell{Text: text.Fixed(s.SummaryDB[0], 1) + " (interval not known)", Num: s.SummaryDB[:1]}
		if s.SummaryDB[2] > 0 {
			figure = table.Between(s.SummaryDB[0], s.SummaryDB[1], s.SummaryDB[2])
		}
		next := table.Cell{Text: "–"}
		if i+1 < len(standings) && standings[i+1].Rank > 0 {
			next = table.Cell{Text: strings.Replace(fmt.Sprintf("%.0f %%", 100*s.Less[i+1]), "100 %", "> 99 %", 1), Num: []float64{s.Less[i+1]}}
		}
		t.Rows = append(t.Rows, append(row,
			table.Cell{Text: fmt.Sprint(s.Rank), Num: []float64{float64(s.Rank)}},
			table.Cell{Text: fmt.Sprintf("%d…%d", s.RankLow, s.RankHigh)}, figure, next))
	}
	return t
}
