package main

import (
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"stripgap/calib"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/folder"
	"stripgap/cmd/internal/report"
)

func newBuildStatusCommand() *cobra.Command {
	var format string
	var strict bool
	cmd := &cobra.Command{
		Use:   "status FOLDER",
		Short: "Tell each bearing's clearance, verdict and next step",
		Long: `status shows every bearing of a build, front to rear: how many strips were read,
the clearance they agree on, the verdicts by the limits for new parts and for parts
that have run, and what to do next. It only looks at the folder.

Exit codes: 0 done, 1 something failed, 2 wrong usage, 3 (only with --strict) a
bearing lies outside its limits.`,
		Example: `  stripgap build status engine
  stripgap build status engine --format csv
  stripgap build status engine --strict`,
		Args: oneFolder,
		RunE: func(cmd *cobra.Command, args []string) error {
			if format != "table" && format != "json" && format != "csv" {
				return usagef("--format %q: must be table, json or csv", format)
			}
			v, err := folder.Look(args[0])
			if err != nil {
				return err
			}
			tell(cmd, v.Notes)
			s, err := v.Status()
			if err != nil {
				return err
			}
			if err := showStatus(cmd, v, s, format); err != nil {
				return fmt.Errorf("the status could not be written: %w", err)
			}
			if strict && s.Outside() {
				return exitError(exitOutside)
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&format, "format", "table", "table, json or csv")
	cmd.Flags().BoolVar(&strict, "strict", false, "exit with 3 when a bearing lies outside any of its limits")
	return cmd
}

func showStatus(cmd *cobra.Command, v folder.View, s build.Status, format string) error {
	w := cmd.OutOrStdout()
	switch format {
	case "json":
		return report.StatusJSON(w, s)
	case "csv":
		return report.StatusCSV(w, s)
	}
	if err := report.StatusTable(w, s); err != nil {
		return err
	}
	for _, d := range v.Build.Doubts {
		fmt.Fprintf(w, "\nLook again at build.toml: %s.\n", d)
	}
	notes, err := outdated(v)
	if err != nil {
		return err
	}
	for _, n := range notes {
		fmt.Fprintf(w, "\n%s.\n", n)
	}
	for _, r := range unplaced(v) {
		fmt.Fprintf(w, "\nNot read, and of no known bearing: %s: %s; %s.\n", printable(r.Photos[0].Name), r.Message, r.Remedy)
	}
	jobs, problems := v.Plan(folder.Ask{})
	if n := len(jobs); n > 0 {
		fmt.Fprintf(w, "\nIn photos/ there are strips not read yet: %d. To read them: stripgap build read %s\n", n, v.Dir)
	}
	tell(cmd, errorTexts(problems))
	return nil
}

// outdated tells of readings that were made by what is no longer held true of their
// strip lot or sheet of cards.
func outdated(v folder.View) (notes []string, err error) {
	sheets, err := knownSheets()
	if err != nil {
		return nil, err
	}
	for _, n := range v.LotsChanged(lotsFor(v.Dir)) {
		notes = append(notes, "Look again at the strip lot: "+n)
	}
	for _, n := range v.PrintsChanged(calib.Prints(sheets)) {
		notes = append(notes, "Look again at the cards: "+n)
	}
	return notes, nil
}

func errorTexts(list []error) []string {
	var texts []string
	for _, err := range list {
		texts = append(texts, err.Error())
	}
	return texts
}

// unplaced are the photos last refused of which no bearing is known, each once.
func unplaced(v folder.View) []build.Refused {
	var list []build.Refused
	seen := map[string]bool{}
	for _, r := range slices.Backward(v.Journal.Refusals()) {
		photo := r.Photos[0].SHA256
		_, _, known := v.Build.Find(r.Bearing)
		if read, _ := v.Journal.Tried(photo); !known && !read && !seen[photo] {
			list = append(list, r)
		}
		seen[photo] = true
	}
	slices.Reverse(list)
	return list
}
