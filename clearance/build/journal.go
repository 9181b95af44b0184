package build

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"
)

// Journal is what readings.jsonl holds: every entry ever written, in order. The
// zero Journal is an empty file. A Journal is never changed, only followed by a
// longer one.
type Journal struct {
	Entries []Entry
	sum     string // of the last line
}

// ErrNewer is wrapped by errors about lines of a later schema.
var ErrNewer = errors.New("written by a later version of the program")

// Each line is one JSON object that ends in its own checksum,
//
//	{"schema":1,"line":2,...,"sum":"<64 hexadecimal digits>"}
//
// the SHA-256 of the checksum of the line before (nothing before the first) and
// of the line's own bytes without `,"sum":"..."`. So a line that is changed, put
// in, taken out or moved breaks the chain there. Lines taken off the end leave no
// trace in the file; the folder's tally shows them (cmd/internal/folder).
const sumKey = `,"sum":"`

const sumLength = 2 * sha256.Size

func lineSum(previous string, body []byte) string {
	h := sha256.New()
	h.Write([]byte(previous))
	h.Write(body)
	return hex.EncodeToString(h.Sum(nil))
}

// With returns the journal that follows when the entry is written at the time, and
// the line that has to be written for it. It sets the entry's schema, line and
// time. An entry that makes no sense after what stands already is refused.
func (j Journal) With(e Entry, at time.Time) (Journal, []byte, error) {
	e.Schema, e.Line, e.Time = Schema, len(j.Entries)+1, at.UTC().Format(time.RFC3339)
	if err := j.check(e); err != nil {
		return j, nil, err
	}
	body, err := json.Marshal(e)
	if err != nil {
		return j, nil, fmt.Errorf("an entry that cannot be written down: %w", err)
	}
	sum := lineSum(j.sum, body)
	line := append(body[:len(body)-1:len(body)-1], sumKey+sum+"\"}\n"...)
	return Journal{append(slices.Clip(j.Entries), e), sum}, line, nil
}

// ParseJournal reads readings.jsonl. torn is what follows the last whole line: the
// beginning of a line whose writing was cut off. It is no entry, and no error.
// file names the data in errors, which tell the line and what to do.
func ParseJournal(data []byte, file string) (j Journal, torn []byte, err error) {
	for len(data) > 0 {
		end := bytes.IndexByte(data, '\n')
		if end < 0 {
			return j, data, nil
		}
		if j, err = j.parseLine(data[:end]); err != nil {
			return Journal{}, nil, fmt.Errorf("%s:%d: %w", file, len(j.Entries)+1, err)
		}
		data = data[end+1:]
	}
	return j, nil, nil
}

// errEdited is what to do about a line that is not as it was written.
var errEdited = errors.New("this line is not as it was written; readings are never changed by hand: put back a copy of the file " +
	"from before, or move it away, begin again with build new --from build.toml and read the photos anew")

func (j Journal) parseLine(line []byte) (Journal, error) {
	cut := len(line) - len(sumKey) - sumLength - len(`"}`)
	if cut < 1 || !bytes.HasPrefix(line[cut:], []byte(sumKey)) || !bytes.HasSuffix(line, []byte(`"}`)) {
		return j, errEdited
	}
	body := append(slices.Clone(line[:cut]), '}')
	sum := string(line[cut+len(sumKey) : len(line)-len(`"}`)])
	if lineSum(j.sum, body) != sum {
		return j, errEdited
	}
	var e Entry
	if err := json.Unmarshal(body, &e); err != nil {
		return j, fmt.Errorf("%w (%v)", errEdited, err)
	}
	if e.Schema > Schema {
		return j, fmt.Errorf("%w; use that one", ErrNewer)
	}
	if err := j.check(e); err != nil {
		return j, err
	}
	return Journal{append(j.Entries, e), sum}, nil
}

// check refuses an entry that cannot follow what stands already.
func (j Journal) check(e Entry) error {
	parts := 0
	for _, there := range []bool{e.Begun != nil, e.Sheet != nil, e.Reading != nil, e.Refused != nil, e.Withdraw != nil} {
		if there {
			parts++
		}
	}
	switch {
	case parts != 1 || e.Line != len(j.Entries)+1:
		return fmt.Errorf("line %d with %d parts cannot stand here", e.Line, parts)
	case (e.Begun != nil) != (e.Line == 1):
		return errors.New("a file of readings begins with its build, once")
	case e.Reading != nil:
		return j.checkReading(*e.Reading)
	case e.Refused != nil && len(e.Refused.Photos) == 0:
		return errors.New("a refusal has no photo")
	case e.Withdraw != nil:
		return j.checkWithdrawal(*e.Withdraw)
	}
	return nil
}

func (j Journal) checkReading(r Reading) error {
	if r.Number != j.NextNumber() {
		return fmt.Errorf("reading %d cannot follow; the next is %d", r.Number, j.NextNumber())
	}
	if len(r.Photos) == 0 {
		return fmt.Errorf("reading %d has no photo", r.Number)
	}
	for _, p := range r.Photos {
		if n, ok := j.ReadingOf(p.SHA256); ok {
			return fmt.Errorf("%s is the photo of reading %d already", p.Name, n)
		}
	}
	_, err := r.Gauged()
	return err
}

func (j Journal) checkWithdrawal(w Withdrawal) error {
	if w.Reason == "" {
		return errors.New("a reading is taken back with a reason only")
	}
	if w.Number < 1 || w.Number >= j.NextNumber() {
		return fmt.Errorf("there is no reading %d", w.Number)
	}
	if reason, ok := j.Withdrawn(w.Number); ok {
		return fmt.Errorf("reading %d is taken back already: %s", w.Number, reason)
	}
	return nil
}

// ID is the build's whose readings these are, empty for an empty journal.
func (j Journal) ID() string {
	if len(j.Entries) == 0 {
		return ""
	}
	return j.Entries[0].Begun.Build
}

// NextNumber is the number of the next reading.
func (j Journal) NextNumber() int {
	for _, e := range slices.Backward(j.Entries) {
		if e.Reading != nil {
			return e.Reading.Number + 1
		}
	}
	return 1
}

// Readings lists all readings, those taken back included, by number.
func (j Journal) Readings() []Reading {
	var list []Reading
	for _, e := range j.Entries {
		if e.Reading != nil {
			list = append(list, *e.Reading)
		}
	}
	return list
}

// Standing lists the readings that are not taken back, by number.
func (j Journal) Standing() []Reading {
	return slices.DeleteFunc(j.Readings(), func(r Reading) bool {
		_, gone := j.Withdrawn(r.Number)
		return gone
	})
}

// Withdrawn returns why a reading was taken back, and whether it was.
func (j Journal) Withdrawn(number int) (reason string, ok bool) {
	for _, e := range j.Entries {
		if e.Withdraw != nil && e.Withdraw.Number == number {
			return e.Withdraw.Reason, true
		}
	}
	return "", false
}

// ReadingOf returns the standing reading made from a photo.
func (j Journal) ReadingOf(sha256 string) (number int, ok bool) {
	for _, e := range slices.Backward(j.Entries) {
		if e.Reading == nil || !slices.ContainsFunc(e.Reading.Photos, func(p Photo) bool { return p.SHA256 == sha256 }) {
			continue
		}
		_, gone := j.Withdrawn(e.Reading.Number)
		return e.Reading.Number, !gone
	}
	return 0, false
}

// Tried reports what was made of a photo before: whether it was read, though the
// reading may have been taken back since, and whether it was refused.
func (j Journal) Tried(sha256 string) (read, refused bool) {
	has := func(photos []Photo) bool {
		return slices.ContainsFunc(photos, func(p Photo) bool { return p.SHA256 == sha256 })
	}
	for _, e := range j.Entries {
		read = read || e.Reading != nil && has(e.Reading.Photos)
		refused = refused || e.Refused != nil && has(e.Refused.Photos)
	}
	return read, refused
}

// Sheets lists the sheets of tags that belong to the build.
func (j Journal) Sheets() []Sheet {
	var list []Sheet
	for _, e := range j.Entries {
		if e.Sheet != nil {
			list = append(list, *e.Sheet)
		}
	}
	return list
}

// Refusals lists the photos that were refused, in order.
func (j Journal) Refusals() []Refused {
	var list []Refused
	for _, e := range j.Entries {
		if e.Refused != nil {
			list = append(list, *e.Refused)
		}
	}
	return list
}

// NextStrip is the number of a strip newly laid at a place: one more than those
// that stand there.
func (j Journal) NextStrip(bearing string, position *float64) int {
	next := 1
	for _, r := range j.Standing() {
		if r.Bearing == bearing && samePosition(r.Position, position) {
			next = max(next, r.Strip+1)
		}
	}
	return next
}

func samePosition(a, b *float64) bool {
	return a == nil && b == nil || a != nil && b != nil && *a == *b
}
