package folder

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// tallyFile holds how many lines readings.jsonl has, written after each. The
// checksums in that file show every change to it but one: whole lines taken off
// its end. A folder without a tally, as of an earlier version, gets one when it is
// next opened.
const tallyFile = "readings.count"

// tally is the open tallyFile.
type tally struct{ file file }

func openTally(dir string) (tally, error) {
	path := filepath.Join(dir, tallyFile)
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return tally{}, unwritable(path, err)
	}
	return tally{f}, nil
}

// write puts lines in place of what stood there, always as many bytes, so that no
// disk is too full for it and no kill leaves half of it.
func (t tally) write(lines int) error {
	_, err := t.file.WriteAt(fmt.Appendf(nil, "%8d lines\n", lines), 0)
	return errors.Join(err, t.file.Sync())
}

// readTally returns how many lines readings.jsonl had at least, 0 when that is not
// known.
func readTally(dir string) (int, error) {
	path := filepath.Join(dir, tallyFile)
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) || err == nil && len(data) == 0 {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	lines, err := strconv.Atoi(strings.TrimSpace(strings.TrimSuffix(string(data), " lines\n")))
	if err != nil || lines < 0 {
		return 0, fmt.Errorf("%s: not as it was written; delete it if all readings are there", path)
	}
	return lines, nil
}

// short says that readings are missing when there are fewer lines than the tally
// has.
func short(dir string, lines, tally int) error {
	if lines >= tally {
		return nil
	}
	return fmt.Errorf("%s: it had %d whole lines and has %d: its end was cut off; put back a copy from before, or delete %s to go on with what is there",
		filepath.Join(dir, readingsFile), tally, lines, tallyFile)
}
