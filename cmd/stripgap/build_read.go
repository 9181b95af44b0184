package main

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stripgap/calib"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/folder"
	"stripgap/cmd/internal/pipeline"
)

const buildReadHelp = `read reads every photo in FOLDER/photos that was not read before and adds what it
found to readings.jsonl. Photos are known by their bytes: reading twice adds
nothing. A photo named on the command line that lies elsewhere is copied into
FOLDER/photos first.

A photo belongs to the bearing whose tag lies beside the strip, or whose name its
own begins with; the rest of its name may say more:

  M1.jpg                       the bearing M1
  M1-90deg.jpg                 at 90 deg round the journal
  M1-strip2.jpg                the second strip there (else one newly laid)
  M1-journal.jpg               it lies on the journal (shell, journal or flat)
  M1-left.jpg, M1-right.jpg    one strip from two sides: read together

Only -left and -right make a pair; numbers never do. Two photos of one strip that
are no pair count as two strips unless their names say -strip1 both; where the
camera's clock says that they can hardly be two, the status asks. What is said
with --bearing, --position, --strip, --on and --strip-lot goes before the name.

A photo that is refused is noted with the reason and not tried again until --again
asks for it or it is named. A reading is taken back with stripgap build withdraw.

Exit codes: 0 all read, 1 something was refused or failed, 2 wrong usage,
3 (only with --strict) a bearing lies outside its limits.`

// buildRead is what the command line asks of `build read`.
type buildRead struct {
	ask      folder.Ask
	position string
	on       string
	jobs     int
	strict   bool
}

func newBuildReadCommand() *cobra.Command {
	var r buildRead
	cmd := &cobra.Command{
		Use:   "read FOLDER [PHOTO...]",
		Short: "Read a build's new photos",
		Long:  buildReadHelp,
		Example: `  stripgap build read engine
  stripgap build read engine IMG_0012.jpg --bearing M3
  stripgap build read engine left.jpg right.jpg --pair --bearing B1
  stripgap build read engine --again`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return fmt.Errorf("name the build's folder, then photos if only some are meant")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := r.check(len(args) - 1); err != nil {
				return err
			}
			return r.run(cmd, args[0], args[1:])
		},
	}
	r.register(cmd.Flags())
	return cmd
}

func (r *buildRead) register(f *pflag.FlagSet) {
	f.StringVar(&r.ask.Bearing, "bearing", "", "bearing that the photos show")
	f.StringVar(&r.position, "position", "", "where round the journal the strip lies, such as 90deg")
	f.IntVar(&r.ask.Strip, "strip", 0, "which strip laid at this place the photos show, from 1 (default one newly laid)")
	f.StringVar(&r.on, "on", "", "what strip and card lie on: shell, journal or flat (default as build.toml says)")
	f.StringVar(&r.ask.Lot.Lot, "strip-lot", "", "`name` of the strip lot, where it is not the one in build.toml")
	f.StringVar(&r.ask.Lot.File, "strip-file", "", "TOML `file` of that lot, named from inside the folder")
	f.BoolVar(&r.ask.Pair, "pair", false, "every two of the photos named show one strip from two sides")
	f.BoolVar(&r.ask.Again, "again", false, "try the photos again that were refused")
	f.BoolVar(&r.strict, "strict", false, "exit with 3 when a bearing lies outside any of its limits")
	f.IntVar(&r.jobs, "jobs", runtime.GOMAXPROCS(0), "photos read at the same time")
}

func (r *buildRead) check(photos int) error {
	switch {
	case r.jobs < 1:
		return usagef("--jobs %d: must be 1 or more", r.jobs)
	case r.ask.Pair && (photos == 0 || photos%2 != 0):
		return usagef("--pair needs two photos named for each strip; %d were", photos)
	case r.ask.Strip < 0:
		return usagef("--strip %d: strips count from 1", r.ask.Strip)
	}
	var err error
	if r.position != "" {
		if r.ask.Position, err = position(r.position); err != nil {
			return usagef("--position: %w", err)
		}
	}
	if r.ask.On, err = build.ParseSurface(r.on); err != nil {
		return usagef("--on: %w", err)
	}
	return nil
}

func position(s string) (*float64, error) {
	a, err := build.ParseAngle(s)
	return &a, err
}

func (r *buildRead) run(cmd *cobra.Command, dir string, photos []string) error {
	f, err := openBuild(cmd, dir)
	if err != nil {
		return err
	}
	defer f.Close()
	if r.ask.Bearing != "" {
		if _, _, ok := f.View().Build.Find(r.ask.Bearing); !ok {
			return usagef("--bearing: %q is not in %s", r.ask.Bearing, f.View().Path("build.toml"))
		}
	}
	if r.ask.Only, err = bringIn(f, photos); err != nil {
		return err
	}
	lots := lotsFor(dir)
	if r.ask.Lot.Named() {
		if _, err := lots(r.ask.Lot); err != nil {
			return fmt.Errorf("--strip-lot: %w", err)
		}
	}
	given, err := buildGiven(f.View(), lots)
	if err != nil {
		return err
	}
	jobs, problems := f.View().Plan(r.ask)
	for _, p := range problems {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s: %v\n", cmd.CommandPath(), p)
	}
	if len(jobs) == 0 && len(problems) == 0 {
		fmt.Fprintln(cmd.OutOrStdout(), nothingNew(f.View(), r.ask))
	}
	batch := &buildBatch{cmd: cmd, folder: f, jobs: jobs, outcomes: make([]*folder.Outcome, len(jobs)), failed: len(problems) > 0}
	if err := batch.read(given, lots, r.jobs); err != nil {
		return err
	}
	return r.exit(f, batch.failed)
}

// nothingNew says that no photo was left to read, and how many would be tried anew.
func nothingNew(v folder.View, ask folder.Ask) string {
	ask.Again = true
	text := "photos/: nothing new to read"
	if refused, _ := v.Plan(ask); len(refused) > 0 {
		text += fmt.Sprintf("; refused before: %d, to try again with --again", len(refused))
	}
	return text
}

// bringIn copies photos that lie elsewhere into the folder, and returns what all
// are called there.
func bringIn(f *folder.Folder, photos []string) ([]string, error) {
	var names []string
	for _, arg := range photos {
		inside := f.View().Path("photos/" + filepath.Base(arg))
		if there, err := os.Stat(inside); err == nil {
			if given, err := os.Stat(arg); err != nil && filepath.Base(arg) == arg || err == nil && os.SameFile(there, given) {
				names = append(names, filepath.Base(arg))
				continue
			}
		}
		data, err := readSome(arg, maxPhotoFile+1)
		if err != nil {
			return nil, fmt.Errorf("%w; name a photo, or one in %s", err, f.View().Path("photos"))
		}
		if len(data) > maxPhotoFile {
			return nil, fmt.Errorf("%s: larger than any photo that can be read", arg)
		}
		p, err := f.AddPhoto(arg, data)
		if err != nil {
			return nil, err
		}
		names = append(names, p.Name)
	}
	return names, nil
}

// maxPhotoFile is what vision reads of a photo at most, in bytes.
const maxPhotoFile = 64 << 20

// buildGiven is what a build tells its readers.
func buildGiven(v folder.View, lots folder.Lots) (pipeline.Given, error) {
	settings, err := v.Settings(lots)
	if err != nil {
		return pipeline.Given{}, err
	}
	phones, err := knownPhones()
	if err != nil {
		return pipeline.Given{}, err
	}
	sheets, err := knownSheets()
	if err != nil {
		return pipeline.Given{}, err
	}
	g := pipeline.Given{Phones: phones, Settings: settings, TaperLimit: v.Build.TaperLimit, Coverage: v.Build.Coverage, BarePictures: true}
	g.Options.Prints = calib.Prints(sheets)
	return g, nil
}

// exit is nil when all went well.
func (r *buildRead) exit(f *folder.Folder, failed bool) error {
	if r.strict {
		s, err := f.View().Status()
		if err != nil {
			return err
		}
		if s.Outside() {
			return exitError(exitOutside)
		}
	}
	if failed {
		return exitError(exitFailed)
	}
	return nil
}
