package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"asworn/cmd/internal/pipeline"
)

func (a *app) reportCommand() *cobra.Command {
	var opt pipeline.ReportOptions
	var open bool
	cmd := &cobra.Command{
		Use:   "report DIR",
		Short: "Write the page, the plots and the exports from the last results",
		Long: `Writes, from DIR/results/results.json alone, the self-contained page, the tables
as CSV and Markdown and the plots. Nothing is estimated anew.`,
		Example: `  asworn report my-study --open
  asworn report my-study --format png --width 88 --height 60 --font 9`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := pipeline.LastResults(args[0])
			if err != nil {
				return err
			}
			page, err := pipeline.WriteReport(args[0], r, opt)
			if err != nil {
				return err
			}
			fmt.Fprintln(a.out, page)
			if open {
				return openInBrowser(cmd.Context(), page)
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&open, "open", false, "open the page in the browser")
	return cmd
}
