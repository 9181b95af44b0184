package main

import (
	"fmt"

	"github.com/spf13/cobra"
)

// choices lists the words that a flag takes, by the flag's name: what a shell
// offers after it.
var choices = map[string][]string{
	"format":  {"table", "json", "csv"},
	"paper":   {"a4", "letter"},
	"card":    {"sheet", "bench", "rider"},
	"on":      {"shell", "journal", "flat"},
	"stratum": nil, // filled from the renderer's list
}

// completeFlags makes the shell offer a flag's words, for a command and all
// below it.
func completeFlags(cmd *cobra.Command) {
	for name, words := range choices {
		if cmd.Flags().Lookup(name) == nil {
			continue
		}
		if name == "stratum" {
			words = strataNames()
		}
		cobra.CheckErr(cmd.RegisterFlagCompletionFunc(name, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp)))
	}
	for _, sub := range cmd.Commands() {
		completeFlags(sub)
	}
}

// nameCompletion gives cobra's completion command and those below it examples,
// like every other command has.
func nameCompletion(root *cobra.Command) {
	root.InitDefaultCompletionCmd()
	completion, _, err := root.Find([]string{"completion"})
	cobra.CheckErr(err)
	completion.Short = "Write the script that completes commands in a shell"
	completion.Example = "  stripgap completion bash"
	for _, shell := range completion.Commands() {
		shell.Example = fmt.Sprintf("  stripgap completion %s", shell.Name())
	}
}
