package folder

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// ErrInUse is wrapped by the refusal to open a folder that another process holds.
var ErrInUse = errors.New("the build is in use")

const lockFile = ".lock"

// lock takes the folder for this process, which by names. The lock goes when the
// file is closed, and so with the process however it ends. The file stays.
func lock(dir, by string) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(dir, lockFile), os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, unwritable(dir, err)
	}
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		defer f.Close()
		return nil, fmt.Errorf("%s: %w by %s; wait until that has ended, or end it", dir, ErrInUse, holder(f))
	}
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("%s: the folder cannot be locked: %w; keep builds on a disk of this computer", dir, err)
	}
	// Only words for whoever finds it locked; the lock holds without them.
	if f.Truncate(0) == nil {
		fmt.Fprintf(f, "%s (process %d)\n", by, os.Getpid())
	}
	return f, nil
}

// holder is what the process that holds the lock wrote into it.
func holder(f *os.File) string {
	text, _ := io.ReadAll(io.LimitReader(f, 200))
	if line := strings.TrimSpace(string(text)); line != "" {
		return line
	}
	return "another stripgap"
}

// unwritable says what it means that a file of the folder cannot be written.
func unwritable(path string, err error) error {
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT), errors.Is(err, syscall.EFBIG):
		return fmt.Errorf("%s: %w: nothing was lost, nothing was added; make room and run the command again", path, err)
	case errors.Is(err, os.ErrPermission), errors.Is(err, syscall.EROFS):
		return fmt.Errorf("%s: %w: the folder may only be looked at (build status); get leave to write, or copy it to where you may", path, err)
	}
	return fmt.Errorf("%s: %w", path, err)
}
