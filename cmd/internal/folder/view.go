package folder

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"stripgap/calib"
	"stripgap/clearance/build"
)

const (
	buildFile   = "build.toml"
	photosDir   = "photos"
	picturesDir = "pictures"
)

// View is a build folder as it was at one moment.
type View struct {
	Dir     string
	Build   *build.Build
	Journal build.Journal
	Notes   []string // what was found amiss and needs no action

	hashes *hashes // of the photos; nil: none are remembered
}

// Look reads the folder at dir without writing or locking anything, so also while
// another process holds it. The beginning of a line at the end of readings.jsonl,
// which that process may be about to finish, is passed over and noted.
func Look(dir string) (View, error) {
	v, torn, err := load(dir)
	if err == nil && len(torn) > 0 {
		v.Notes = append(v.Notes, fmt.Sprintf("%s: its last line is not finished and not counted; unless another stripgap is writing it now, the next build read sets it aside", readingsFile))
	}
	return v, err
}

// load reads build.toml and readings.jsonl.
func load(dir string) (v View, torn []byte, err error) {
	v.Dir = dir
	if v.Build, err = loadBuild(dir); err != nil {
		return v, nil, err
	}
	// Before the readings, to which another process may be adding.
	lines, err := readTally(dir)
	if err != nil {
		return v, nil, err
	}
	path := filepath.Join(dir, readingsFile)
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return v, nil, fmt.Errorf("%s: missing; put it back from a copy, or begin again with build new --from %s and read the photos anew", path, buildFile)
	}
	if err != nil {
		return v, nil, err
	}
	if v.Journal, torn, err = build.ParseJournal(data, path); err != nil {
		return v, nil, err
	}
	if v.Journal.ID() == "" {
		return v, nil, fmt.Errorf("%s: empty; put it back from a copy, or begin again with build new --from %s and read the photos anew", path, buildFile)
	}
	if err := short(dir, len(v.Journal.Entries), lines); err != nil {
		return v, nil, err
	}
	v.Build.ID = v.Journal.ID()
	return v, torn, nil
}

func loadBuild(dir string) (*build.Build, error) {
	path := filepath.Join(dir, buildFile)
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s: not a build's folder: it has no %s; make one with stripgap build new", dir, buildFile)
	}
	if err != nil {
		return nil, err
	}
	return build.Parse(data, path, calib.CheckBearing)
}

// Path returns where a file of the folder is.
func (v View) Path(name string) string { return filepath.Join(v.Dir, filepath.FromSlash(name)) }

// Status works out where the build stands.
func (v View) Status() (build.Status, error) { return v.Build.Status(v.Journal) }
