package main

import (
	"github.com/spf13/cobra"

	"asworn/cmd/internal/console"
	"asworn/cmd/internal/merge"
)

func mergeCommand(c *console.Console) *cobra.Command {
	return &cobra.Command{
		Use:   "merge DIR STUDY STUDY...",
		Short: "Join studies of one lab into a new one",
		Long: `Makes the study DIR out of two or more others: their settings, which must agree
(the title apart), all rows, and copies of the recordings and calibration files.
The studies themselves are only read. Nothing is written when two rows name the
same placement, when a recording's path is in two studies, when names differ in
case alone, or when calibration files of one name differ; every such clash is named
with file and row. Of a canal entrance that several studies found anew, the findings of
the study with the fewest are kept: each reading is from its own study's.`,
		Example: `  asworn merge both spring-study autumn-study`,
		Args:    cobra.MinimumNArgs(3),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := distinct(args[1:]); err != nil {
				return err
			}
			s, err := merge.Studies(args[0], args[1:])
			if err != nil {
				return err
			}
			c.Note("%s: %d recordings and %d rows to be recorded, from %d studies; next: asworn run %s",
				args[0], len(s.Seatings), len(s.NotRecorded), len(args)-1, args[0])
			return nil
		},
	}
}
