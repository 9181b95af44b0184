package folder

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"stripgap/calib"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/wholefile"
)

// Create makes a build folder at dir with text as its build.toml and id as the
// build's, which calib.NewSerial draws. The folder may exist; a build in it is
// never written over. Text that is no build is refused before anything is made.
func Create(dir, text, id string) error {
	if _, err := build.Parse([]byte(text), buildFile, calib.CheckBearing); err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return unwritable(dir, err)
	}
	held, err := lock(dir, "stripgap build new")
	if err != nil {
		return err
	}
	defer held.Close()
	if err := untaken(dir); err != nil {
		return err
	}
	// Of readings that were moved away.
	if err := os.Remove(filepath.Join(dir, tallyFile)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return unwritable(filepath.Join(dir, tallyFile), err)
	}
	for _, sub := range []string{photosDir, picturesDir} {
		if err := os.MkdirAll(filepath.Join(dir, sub), 0o755); err != nil {
			return unwritable(filepath.Join(dir, sub), err)
		}
	}
	_, line, err := build.Journal{}.With(build.Entry{Begun: &build.Begun{Build: id}}, time.Now())
	if err != nil {
		return err
	}
	err = writeNew(dir, map[string][]byte{readingsFile: line, buildFile: []byte(text)}, readingsFile, buildFile)
	if err != nil {
		return err
	}
	return syncFolder(filepath.Dir(filepath.Clean(dir)))
}

// untaken refuses a folder with a build or readings in it. A file of readings that
// has only its first line was left by a Create that was cut off.
func untaken(dir string) error {
	for _, name := range []string{buildFile, readingsFile} {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return err
		}
		j, _, err := build.ParseJournal(data, name)
		if name == readingsFile && err == nil && len(j.Entries) <= 1 {
			continue
		}
		return fmt.Errorf("%s: has a %s already, which is never written over; name another folder", dir, name)
	}
	return nil
}

// writeNew writes the files in the order named, all or none.
func writeNew(dir string, files map[string][]byte, order ...string) error {
	for i, name := range order {
		path := filepath.Join(dir, name)
		if err := wholefile.Write(path, files[name]); err != nil {
			for _, done := range order[:i] {
				os.Remove(filepath.Join(dir, done))
			}
			return unwritable(path, err)
		}
	}
	return syncFolder(dir)
}
