package folder

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

const readingsFile = "readings.jsonl"

// file is what a log needs of a file, so that tests can make one that fails.
type file interface {
	WriteAt(p []byte, off int64) (int, error)
	Truncate(size int64) error
	Sync() error
	Close() error
}

// log appends lines to a file. A line is on the disk when append returns, or not
// in the file at all.
type log struct {
	file   file
	path   string
	size   int64 // of the whole lines
	broken error // why nothing more can be written
}

// append writes one line at the end. When that fails, what was written of it is
// taken back; when even that fails, the log takes no more: the next to open the
// file finds a torn line and sets it aside.
func (l *log) append(line []byte) error {
	if l.broken != nil {
		return l.broken
	}
	_, err := l.file.WriteAt(line, l.size)
	if err == nil {
		err = l.file.Sync()
	}
	if err == nil {
		l.size += int64(len(line))
		return nil
	}
	if back := errors.Join(l.file.Truncate(l.size), l.file.Sync()); back != nil {
		l.broken = fmt.Errorf("%s: an earlier line could neither be written nor taken back (%w); end the program and start it again", l.path, back)
	}
	return unwritable(l.path, err)
}

// setAside moves the torn end of the file into one of its own beside it, whose
// name it returns: first it is safe there, then it is cut off.
func (l *log) setAside(torn []byte) (string, error) {
	var side *os.File
	var name string
	for n := 1; side == nil; n++ {
		name = fmt.Sprintf("readings-torn-%d.txt", n)
		f, err := os.OpenFile(filepath.Join(filepath.Dir(l.path), name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil && !errors.Is(err, os.ErrExist) {
			return "", unwritable(name, err)
		}
		side = f
	}
	_, err := side.Write(torn)
	if err = errors.Join(err, side.Sync(), side.Close()); err == nil {
		err = syncFolder(filepath.Dir(l.path))
	}
	if err != nil {
		os.Remove(side.Name())
		return "", unwritable(name, err)
	}
	if err := errors.Join(l.file.Truncate(l.size), l.file.Sync()); err != nil {
		return "", unwritable(l.path, err)
	}
	return name, nil
}

// syncFolder makes the names in a folder safe on the disk.
func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
