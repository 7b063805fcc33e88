package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"asworn/cmd/internal/console"
	"asworn/cmd/internal/pipeline"
	"asworn/cmd/internal/resultdir"
	"asworn/report/plot"
)

func reportCommand(c *console.Console) *cobra.Command {
	var opt pipeline.ReportOptions
	var open, exports bool
	var formats []string
	export := pipeline.ExportOptions{FilterRateHz: 48000, Version: version()}
	cmd := &cobra.Command{
		Use:   "report DIR",
		Short: "Write the page, the plots and the exports from the last results",
		Long: `Writes, from DIR/results/results.json alone, the self-contained page, the tables
as CSV and Markdown and the plots. Nothing is estimated anew. With --exports it
adds, under DIR/results/exports, the corrections as filters, the impulse
responses and the headphone responses as AES69 files (docs/exports.md); the first
time it reads the recordings again for that.`,
		Example: `  asworn report my-study --open
  asworn report my-study --format png --width 88 --font-size 8 --no-title`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			for _, f := range formats {
				opt.Plots.Formats = append(opt.Plots.Formats, plot.Format(f))
			}
			page, err := pipeline.WriteReport(cmd.Context(), args[0], opt)
			if err != nil {
				return err
			}
			fmt.Fprintln(c.Out, page)
			if exports {
				files, err := pipeline.WriteExports(cmd.Context(), args[0], export, pipeline.Options{Jobs: c.Jobs})
				if err != nil {
					return err
				}
				c.Note("%d files under %s", len(files), resultdir.Path(args[0], "exports"))
			}
			if open {
				return console.Browse(cmd.Context(), page)
			}
			return nil
		},
	}
	cmd.ValidArgsFunction = console.Folders
	f := cmd.Flags()
	f.BoolVar(&open, "open", false, "open the page in the browser")
	f.StringSliceVar(&formats, "format", []string{string(plot.SVG), string(plot.PNG)}, "formats of the plots: svg, png")
	f.Float64Var(&opt.Plots.WidthMM, "width", 170, "width of the plots, mm")
	f.Float64Var(&opt.Plots.HeightMM, "height", 0, "height of maps, mm; 0 suits the content (frequency plots keep their aspect)")
	f.Float64Var(&opt.Plots.FontSize, "font-size", 9, "size of the lettering, points")
	f.StringVar((*string)(&opt.Plots.Font), "font", string(plot.Sans), "lettering: sans, serif or mono")
	f.IntVar(&opt.Plots.DPI, "dpi", 200, "dots per inch of PNG")
	f.BoolVar(&opt.Plots.NoTitle, "no-title", false, "leave the title to the paper's caption")
	console.Complete(cmd, "format", "svg", "png")
	console.Complete(cmd, "font", "sans", "serif", "mono")
	f.BoolVar(&exports, "exports", false, "also write filters, impulse responses and headphone responses")
	f.Float64Var(&export.FilterRateHz, "filter-rate", export.FilterRateHz, "sampling rate of the exported filters, Hz")
	return cmd
}
