package build

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"
)

var noon = time.Date(2024, 2, 29, 12, 0, 0, 0, time.FixedZone("", 3600))

// sample is a made-up result that holds a clearance.
func sample(mm float64) json.RawMessage {
	return json.RawMessage(fmt.Sprintf(`{"outcome":"read","clearance":{"mean_mm":%v,"u_mm":0.001,"U_mm":0.002,"k":2,"taper_mm":0.001,"taper_U_mm":0.004,"bow_mm":0},`+
		`"ends":[{"name":"front","clearance_mm":%v},{"name":"rear","clearance_mm":%v}],"budget":[{"name":"edge noise","u_mm":0.001,"common":false}]}`, mm, mm, mm))
}

func photo(name string) Photo {
	return Photo{name, strings.Repeat(fmt.Sprintf("%02x", len(name)), 31) + fmt.Sprintf("%02x", name[0])}
}

// written is a journal of entries with the bytes of its lines.
func written(t *testing.T, entries ...Entry) (Journal, []byte) {
	t.Helper()
	var j Journal
	var data []byte
	for _, e := range entries {
		var line []byte
		var err error
		if j, line, err = j.With(e, noon); err != nil {
			t.Fatal(err)
		}
		data = append(data, line...)
	}
	return j, data
}

func story(t *testing.T) (Journal, []byte) {
	return written(t,
		Entry{Begun: &Begun{Build: "A7X4N2"}},
		Entry{Sheet: &Sheet{Serial: "A7X4N2", Bearings: []string{"M1"}}},
		Entry{Reading: &Reading{Number: 1, Bearing: "M1", Strip: 1, Photos: []Photo{photo("a.jpg")}, Result: sample(0.04)}},
		Entry{Refused: &Refused{Photos: []Photo{photo("bb.jpg")}, Code: "blurred", Message: "m", Remedy: "r"}},
		Entry{Withdraw: &Withdrawal{Number: 1, Reason: "cap not torqued"}},
		Entry{Reading: &Reading{Number: 2, Bearing: "M1", Strip: 1, Photos: []Photo{photo("a.jpg")}, Result: sample(0.05)}},
	)
}

func TestJournal(t *testing.T) {
	_, data := story(t)
	j, torn, err := ParseJournal(data, "readings.jsonl")
	if err != nil || torn != nil {
		t.Fatal(err, torn)
	}
	if j.ID() != "A7X4N2" || len(j.Readings()) != 2 || len(j.Sheets()) != 1 || len(j.Refusals()) != 1 {
		t.Fatalf("%+v", j)
	}
	if s := j.Standing(); len(s) != 1 || s[0].Number != 2 || string(s[0].Result) != string(sample(0.05)) {
		t.Errorf("standing %+v", s)
	}
	if why, ok := j.Withdrawn(1); !ok || why != "cap not torqued" {
		t.Errorf("withdrawn: %q %v", why, ok)
	}
	if n, ok := j.ReadingOf(photo("a.jpg").SHA256); !ok || n != 2 {
		t.Errorf("a.jpg belongs to %d %v", n, ok)
	}
	for name, want := range map[string][2]bool{"a.jpg": {true, false}, "bb.jpg": {false, true}, "ccc.jpg": {false, false}} {
		if read, refused := j.Tried(photo(name).SHA256); read != want[0] || refused != want[1] {
			t.Errorf("%s: read %v, refused %v", name, read, refused)
		}
	}
	if j.NextStrip("M1", nil) != 2 || j.NextStrip("M2", nil) != 1 {
		t.Error("strips are not counted")
	}

	// What RFC 8259 and RFC 3339 ask for: each line one JSON object, the time with
	// its offset; the example "1985-04-12T23:20:50Z" is of that form.
	for line := range bytes.Lines(data) {
		var object map[string]any
		if err := json.Unmarshal(line, &object); err != nil {
			t.Errorf("%s: %v", line, err)
		}
		if at, err := time.Parse("2006-01-02T15:04:05Z", object["time"].(string)); err != nil || !at.Equal(noon) {
			t.Errorf("time %v: %v", object["time"], err)
		}
	}
}

// TestJournalSums compares the first two lines with checksums that GNU coreutils'
// sha256sum gave of the sum before and the line without its own.
func TestJournalSums(t *testing.T) {
	_, data := story(t)
	lines := bytes.SplitAfter(data, []byte("\n"))
	for i, want := range []string{
		`{"schema":1,"line":1,"time":"2024-02-29T11:00:00Z","begun":{"build":"A7X4N2"},"sum":"bfdc55fe0b7ae877a84d1dd02c65d95e1e2a0d8eab077bee6835dd8de0815377"}`,
		`{"schema":1,"line":2,"time":"2024-02-29T11:00:00Z","sheet":{"serial":"A7X4N2","bearings":["M1"]},"sum":"f0ebdd8ea8959b0fcf8f0a291571ada2089cd4ba1ed169d901eef46bedbc7c8b"}`,
	} {
		if got := string(lines[i]); got != want+"\n" {
			t.Errorf("line %d is\n%swant\n%s", i+1, got, want)
		}
	}
}

// TestJournalTorn cuts the file at every byte: the whole lines before stand, the
// rest is told apart, and nothing is an error.
func TestJournalTorn(t *testing.T) {
	_, data := story(t)
	for n := range len(data) {
		j, torn, err := ParseJournal(data[:n], "f")
		if err != nil {
			t.Fatalf("cut at %d: %v", n, err)
		}
		whole := bytes.Count(data[:n], []byte("\n"))
		if len(j.Entries) != whole || len(torn) != n-1-bytes.LastIndexByte(data[:n], '\n') {
			t.Fatalf("cut at %d: %d entries, %d bytes torn", n, len(j.Entries), len(torn))
		}
	}
}

// TestJournalEdited changes every byte of every line, and takes out, doubles and
// swaps lines: always named, with the first line that is wrong.
func TestJournalEdited(t *testing.T) {
	_, data := story(t)
	line := 1
	for i := range data {
		edited := bytes.Clone(data)
		edited[i] ^= 1
		_, _, err := ParseJournal(edited, "f")
		// The last line's end is its newline: without it the line is torn, not edited.
		if i == len(data)-1 {
			if err != nil {
				t.Errorf("last newline: %v", err)
			}
			break
		}
		if err == nil || !strings.HasPrefix(err.Error(), fmt.Sprintf("f:%d: ", line)) {
			t.Fatalf("byte %d of line %d changed: %v", i, line, err)
		}
		if data[i] == '\n' {
			line++
		}
	}
	lines := bytes.SplitAfter(data, []byte("\n"))
	for name, kept := range map[string][]int{
		"f:3: ": {0, 1, 3, 4, 5}, // one taken out
		"f:4: ": {0, 1, 2, 2, 3}, // one doubled
		"f:5: ": {0, 1, 2, 3, 5, 4},
		"f:1: ": {1, 2},
	} {
		var edited []byte
		for _, k := range kept {
			edited = append(edited, lines[k]...)
		}
		_, _, err := ParseJournal(edited, "f")
		if !errors.Is(err, errEdited) || !strings.HasPrefix(err.Error(), name) {
			t.Errorf("lines %v: %v, want %s", kept, err, name)
		}
	}
}

func TestJournalRefuses(t *testing.T) {
	j, _ := story(t)
	reading := func(n int, name string) Entry {
		return Entry{Reading: &Reading{Number: n, Bearing: "M1", Photos: []Photo{photo(name)}, Result: sample(0.04)}}
	}
	for _, c := range []struct {
		name, want string
		e          Entry
	}{
		{"nothing", "0 parts", Entry{}},
		{"two parts", "2 parts", Entry{Sheet: &Sheet{}, Refused: &Refused{}}},
		{"a second beginning", "begins with its build", Entry{Begun: &Begun{}}},
		{"a number out of turn", "reading 2 cannot follow; the next is 3", reading(2, "new.jpg")},
		{"a photo twice", "a.jpg is the photo of reading 2 already", reading(3, "a.jpg")},
		{"no photo", "has no photo", Entry{Reading: &Reading{Number: 3, Result: sample(0.04)}}},
		{"a refusal of nothing", "has no photo", Entry{Refused: &Refused{Code: "x"}}},
		{"no clearance", "holds no clearance", Entry{Reading: &Reading{Number: 3, Photos: []Photo{photo("new.jpg")}, Result: json.RawMessage(`{}`)}}},
		{"no reason", "with a reason", Entry{Withdraw: &Withdrawal{Number: 2}}},
		{"twice", "taken back already: cap", Entry{Withdraw: &Withdrawal{Number: 1, Reason: "x"}}},
		{"no such reading", "there is no reading 9", Entry{Withdraw: &Withdrawal{Number: 9, Reason: "x"}}},
	} {
		_, line, err := j.With(c.e, noon)
		if err == nil || line != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", c.name, err, c.want)
		}
	}
	if _, _, err := (Journal{}).With(reading(1, "a.jpg"), noon); err == nil {
		t.Error("a file may begin without its build")
	}
	// A later version's line is not taken for an edited one.
	body := []byte(`{"schema":2,"line":1,"time":"2024-02-29T12:00:00Z","begun":{"build":"A7X4N2"}}`)
	line := string(body[:len(body)-1]) + sumKey + lineSum("", body) + "\"}\n"
	if _, _, err := ParseJournal([]byte(line), "f"); !errors.Is(err, ErrNewer) {
		t.Errorf("a later schema: %v", err)
	}
}

// FuzzJournal: whatever the bytes, what is accepted is written again to the same.
func FuzzJournal(f *testing.F) {
	body := []byte(`{"schema":1,"line":1,"time":"2024-02-29T12:00:00Z","begun":{"build":"A7X4N2"}}`)
	f.Add([]byte(string(body[:len(body)-1]) + sumKey + lineSum("", body) + "\"}\n{\"sch"))
	f.Fuzz(func(t *testing.T, data []byte) {
		j, torn, err := ParseJournal(data, "f")
		if err == nil && len(torn) == 0 && len(data) > 0 && len(j.Entries) == 0 {
			t.Error("bytes vanished")
		}
	})
}
