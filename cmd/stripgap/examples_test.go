package main

import (
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// exampleWord is one word of a command line, in quotes or without blanks.
var exampleWord = regexp.MustCompile(`(?:"[^"]*"|[^\s"])+`)

// TestExamples checks that every command has examples and that each of their
// lines is one that the command would take. Nothing is run.
func TestExamples(t *testing.T) {
	var check func(*cobra.Command)
	check = func(cmd *cobra.Command) {
		for _, sub := range cmd.Commands() {
			check(sub)
		}
		if !cmd.Runnable() || cmd.Hidden {
			return
		}
		if strings.TrimSpace(cmd.Example) == "" {
			t.Errorf("%s has no example", cmd.CommandPath())
		}
		for line := range strings.Lines(cmd.Example) {
			checkExample(t, cmd.CommandPath(), strings.TrimSpace(line))
		}
	}
	check(newRootCommand())
}

func checkExample(t *testing.T, of, line string) {
	words := exampleWord.FindAllString(line, -1)
	for i, w := range words {
		words[i] = strings.ReplaceAll(w, `"`, "")
	}
	if len(words) == 0 || words[0] != "stripgap" {
		t.Errorf("%s: example %q does not begin with the program's name", of, line)
		return
	}
	root := newRootCommand()
	cmd, rest, err := root.Find(words[1:])
	if err == nil {
		err = cmd.ParseFlags(rest)
	}
	if err == nil {
		if help, _ := cmd.Flags().GetBool("help"); help {
			return
		}
		err = cmd.ValidateArgs(cmd.Flags().Args())
	}
	if err != nil {
		t.Errorf("%s: example %q: %v", of, line, err)
	}
}

// TestExamplesSee checks that a wrong example would be noticed.
func TestExamplesSee(t *testing.T) {
	for _, line := range []string{"stripgap bogus", "stripgap read --bogus a.jpg", "stripgap read", "stripgap card print", "ls"} {
		seen := &testing.T{}
		checkExample(seen, "test", line)
		if !seen.Failed() {
			t.Errorf("%q was taken", line)
		}
	}
}

// TestTopics checks that every page is listed, short and plain, and that the
// commands it shows are ones the program takes.
func TestTopics(t *testing.T) {
	files, err := topicFiles.ReadDir("topics")
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != len(topicOrder) {
		t.Errorf("%d pages, %d listed", len(files), len(topicOrder))
	}
	for _, name := range topicOrder {
		about, page, ok := topic(name)
		if !ok || about == "" || len(about) > 60 {
			t.Errorf("%s: there, with a first line of at most 60 characters? %q", name, about)
		}
		if strings.Count(page, "\n") > 45 {
			t.Errorf("%s: more than a screen", name)
		}
		for line := range strings.Lines(page) {
			if len(line) > 81 {
				t.Errorf("%s: line of %d characters: %s", name, len(line), line)
			}
			if command := strings.TrimSpace(line); strings.HasPrefix(command, "stripgap ") && strings.HasPrefix(line, "  ") {
				checkExample(t, "topic "+name, command)
			}
		}
	}
}
