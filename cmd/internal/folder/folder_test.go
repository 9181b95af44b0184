package folder

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/clearance/build"
	"stripgap/cmd/internal/pipeline"
)

// text is an invented build.
const text = `name = "invented"
strip_lot = "thin"
[[group]]
name = "mains"
strip_on = "shell"
journal_diameter = "55 mm"
[[group.bearing]]
name = "M1"
[[group.bearing]]
name = "M2"
[[group]]
name = "big ends"
positions = ["0 deg", "90 deg"]
[[group.bearing]]
name = "B1"
[[group.bearing]]
name = "B12"
`

const (
	buildID = "A7X4N2"
	sheet   = "2346W2"
)

// made is a new build in a folder, with a sheet of its own.
func made(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "engine")
	if err := Create(dir, text, buildID); err != nil {
		t.Fatal(err)
	}
	f := opened(t, dir)
	if err := f.AddSheet(build.Sheet{Serial: sheet, Bearings: []string{"M1", "M2", "B1", "B12"}}); err != nil {
		t.Fatal(err)
	}
	closed(t, f)
	return dir
}

func opened(t *testing.T, dir string) *Folder {
	t.Helper()
	f, err := Open(dir, "the test")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { f.Close() })
	return f
}

func closed(t *testing.T, f *Folder) {
	t.Helper()
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}

// thin is an invented lot.
func thin(s build.Strip) (calib.Lot, error) {
	if s.Lot != "thin" {
		return calib.Lot{}, fmt.Errorf("no lot %q", s.Lot)
	}
	return calib.Lot{Name: "thin", SectionArea: quantity.Value{X: 0.07, U: 0.0004}, RangeLo: 0.025, RangeHi: 0.076}, nil
}

// result is what a reader finds: the bearing and the sheet of the tag, "" for none.
func result(bearing, serial string) pipeline.Result {
	mm := 0.04
	return pipeline.Result{Outcome: pipeline.OutcomeRead,
		Card:      &pipeline.Card{Layout: "rider", Serial: serial, Bearing: bearing},
		Clearance: &pipeline.Clearance{Mean: mm, U: 0.001, Expanded: 0.002, Coverage: 2, TaperExpanded: 0.002},
		Ends:      []pipeline.End{{Name: "front", Clearance: &mm}, {Name: "rear", Clearance: &mm}},
		Budget:    []pipeline.Term{{Name: "edge noise", U: 0.001}}}
}

// gives is a reader that finds the same in every photo.
func gives(r pipeline.Result) func(pipeline.Task) pipeline.Entry {
	return func(pipeline.Task) pipeline.Entry { return pipeline.Entry{Result: r} }
}

func add(t *testing.T, f *Folder, names ...string) {
	t.Helper()
	for _, n := range names {
		if _, err := f.AddPhoto(n, []byte("photo "+n)); err != nil {
			t.Fatal(err)
		}
	}
}

func TestCreate(t *testing.T) {
	dir := made(t)
	before, _ := os.ReadFile(filepath.Join(dir, buildFile))
	err := Create(dir, text+"# other\n", buildID)
	if err == nil || !strings.Contains(err.Error(), "has a build.toml already, which is never written over") {
		t.Errorf("%v", err)
	}
	if after, _ := os.ReadFile(filepath.Join(dir, buildFile)); string(after) != string(before) {
		t.Error("build.toml was written over")
	}
	v, err := Look(dir)
	if err != nil || v.Build.ID != buildID || len(v.Build.Names()) != 4 || len(v.Journal.Sheets()) != 1 {
		t.Errorf("%+v %v", v, err)
	}

	// A Create cut off before build.toml leaves nothing in the way of another.
	os.Remove(filepath.Join(dir, buildFile))
	if err := Create(dir, text, buildID); err == nil {
		t.Error("readings were written over")
	}
	if err := os.Truncate(filepath.Join(dir, readingsFile), 0); err != nil {
		t.Fatal(err)
	}
	if err := Create(dir, text, buildID); err != nil {
		t.Error(err)
	}

	other := filepath.Join(t.TempDir(), "other")
	if err := Create(other, "nonsense = 1", buildID); err == nil {
		t.Error("nonsense is a build")
	}
	if _, err := os.Stat(other); !errors.Is(err, os.ErrNotExist) {
		t.Error("a refused build left a folder")
	}
}

func TestOpenRefuses(t *testing.T) {
	empty := t.TempDir()
	if _, err := Open(empty, "x"); err == nil || !strings.Contains(err.Error(), "not a build's folder") {
		t.Errorf("%v", err)
	}
	if left, _ := os.ReadDir(empty); len(left) != 0 {
		t.Errorf("left %v", left)
	}
	dir := made(t)
	f := opened(t, dir)
	_, err := Open(dir, "second")
	if !errors.Is(err, ErrInUse) || !strings.Contains(err.Error(), fmt.Sprintf("by the test (process %d)", os.Getpid())) {
		t.Errorf("%v", err)
	}
	if _, err := Look(dir); err != nil {
		t.Errorf("while it is held: %v", err)
	}
	closed(t, f)
	if err := f.AddSheet(build.Sheet{Serial: "X"}); err == nil {
		t.Error("a closed folder takes more")
	}
	closed(t, opened(t, dir))

	path := filepath.Join(dir, readingsFile)
	data, _ := os.ReadFile(path)
	for name, c := range map[string]struct {
		data []byte
		want string
	}{
		"edited": {[]byte(strings.Replace(string(data), `"M2"`, `"M3"`, 1)), readingsFile + ":2: this line is not as it was written"},
		"empty":  {nil, "empty; put it back"},
	} {
		if err := os.WriteFile(path, c.data, 0o644); err != nil {
			t.Fatal(err)
		}
		for way, open := range map[string]func() error{
			"open": func() error { _, err := Open(dir, "x"); return err },
			"look": func() error { _, err := Look(dir); return err },
		} {
			if err := open(); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%s, %s: %v", name, way, err)
			}
		}
		if after, _ := os.ReadFile(path); string(after) != string(c.data) {
			t.Errorf("%s: the file was changed", name)
		}
	}
	os.Remove(path)
	if _, err := Open(dir, "x"); err == nil || !strings.Contains(err.Error(), "missing; put it back") {
		t.Errorf("%v", err)
	}
}

// TestEndCutOff: whole lines taken off the end, and a line torn after it was
// accepted, are named and nothing is written until a person decides; a line whose
// tally was not written before a kill counts.
func TestEndCutOff(t *testing.T) {
	dir := made(t)
	path, count := filepath.Join(dir, readingsFile), filepath.Join(dir, tallyFile)
	whole, _ := os.ReadFile(path)
	first := bytes.IndexByte(whole, '\n') + 1
	for _, cut := range []int{first, first + 1, len(whole) - 1} {
		if err := os.WriteFile(path, whole[:cut], 0o644); err != nil {
			t.Fatal(err)
		}
		for way, open := range map[string]func() error{
			"open": func() error { _, err := Open(dir, "x"); return err },
			"look": func() error { _, err := Look(dir); return err },
		} {
			if err := open(); err == nil || !strings.Contains(err.Error(), "readings.jsonl: it had 2 whole lines and has 1: its end was cut off; put back a copy") {
				t.Errorf("%s, cut at %d: %v", way, cut, err)
			}
		}
		if after, _ := os.ReadFile(path); string(after) != string(whole[:cut]) {
			t.Errorf("cut at %d: the file was changed", cut)
		}
	}
	if err := os.Remove(count); err != nil {
		t.Fatal(err)
	}
	f := opened(t, dir)
	if len(f.View().Journal.Entries) != 1 || len(f.View().Notes) != 1 {
		t.Errorf("without the tally: %d lines, %q", len(f.View().Journal.Entries), f.View().Notes)
	}
	closed(t, f)
	// One line more than the tally has, as after a kill in between.
	if err := os.WriteFile(path, whole, 0o644); err != nil {
		t.Fatal(err)
	}
	closed(t, opened(t, dir))
	if n, err := readTally(dir); n != 2 || err != nil {
		t.Errorf("tally %d, %v", n, err)
	}
	if err := os.WriteFile(count, []byte("two\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Look(dir); err == nil || !strings.Contains(err.Error(), "readings.count: not as it was written") {
		t.Errorf("%v", err)
	}
}

func TestTornLineIsSetAside(t *testing.T) {
	dir := made(t)
	path := filepath.Join(dir, readingsFile)
	whole, _ := os.ReadFile(path)
	for n := 1; n <= 2; n++ {
		torn := whole[:40*n]
		torn = torn[:len(torn):len(torn)]
		if err := os.WriteFile(path, append(slices.Clone(whole), torn...), 0o644); err != nil {
			t.Fatal(err)
		}
		v, err := Look(dir)
		if err != nil || len(v.Notes) != 1 || len(v.Journal.Entries) != 2 {
			t.Fatalf("%v %q", err, v.Notes)
		}
		f := opened(t, dir)
		side := fmt.Sprintf("readings-torn-%d.txt", n)
		if notes := f.View().Notes; len(notes) != 1 || !strings.Contains(notes[0], side) {
			t.Errorf("notes %q", notes)
		}
		if kept, err := os.ReadFile(filepath.Join(dir, side)); err != nil || string(kept) != string(torn) {
			t.Errorf("%s holds %q, %v", side, kept, err)
		}
		if now, _ := os.ReadFile(path); string(now) != string(whole) {
			t.Error("the whole lines are not as they were")
		}
		closed(t, f)
	}
	f := opened(t, dir)
	if len(f.View().Notes) != 0 || f.AddSheet(build.Sheet{Serial: "X"}) != nil {
		t.Error("a mended file is not")
	}
}

// failing is a file on a disk that fills up.
type failing struct {
	file
	room     int // bytes that still fit
	syncs    int // syncs that still work; -1 all
	truncate error
}

func (f *failing) WriteAt(p []byte, off int64) (int, error) {
	n, _ := f.file.WriteAt(p[:min(len(p), f.room)], off)
	f.room -= n
	if n < len(p) {
		return n, syscall.ENOSPC
	}
	return n, nil
}

func (f *failing) Sync() error {
	if f.syncs == 0 {
		return syscall.EIO
	}
	f.syncs--
	return f.file.Sync()
}

func (f *failing) Truncate(n int64) error { return errors.Join(f.truncate, f.file.Truncate(n)) }

// TestFullDisk: a line that does not fit is not in the file at all, what stands
// before it stays, and with room again work goes on.
func TestFullDisk(t *testing.T) {
	for room := 0; room < 300; room += 11 {
		dir := made(t)
		f := opened(t, dir)
		disk := &failing{file: f.log.file, room: room, syncs: -1}
		f.log.file = disk
		path := filepath.Join(dir, readingsFile)
		before, _ := os.ReadFile(path)
		add(t, f, "a.jpg")
		out, err := f.View().Read(Job{Photos: f.photos(t), Given: Given{Bearing: "M1"}, By: build.ByHand}, thin, gives(result("M1", sheet)))
		if err != nil {
			t.Fatal(err)
		}
		_, err = f.Keep(out)
		if !errors.Is(err, syscall.ENOSPC) || !strings.Contains(err.Error(), "nothing was lost, nothing was added; make room") {
			t.Fatalf("room for %d: %v", room, err)
		}
		if after, _ := os.ReadFile(path); string(after) != string(before) || len(f.View().Journal.Standing()) != 0 {
			t.Fatalf("room for %d: the file holds part of a line", room)
		}
		disk.room = 1 << 20
		if r, err := f.Keep(out); r.Number != 1 || err != nil {
			t.Fatalf("with room again: %d %v", r.Number, err)
		}
		closed(t, f)
		if v, err := Look(dir); err != nil || len(v.Journal.Standing()) != 1 {
			t.Fatalf("%v", err)
		}
	}
}

func (f *Folder) photos(t *testing.T) []build.Photo {
	photos, problems := f.View().Photos()
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	return photos
}

// TestFullDiskBroken: where not even the part that was written can be taken back,
// nothing more is written after it, and the next to open the folder mends it.
func TestFullDiskBroken(t *testing.T) {
	dir := made(t)
	f := opened(t, dir)
	f.log.file = &failing{file: f.log.file, room: 1 << 20, syncs: 0}
	if err := f.AddSheet(build.Sheet{Serial: "X"}); !errors.Is(err, syscall.EIO) {
		t.Errorf("%v", err)
	}
	if err := f.AddSheet(build.Sheet{Serial: "Y"}); err == nil || !strings.Contains(err.Error(), "end the program and start it again") {
		t.Errorf("%v", err)
	}
	closed(t, f)
	if f = opened(t, dir); len(f.View().Journal.Sheets()) != 1 || f.AddSheet(build.Sheet{Serial: "Z"}) != nil {
		t.Error("not mended")
	}
}

// TestReadOnly looks at a folder without leave to write in it.
func TestReadOnly(t *testing.T) {
	dir := made(t)
	if os.Geteuid() == 0 {
		// Root may write everywhere; as another user of files this thread may not.
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		os.Chmod(filepath.Dir(filepath.Dir(dir)), 0o755)
		asUser(t, 65534)
		defer asUser(t, 0)
	} else {
		for _, p := range []string{dir, filepath.Join(dir, lockFile), filepath.Join(dir, readingsFile)} {
			os.Chmod(p, 0o555)
			defer os.Chmod(p, 0o755)
		}
	}
	if _, err := Open(dir, "x"); !errors.Is(err, os.ErrPermission) || !strings.Contains(err.Error(), "the folder may only be looked at (build status)") {
		t.Errorf("%v", err)
	}
	if v, err := Look(dir); err != nil || v.Build.ID != buildID {
		t.Errorf("%v", err)
	}
	if err := Create(filepath.Join(dir, "new"), text, buildID); !errors.Is(err, os.ErrPermission) {
		t.Errorf("%v", err)
	}
}

// asUser makes the thread's file accesses those of a user.
func asUser(t *testing.T, uid int) {
	if _, _, e := syscall.RawSyscall(syscall.SYS_SETFSUID, uintptr(uid), 0, 0); e != 0 {
		t.Skip(e)
	}
}

// TestPictureDoesNotFit: a reading that nobody could look at is not kept, and its
// photo stays new; a picture that fails for another reason does not cost it.
func TestPictureDoesNotFit(t *testing.T) {
	f := opened(t, made(t))
	add(t, f, "M1.jpg")
	jobs, _ := f.View().Plan(Ask{})
	out, err := f.View().Read(jobs[0], thin, gives(result("", "")))
	if err != nil {
		t.Fatal(err)
	}
	out.PictureErr = errors.New("it could not be drawn")
	pictures := f.View().Path(picturesDir)
	if err := errors.Join(os.Remove(pictures), os.WriteFile(pictures, nil, 0o644)); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Keep(out); err == nil || len(f.View().Journal.Standing()) != 0 {
		t.Errorf("kept: %v", err)
	}
	if jobs, _ := f.View().Plan(Ask{}); len(jobs) != 1 {
		t.Error("the photo is not new any more")
	}
	if err := errors.Join(os.Remove(pictures), os.Mkdir(pictures, 0o755)); err != nil {
		t.Fatal(err)
	}
	if r, err := f.Keep(out); r.Number != 1 || err != nil {
		t.Errorf("%d %v", r.Number, err)
	}
}

// TestPrintsChanged: readings made before their sheet was measured, or by other bars or
// another thickness, are told; those of today's check and of sheets that are not known
// here are not.
func TestPrintsChanged(t *testing.T) {
	f := opened(t, made(t))
	for i, made := range []struct{ x, thickness float64 }{{}, {1.001, 0}, {1.002, 0}, {1.001, 1.2}, {1.001, 0.9}} {
		r := result("", "6C3H2P")
		if made.x > 0 {
			r.Card.Print = &pipeline.Print{X: made.x, Y: 1, U: 0.0007}
		}
		r.Card.Thickness = made.thickness
		name := fmt.Sprintf("M1-strip%d.jpg", i+1)
		add(t, f, name)
		jobs, _ := f.View().Plan(Ask{Only: []string{name}})
		out, err := f.View().Read(jobs[0], thin, gives(r))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Keep(out); err != nil {
			t.Fatal(err)
		}
	}
	now := calib.PrintScale{X: 1.001, Y: 1, U: 0.0007, Thickness: 1.2}
	got := f.View().PrintsChanged(map[string]calib.PrintScale{"6C3H2P": now})
	if len(got) != 1 || !strings.HasPrefix(got[0], "sheet 6C3H2P was measured otherwise, or not yet, when these readings were made: 1, 3, 5; take") {
		t.Errorf("%q", got)
	}
	for _, other := range []map[string]calib.PrintScale{nil, {"WDEYEC": now}} {
		if got := f.View().PrintsChanged(other); len(got) != 0 {
			t.Errorf("%q of sheets %v", got, other)
		}
	}
}
