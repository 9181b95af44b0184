// Package wholefile writes files whole or not at all. It does not know what is in
// them.
package wholefile

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// Stage writes a synced temporary file beside path, to be renamed over it, and
// returns its name. The file exists, for the caller to rename or remove, unless
// the name is empty.
func Stage(path string, write func(io.Writer) error) (temporary string, err error) {
	f, err := os.CreateTemp(filepath.Dir(path), ".stripgap-*")
	if err != nil {
		var why *fs.PathError
		if errors.As(err, &why) {
			why.Path = path // the name that its reader knows
		}
		return "", err
	}
	err = errors.Join(write(f), f.Chmod(0o644), f.Sync(), f.Close())
	return f.Name(), err
}

// Write puts data into the file at path: staged beside it, then renamed over it.
func Write(path string, data []byte) error {
	temporary, err := Stage(path, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
	if err == nil {
		err = os.Rename(temporary, path)
	}
	if err != nil && temporary != "" {
		os.Remove(temporary)
	}
	return err
}
