package main

import (
	"fmt"
	"path/filepath"
	"sync"

	"github.com/spf13/cobra"

	"stripgap/calib"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/folder"
)

func newBuildCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "build",
		Short: "Carry a whole engine from the first strip to the signed record",
		Long: `build keeps one engine in a folder: its bearings and limits in build.toml, its
photos, and every reading in readings.jsonl, to which lines are only ever added.

  stripgap build new FOLDER      makes the folder; fill in its build.toml
  stripgap build tags FOLDER     prints a tag for each bearing
  (put the photos into FOLDER/photos)
  stripgap build read FOLDER     reads the new photos
  stripgap build status FOLDER   tells each bearing's clearance and what to do next
  stripgap build report FOLDER   writes the record, to read, print and sign`,
		Example: `  stripgap build new engine
  stripgap build status engine`,
	}
	cmd.AddCommand(newBuildNewCommand(), newBuildTagsCommand(), newBuildReadCommand(), newBuildStatusCommand(), newBuildReportCommand(), newBuildWithdrawCommand())
	return cmd
}

// oneFolder is the argument of commands that take a build's folder.
func oneFolder(_ *cobra.Command, args []string) error {
	if len(args) != 1 || args[0] == "" {
		return fmt.Errorf("name the build's folder, and only that")
	}
	return nil
}

// openBuild takes a build's folder to write in it, and says what was found amiss.
// The caller closes it.
func openBuild(cmd *cobra.Command, dir string) (*folder.Folder, error) {
	f, err := folder.Open(dir, cmd.CommandPath())
	if err != nil {
		return nil, err
	}
	tell(cmd, f.View().Notes)
	return f, nil
}

// tell says each note on a line of its own.
func tell(cmd *cobra.Command, notes []string) {
	for _, n := range notes {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s: %s\n", cmd.CommandPath(), n)
	}
}

// lotsFor finds the strip lots that a build's folder names: in a file, or among
// the person's own. Each file is read once, however many ask at the same time.
func lotsFor(dir string) folder.Lots {
	type read struct {
		lots []calib.Lot
		err  error
	}
	var one sync.Mutex
	files := map[string]read{}
	return func(s build.Strip) (calib.Lot, error) {
		one.Lock()
		defer one.Unlock()
		r, seen := files[s.File]
		if !seen {
			r.lots, r.err = lotsIn(dir, s.File)
			files[s.File] = r
		}
		if r.err != nil {
			return calib.Lot{}, r.err
		}
		if len(r.lots) == 0 {
			return calib.Lot{}, fmt.Errorf("no strip lot is known yet; learn one with stripgap strip add, or name a file with strip_file")
		}
		return calib.FindLot(r.lots, s.Lot)
	}
}

// lotsIn reads the lots of a file below the folder, or the person's own where
// there is none named.
func lotsIn(dir, file string) ([]calib.Lot, error) {
	if file == "" {
		return knownLots()
	}
	path := file
	if !filepath.IsAbs(path) {
		path = filepath.Join(dir, filepath.FromSlash(file))
	}
	data, err := readSome(path, maxLotFile)
	if err != nil {
		return nil, fmt.Errorf("%w; strip_file is named from inside the folder", err)
	}
	return calib.ParseLots(data, path)
}
