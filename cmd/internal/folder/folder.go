package folder

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"stripgap/clearance/build"
)

// Folder is a build folder that this process holds and writes to. It may be used
// by several goroutines at once.
type Folder struct {
	mu   sync.Mutex
	view View
	lock *os.File
	log  log
	kept tally
	now  func() time.Time
}

// Open takes the folder at dir for the process that by names ("stripgap serve").
// A torn last line of readings.jsonl is set aside into a file of its own, which
// the view's notes name. Errors: ErrInUse, a folder that may not be written to,
// and build.toml or readings.jsonl not as they should be, with the place.
func Open(dir, by string) (*Folder, error) {
	// Looked at first, so that a folder that is no build gets no lock.
	if _, err := os.Stat(filepath.Join(dir, buildFile)); err != nil {
		_, _, err := load(dir)
		return nil, err
	}
	held, err := lock(dir, by)
	if err != nil {
		return nil, err
	}
	f := &Folder{lock: held, now: time.Now}
	if err := f.open(dir); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

func (f *Folder) open(dir string) error {
	view, torn, err := load(dir)
	if err != nil {
		return err
	}
	path := filepath.Join(dir, readingsFile)
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return unwritable(path, err)
	}
	f.view, f.log = view, log{file: file, path: path}
	f.view.hashes = &hashes{known: map[string]hashedFile{}}
	info, err := file.Stat()
	if err != nil {
		return err
	}
	f.log.size = info.Size() - int64(len(torn))
	// What a process wrote that was killed before its sync counts from now on.
	if err := file.Sync(); err != nil {
		return unwritable(path, err)
	}
	if len(torn) > 0 {
		name, err := f.log.setAside(torn)
		if err != nil {
			return err
		}
		f.view.Notes = append(f.view.Notes, fmt.Sprintf("%s: its last line was cut off while it was written; it is now in %s, and its photo will be read again", readingsFile, name))
	}
	if f.kept, err = openTally(dir); err != nil {
		return err
	}
	if err := f.kept.write(len(view.Journal.Entries)); err != nil {
		return unwritable(filepath.Join(dir, tallyFile), err)
	}
	for _, sub := range []string{photosDir, picturesDir} {
		if err := os.MkdirAll(filepath.Join(dir, sub), 0o755); err != nil {
			return unwritable(sub, err)
		}
		sweep(filepath.Join(dir, sub))
	}
	return nil
}

// sweep removes the files that a killed process had not finished. Nobody else
// writes here while this process holds the folder.
func sweep(dir string) {
	entries, _ := os.ReadDir(dir)
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".stripgap-") && e.Type().IsRegular() {
			os.Remove(filepath.Join(dir, e.Name()))
		}
	}
}

// Close gives the folder back.
func (f *Folder) Close() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	var err error
	if f.log.file != nil {
		err = f.log.file.Close()
		f.log.broken = errors.New("the folder is closed")
	}
	if f.kept.file != nil {
		err = errors.Join(err, f.kept.file.Close())
	}
	return errors.Join(err, f.lock.Close())
}

// View returns the folder as it is now.
func (f *Folder) View() View {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.view
}

// Reload reads build.toml again, which a person may have changed. With an error
// the build stays as it was.
func (f *Folder) Reload() error {
	b, err := loadBuild(f.View().Dir)
	if err != nil {
		return err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	b.ID = f.view.Journal.ID()
	f.view.Build = b
	return nil
}

// add writes one entry; make gets the journal that it follows.
func (f *Folder) add(make func(build.Journal) build.Entry) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	next, line, err := f.view.Journal.With(make(f.view.Journal), f.now())
	if err != nil {
		return err
	}
	if err := f.log.append(line); err != nil {
		return err
	}
	f.view.Journal = next
	// The line is safe without its tally, which the next line puts right.
	_ = f.kept.write(len(next.Entries))
	return nil
}

// Accept adds a reading. It gives it its number and, where Strip is 0, that of a
// strip newly laid at this place. The reading is on the disk when Accept returns
// without an error. A photo that a standing reading was made from is refused.
func (f *Folder) Accept(r build.Reading) (build.Reading, error) {
	err := f.add(func(j build.Journal) build.Entry {
		r.Number = j.NextNumber()
		if r.Strip == 0 {
			r.Strip = j.NextStrip(r.Bearing, r.Position)
		}
		return build.Entry{Reading: &r}
	})
	return r, err
}

// Refuse notes that a photo, or a pair, could not be read.
func (f *Folder) Refuse(r build.Refused) error {
	return f.add(func(build.Journal) build.Entry { return build.Entry{Refused: &r} })
}

// Withdraw takes a reading back, with the reason. Its line, its photo and its
// picture stay.
func (f *Folder) Withdraw(number int, reason string) error {
	return f.add(func(build.Journal) build.Entry {
		return build.Entry{Withdraw: &build.Withdrawal{Number: number, Reason: strings.TrimSpace(reason)}}
	})
}

// AddSheet notes that a sheet of tags belongs to this build.
func (f *Folder) AddSheet(s build.Sheet) error {
	return f.add(func(build.Journal) build.Entry { return build.Entry{Sheet: &s} })
}
