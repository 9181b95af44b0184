package main

import (
	"crypto/rand"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"stripgap/calib"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/folder"
)

// buildTags is what the command line asks of `build tags`.
type buildTags struct {
	print    cardPrint
	known    string
	bearings []string
}

func newBuildTagsCommand() *cobra.Command {
	var t buildTags
	cmd := &cobra.Command{
		Use:   "tags FOLDER",
		Short: "Print a tag for each bearing of a build",
		Long: `tags writes a sheet with a tag for each bearing, a bench card and two long check
bars, and notes in the folder that the sheet is this build's: build read takes no
tag of another build. Print it at 100 %, measure both bars with callipers and give
the figures to stripgap card check.

A sheet has room for 24 tags; --bearings prints some of them. --sheet prints
nothing and notes that a sheet printed elsewhere is this build's.`,
		Example: `  stripgap build tags engine
  stripgap build tags engine --out tags.svg --paper letter
  stripgap build tags engine --bearings M1,M2
  stripgap build tags engine --sheet 6C3H2P`,
		Args: oneFolder,
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := t.check(cmd.Flags().Changed, args[0]); err != nil {
				return err
			}
			return t.run(cmd, args[0])
		},
	}
	f := cmd.Flags()
	f.StringVar(&t.print.out, "out", "", "file to write; its ending .pdf, .svg or .png chooses the format (default tags.pdf in FOLDER)")
	f.StringVar(&t.print.paper, "paper", "a4", "paper of the sheet: a4 or letter")
	f.IntVar(&t.print.dpi, "dpi", 600, fmt.Sprintf("dots per inch of a PNG, %d to %d", calib.MinDPI, calib.MaxDPI))
	f.StringSliceVar(&t.bearings, "bearings", nil, "bearings to print tags for, such as M1,M2 (default all)")
	f.StringVar(&t.known, "sheet", "", "`serial` of a sheet printed elsewhere that is this build's")
	f.BoolVar(&t.print.force, "force", false, "overwrite an existing file")
	return cmd
}

func (t *buildTags) check(changed func(string) bool, dir string) error {
	for _, other := range []string{"out", "bearings"} {
		if err := exclusive(changed, "sheet", other); err != nil {
			return err
		}
	}
	if changed("sheet") {
		t.known = strings.ToUpper(t.known)
		if err := calib.CheckSerial(t.known); err != nil {
			return usagef("--sheet: %w", err)
		}
		return nil
	}
	if t.print.out == "" {
		t.print.out = filepath.Join(dir, "tags.pdf")
	}
	t.print.card = "sheet"
	return t.print.check(changed)
}

func (t *buildTags) run(cmd *cobra.Command, dir string) error {
	f, err := openBuild(cmd, dir)
	if err != nil {
		return err
	}
	defer f.Close()
	if t.known != "" {
		return t.note(cmd, f, t.known, nil)
	}
	bearings := f.View().Build.Names()
	for _, b := range t.bearings {
		if !slices.Contains(bearings, b) {
			return usagef("--bearings: %q is not in %s", b, f.View().Path("build.toml"))
		}
	}
	if len(t.bearings) > 0 {
		bearings = t.bearings
	}
	if t.print.serial, err = calib.NewSerial(rand.Reader); err != nil {
		return err
	}
	t.print.tags = bearings
	if err := t.write(f); err != nil {
		return err
	}
	_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s: sheet %s with %d tags; print it at 100 %%, measure its bars, then stripgap card check --serial %s\n",
		t.print.out, t.print.serial, len(bearings), t.print.serial)
	return err
}

// write notes the sheet and writes it, in this order: a sheet that was noted and
// then could not be written does no harm, one that is printed and not known does.
func (t *buildTags) write(f *folder.Folder) error {
	page, err := t.print.page()
	if err != nil {
		return err
	}
	files := t.print.files(page)
	if err := mayWrite(files, t.print.force); err != nil {
		return err
	}
	if err := f.AddSheet(build.Sheet{Serial: t.print.serial, Bearings: t.print.tags}); err != nil {
		return err
	}
	return writeFiles(files, t.print.force)
}

// note makes a sheet printed elsewhere the build's.
func (t *buildTags) note(cmd *cobra.Command, f *folder.Folder, serial string, bearings []string) error {
	if slices.ContainsFunc(f.View().Journal.Sheets(), func(s build.Sheet) bool { return s.Serial == serial }) {
		return errors.New("sheet " + serial + " is this build's already")
	}
	if err := f.AddSheet(build.Sheet{Serial: serial, Bearings: bearings}); err != nil {
		return err
	}
	_, err := fmt.Fprintf(cmd.OutOrStdout(), "sheet %s is now this build's\n", serial)
	return err
}
