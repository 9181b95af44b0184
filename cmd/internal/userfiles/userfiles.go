// Package userfiles reads and writes what the program remembers of a person's
// phone, sheets and strips, as TOML files in one folder of the person's own. It
// does not know what is in them.
package userfiles

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/rogpeppe/go-internal/lockedfile"

	"stripgap/cmd/internal/wholefile"
)

// folder is the program's part of the configuration folder.
const folder = "stripgap"

// Path returns where the file of that name is kept: in the folder stripgap of
// $XDG_CONFIG_HOME where that is an absolute path, as the XDG base directory
// specification asks, or else of ~/.config.
func Path(name string) (string, error) {
	if base := os.Getenv("XDG_CONFIG_HOME"); filepath.IsAbs(base) {
		return filepath.Join(base, folder, name), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("no folder to keep %s in: %w; set XDG_CONFIG_HOME", name, err)
	}
	return filepath.Join(home, ".config", folder, name), nil
}

// Read returns the file of that name and its path. Where there is no such file,
// or nowhere to keep one, nothing is remembered: no data and no error.
func Read(name string) (data []byte, path string, err error) {
	if path, err = Path(name); err != nil {
		return nil, "", nil
	}
	data, err = os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, path, nil
	}
	return data, path, err
}

// Update changes the file of that name: change gets what it holds, nil where there
// is no such file, and returns what it is to hold. The file is replaced whole or
// not at all, the folder made where it is missing. Nobody else's Update comes in
// between, in this program or another run of it: they wait for one another by a
// lock beside the file. An error of change leaves the file as it was.
func Update(name string, change func(data []byte, path string) ([]byte, error)) (path string, err error) {
	if path, err = Path(name); err != nil {
		return "", err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return "", err
	}
	unlock, err := lockedfile.MutexAt(path + ".lock").Lock()
	if err != nil {
		return "", err
	}
	defer unlock()
	data, _, err := Read(name)
	if err != nil {
		return "", err
	}
	if data, err = change(data, path); err != nil {
		return "", err
	}
	return path, wholefile.Write(path, data)
}
