package console

import (
	"strconv"

	"github.com/spf13/cobra"

	"asworn/capture/study"
)

// Complete offers fixed words for a flag.
func Complete(cmd *cobra.Command, flag string, words ...string) {
	must(cmd.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp)))
}

// CompleteModels offers the models of the study that the first argument names.
func CompleteModels(cmd *cobra.Command, flag string) {
	must(cmd.RegisterFlagCompletionFunc(flag, func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		if len(args) == 0 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return study.Models(args[0]), cobra.ShellCompDirectiveNoFileComp
	}))
}

// Folders completes arguments that are study folders.
func Folders(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return nil, cobra.ShellCompDirectiveFilterDirs
}

// FolderThenWAV completes a study folder and then a recording.
func FolderThenWAV(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	if len(args) == 0 {
		return nil, cobra.ShellCompDirectiveFilterDirs
	}
	return []string{"wav"}, cobra.ShellCompDirectiveFilterFileExt
}

// must is for flags that are named wrongly in the source.
func must(err error) {
	if err != nil {
		panic("completion of a flag: " + strconv.Quote(err.Error()))
	}
}
