package main

import (
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"stripgap/calib"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/folder"
)

func newBuildNewCommand() *cobra.Command {
	var o build.Outline
	var from string
	cmd := &cobra.Command{
		Use:   "new FOLDER",
		Short: "Make a build's folder with a build.toml to fill in",
		Long: `new makes a folder for one engine. Its build.toml names the bearings, front to
rear, and tells in comments what else to fill in: the maker's limits, the strip
lot, the journals' diameter, torques, and the measures of the parts where you have
them. Nothing that is there already is written over.

--from takes a build.toml that was filled in before, as for a second engine of the
same kind; the build is a new one all the same.`,
		Example: `  stripgap build new engine
  stripgap build new engine --mains 3 --big-ends 4 --name "blue boat" --lot thin
  stripgap build new second --from engine/build.toml`,
		Args: oneFolder,
		RunE: func(cmd *cobra.Command, args []string) error {
			for _, flag := range []string{"name", "lot", "lot-file", "mains", "big-ends"} {
				if from != "" && cmd.Flags().Changed(flag) {
					return usagef("--from takes the build as it is; write --%s's value into it", flag)
				}
			}
			text, err := newBuildText(o, from)
			if err != nil {
				return err
			}
			return makeBuild(cmd, args[0], text)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.Name, "name", "", "what to call the engine")
	f.IntVar(&o.Mains, "mains", 5, "number of main bearings, M1 and so on")
	f.IntVar(&o.BigEnds, "big-ends", 4, "number of big ends, B1 and so on")
	f.StringVar(&o.Lot, "lot", "", "name of the strip lot")
	f.StringVar(&o.LotFile, "lot-file", "", "TOML `file` of the strip lot, named from inside the folder (default your own lots)")
	f.StringVar(&from, "from", "", "`build.toml` to begin with instead")
	return cmd
}

// newBuildText is the build.toml to begin with.
func newBuildText(o build.Outline, from string) (string, error) {
	if from == "" {
		text, err := build.NewFile(o)
		if err != nil {
			return "", usageError{err}
		}
		return string(text), nil
	}
	data, err := readSome(from, build.MaxFile+1)
	if err != nil {
		return "", fmt.Errorf("--from: %w", err)
	}
	if _, err := build.Parse(data, from, calib.CheckBearing); err != nil {
		return "", err
	}
	return string(data), nil
}

func makeBuild(cmd *cobra.Command, dir, text string) error {
	id, err := calib.NewSerial(rand.Reader)
	if err != nil {
		return err
	}
	if err := folder.Create(dir, text, id); err != nil {
		return err
	}
	v, err := folder.Look(dir)
	if err != nil {
		return err
	}
	fmt.Fprintf(cmd.OutOrStdout(), "%s: build %s with %d bearings; fill in %s, then print the tags with stripgap build tags %s\n",
		dir, id, len(v.Build.Names()), v.Path("build.toml"), dir)
	for _, name := range missingLots(v) {
		fmt.Fprintf(cmd.OutOrStdout(), "%s: not there yet; its strip lot is needed to read photos\n", name)
	}
	return nil
}

// missingLots are the files of strip lots that the build names and that are not in
// its folder.
func missingLots(v folder.View) []string {
	var missing []string
	for i := range v.Build.Groups {
		file := v.Build.StripOf(&v.Build.Groups[i]).File
		if file == "" || filepath.IsAbs(file) {
			continue
		}
		path := v.Path(file)
		if _, err := os.Stat(path); err != nil && !slices.Contains(missing, path) {
			missing = append(missing, path)
		}
	}
	return missing
}
