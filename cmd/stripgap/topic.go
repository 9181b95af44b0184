package main

import (
	"embed"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

// topicFiles are the pages of `stripgap help TOPIC`: a line that says what the
// page is about, and the page.
//
//go:embed topics/*.txt
var topicFiles embed.FS

// topicOrder is the order in which a person needs them.
var topicOrder = []string{"printing", "strips", "photographing", "uncertainty", "verdicts", "builds", "files", "exit-codes"}

// topic returns a page's first line and the whole page.
func topic(name string) (about, page string, ok bool) {
	data, err := topicFiles.ReadFile(path.Join("topics", name+".txt"))
	if err != nil {
		return "", "", false
	}
	about, _, _ = strings.Cut(string(data), "\n")
	return about, string(data), true
}

// newHelpCommand replaces cobra's own, which knows commands only.
func newHelpCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND|TOPIC]",
		Short: "Tell about a command or a topic",
		Long:  "help tells about a command, or about one of these topics:\n\n" + topicList(),
		Example: `  stripgap help read
  stripgap help card print
  stripgap help photographing`,
		Args: cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			return tellHelp(cmd.OutOrStdout(), cmd.Root(), args)
		},
		ValidArgsFunction: completeHelp,
	}
}

func tellHelp(w io.Writer, root *cobra.Command, args []string) error {
	if len(args) == 1 {
		if _, page, ok := topic(args[0]); ok {
			_, err := io.WriteString(w, page)
			return err
		}
	}
	about, rest, err := root.Find(args)
	if err != nil || len(rest) > 0 {
		return usagef("there is no command or topic %q", strings.Join(args, " "))
	}
	about.InitDefaultHelpFlag()
	return about.Help()
}

// topicList lists the topics, a line each.
func topicList() string {
	var b strings.Builder
	for _, name := range topicOrder {
		about, _, _ := topic(name)
		fmt.Fprintf(&b, "  %-14s %s\n", name, about)
	}
	return strings.TrimSuffix(b.String(), "\n")
}

// completeHelp offers the commands below those typed, and the topics.
func completeHelp(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	at, rest, err := cmd.Root().Find(args)
	if err != nil || len(rest) > 0 {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	var words []string
	for _, sub := range at.Commands() {
		if sub.IsAvailableCommand() {
			words = append(words, cobra.CompletionWithDesc(sub.Name(), sub.Short))
		}
	}
	if len(args) == 0 {
		for _, name := range slices.Sorted(slices.Values(topicOrder)) {
			about, _, _ := topic(name)
			words = append(words, cobra.CompletionWithDesc(name, about))
		}
	}
	return words, cobra.ShellCompDirectiveNoFileComp
}
