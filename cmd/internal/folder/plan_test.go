package folder

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stripgap/clearance/build"
	"stripgap/cmd/internal/pipeline"
	"stripgap/cmd/internal/worker"
	"stripgap/vision"
)

// told writes a job and what is known of it in one line.
func told(j Job) string {
	var b strings.Builder
	for _, p := range j.Photos {
		b.WriteString(p.Name + " ")
	}
	fmt.Fprintf(&b, "%q %s", j.By, j.Bearing)
	if j.Position != nil {
		fmt.Fprintf(&b, " %gdeg", *j.Position)
	}
	if j.Strip > 0 {
		fmt.Fprintf(&b, " strip%d", j.Strip)
	}
	if j.On != "" {
		fmt.Fprintf(&b, " %s", j.On)
	}
	return b.String()
}

func TestPlan(t *testing.T) {
	at := 90.0
	for _, c := range []struct {
		name     string
		photos   []string
		ask      Ask
		jobs     []string
		problems []string
	}{
		{"by name", []string{"m1.jpg", "M2_strip2-journal.JPG", "B1-90deg-first try.png"}, Ask{},
			[]string{`B1-90deg-first try.png "file name" B1 90deg`, `M2_strip2-journal.JPG "file name" M2 strip2 journal`, `m1.jpg "file name" M1`}, nil},
		{"left to the tag", []string{"IMG_0001.jpg", "M10.jpg", "MM1.jpg"}, Ask{},
			[]string{`IMG_0001.jpg "" `, `M10.jpg "" `, `MM1.jpg "" `}, nil},
		{"a tag's position", []string{"IMG_0001-90deg.jpg"}, Ask{}, []string{`IMG_0001-90deg.jpg ""  90deg`}, nil},
		{"a pair", []string{"M1-right.jpg", "M1-left.jpg", "m1-LEFT.png"}, Ask{Only: []string{"M1-left.jpg", "M1-right.jpg"}},
			[]string{`M1-left.jpg M1-right.jpg "file name" M1`}, nil},
		{"pairs of two strips", []string{"M1-left.jpg", "M1-right.jpg", "M1-strip2-left.jpg", "M1-strip2-right.jpg", "x-left.jpg", "x-right.jpg"}, Ask{},
			[]string{`M1-left.jpg M1-right.jpg "file name" M1`, `M1-strip2-left.jpg M1-strip2-right.jpg "file name" M1 strip2`, `x-left.jpg x-right.jpg "" `}, nil},
		{"half a pair", []string{"M1-left.jpg", "M2.jpg"}, Ask{},
			[]string{`M2.jpg "file name" M2`}, []string{"M1-left.jpg: waits for the photo from its other side"}},
		{"numbers are no sides", []string{"M1-1.jpg", "M1-2.jpg"}, Ask{}, []string{`M1-1.jpg "file name" M1`, `M1-2.jpg "file name" M1`}, nil},
		{"either of two names", []string{"B1-2.jpg"}, Ask{}, nil, []string{"B1-2.jpg: the name may mean B1 or B12"}},
		{"a person says which", []string{"B1-2.jpg"}, Ask{Given: Given{Bearing: "B12", Position: &at}}, []string{`B1-2.jpg "hand" B12 90deg`}, nil},
		{"a person goes first", []string{"M1-shell-strip2.jpg"}, Ask{Given: Given{Bearing: "M1", On: build.OnFlat}}, []string{`M1-shell-strip2.jpg "hand" M1 strip2 flat`}, nil},
		{"a name that is another's", []string{"M1-shell-strip2.jpg"}, Ask{Given: Given{Bearing: "M2"}}, []string{`M1-shell-strip2.jpg "hand" M2`}, nil},
		{"pairs by hand", []string{"a.jpg", "b.jpg", "c.jpg"}, Ask{Only: []string{"c.jpg", "a.jpg", "b.jpg"}, Pair: true},
			[]string{`c.jpg a.jpg "" `}, []string{"b.jpg: --pair needs two photos"}},
		{"pairs of two bearings", []string{"M1.jpg", "M2.jpg"}, Ask{Only: []string{"M1.jpg", "M2.jpg"}, Pair: true},
			nil, []string{"M1.jpg and M2.jpg: --pair needs two photos of one strip"}},
		{"not there", nil, Ask{Only: []string{"gone.jpg"}}, nil, []string{"gone.jpg: there is no such photo"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := opened(t, made(t))
			add(t, f, c.photos...)
			jobs, problems := f.View().Plan(c.ask)
			if len(jobs) != len(c.jobs) || len(problems) != len(c.problems) {
				t.Fatalf("%d jobs, problems %v", len(jobs), problems)
			}
			for i, j := range jobs {
				if told(j) != c.jobs[i] {
					t.Errorf("job %s, want %s", told(j), c.jobs[i])
				}
			}
			for i, p := range problems {
				if !strings.HasPrefix(p.Error(), c.problems[i]) {
					t.Errorf("%v, want %s", p, c.problems[i])
				}
			}
		})
	}
}

// TestPlanTwice: what was read or refused is not tried again by itself, by its
// bytes and not its name.
func TestPlanTwice(t *testing.T) {
	f := opened(t, made(t))
	add(t, f, "M1.jpg", "M2.jpg")
	read := func(j Job, r pipeline.Result) {
		t.Helper()
		out, err := f.View().Read(j, thin, gives(r))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Keep(out); err != nil {
			t.Fatal(err)
		}
	}
	count := func(name string, a Ask, jobs, problems int) {
		t.Helper()
		j, p := f.View().Plan(a)
		if len(j) != jobs || len(p) != problems {
			t.Errorf("%s: %d jobs, problems %v", name, len(j), p)
		}
	}
	jobs, _ := f.View().Plan(Ask{})
	read(jobs[0], result("M1", sheet))
	refused := pipeline.Result{Outcome: pipeline.OutcomeRefused, Refusal: &pipeline.Refusal{Code: "blurred", Message: "m", Remedy: "r"}}
	read(jobs[1], refused)
	if rs := f.View().Journal.Standing(); len(rs) != 1 || rs[0].Bearing != "M1" || len(f.View().Journal.Refusals()) != 1 {
		t.Fatalf("%+v", rs)
	}
	count("again", Ask{}, 0, 0)
	count("refused ones again", Ask{Again: true}, 1, 0)
	count("one that was refused, named", Ask{Only: []string{"M2.jpg"}}, 1, 0)
	count("one that was read, named", Ask{Only: []string{"M1.jpg"}}, 0, 1)

	photos := filepath.Join(f.View().Dir, photosDir)
	os.Rename(filepath.Join(photos, "M1.jpg"), filepath.Join(photos, "zzz.jpg"))
	count("renamed", Ask{}, 0, 0)
	if p, err := f.AddPhoto("elsewhere/other.jpg", []byte("photo M1.jpg")); err != nil || p.Name != "zzz.jpg" {
		t.Errorf("the same bytes: %+v %v", p, err)
	}
	if p, err := f.AddPhoto(`C:\pictures\M2.jpg`, []byte("new")); err != nil || p.Name != "M2~2.jpg" {
		t.Errorf("the same name: %+v %v", p, err)
	}
	count("a new one", Ask{}, 1, 0)
	os.WriteFile(filepath.Join(photos, "copy.jpg"), []byte("new"), 0o644)
	count("a new one twice", Ask{}, 1, 1)
	for _, bad := range []string{"a.txt", "", ".hidden.jpg", "..", "/"} {
		if p, err := f.AddPhoto(bad, []byte("x")); err == nil {
			t.Errorf("%q became %+v", bad, p)
		}
	}

	if err := f.Withdraw(1, " cap not torqued "); err != nil {
		t.Fatal(err)
	}
	if why, _ := f.View().Journal.Withdrawn(1); why != "cap not torqued" {
		t.Errorf("%q", why)
	}
	count("taken back", Ask{Again: true}, 2, 1)
	count("taken back, named", Ask{Only: []string{"zzz.jpg"}}, 1, 0)
}

// TestPassing: what says nothing of the photo is not noted against it.
func TestPassing(t *testing.T) {
	f := opened(t, made(t))
	add(t, f, "M1.jpg")
	jobs, _ := f.View().Plan(Ask{})
	for code, noted := range map[string]bool{pipeline.CodeInterrupted: false, worker.CodeTooSlow: false, worker.CodeNoStart: false, worker.CodeCrashed: true} {
		before := len(f.View().Journal.Refusals())
		out, err := f.View().Read(jobs[0], thin, gives(pipeline.Result{Outcome: pipeline.OutcomeRefused, Refusal: &pipeline.Refusal{Code: code, Message: "m", Remedy: "r"}}))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Keep(out); err != nil || len(f.View().Journal.Refusals()) > before != noted {
			t.Errorf("%s: %v, refusals %+v", code, err, f.View().Journal.Refusals())
		}
	}
}

func TestAssign(t *testing.T) {
	at, wrong := 90.0, 45.0
	for _, c := range []struct {
		name    string
		given   Given
		by      build.Assignment
		result  pipeline.Result
		bearing string // of the reading
		how     build.Assignment
		code    string // of the refusal
	}{
		{"by its tag", Given{}, "", result("M1", sheet), "M1", build.ByTag, ""},
		{"by its name, no tag", Given{Bearing: "M1"}, build.ByName, result("", ""), "M1", build.ByName, ""},
		{"by its name, same tag", Given{Bearing: "M1"}, build.ByName, result("M1", sheet), "M1", build.ByName, ""},
		{"by its name, other tag", Given{Bearing: "M1"}, build.ByName, result("M2", sheet), "", "", codeOtherBearing},
		{"by hand, other tag", Given{Bearing: "M1"}, build.ByHand, result("M2", sheet), "", "", codeOtherBearing},
		{"another build's tag", Given{}, "", result("M1", "9DKP3T"), "", "", codeOtherBuild},
		{"another build's tag, by name", Given{Bearing: "M1"}, build.ByName, result("M1", "9DKP3T"), "", "", codeOtherBuild},
		{"another build's tag, by hand", Given{Bearing: "M1"}, build.ByHand, result("M1", "9DKP3T"), "M1", build.ByHand, ""},
		{"nobody says", Given{}, "", result("", sheet), "", "", codeNoBearing},
		{"a tag of a renamed bearing", Given{}, "", result("M3", sheet), "", "", codeUnknown},
		{"a position where there are some", Given{Bearing: "B1", Position: &at}, build.ByName, result("", ""), "B1", build.ByName, ""},
		{"none where there are some", Given{Bearing: "B1"}, build.ByName, result("", ""), "", "", codePosition},
		{"another than those", Given{Bearing: "B1", Position: &wrong}, build.ByName, result("", ""), "", "", codePosition},
		{"one where there are none", Given{Bearing: "M1", Position: &at}, build.ByName, result("", ""), "", "", codePosition},
		{"no clearance", Given{Bearing: "M1"}, build.ByName, pipeline.Result{Outcome: pipeline.OutcomeRead}, "", "", codeNoClearance},
	} {
		f := opened(t, made(t))
		add(t, f, "IMG.jpg")
		out, err := f.View().Read(Job{Photos: f.photos(t), Given: c.given, By: c.by}, thin, gives(c.result))
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		switch {
		case c.code != "" && (out.Refused == nil || out.Refused.Code != c.code || out.Refused.Remedy == "" || out.Refused.Message == ""):
			t.Errorf("%s: %+v", c.name, out.Refused)
		case c.code == "" && (out.Reading == nil || out.Reading.Bearing != c.bearing || out.Reading.Assigned != c.how):
			t.Errorf("%s: %+v %+v", c.name, out.Reading, out.Refused)
		}
		if _, err := f.Keep(out); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		closed(t, f)
	}
}

// TestReadTells: the reader is told what build.toml and the photo's name say.
func TestReadTells(t *testing.T) {
	f := opened(t, made(t))
	add(t, f, "a.jpg")
	shell := vision.Surface{Kind: vision.SurfaceShell, Radius: 27.5}
	journal := vision.Surface{Kind: vision.SurfaceJournal, Radius: 27.5}
	for _, c := range []struct {
		name  string
		given Given
		want  []*vision.Surface // of each time the photo is read; nil: left to Settings
		on    build.Surface
	}{
		{"the tag", Given{}, []*vision.Surface{nil}, build.OnShell},
		{"the name", Given{Bearing: "M1"}, []*vision.Surface{&shell}, build.OnShell},
		{"the name, and where", Given{Bearing: "M1", On: build.OnJournal}, []*vision.Surface{&journal}, build.OnJournal},
		{"where, and the tag", Given{On: build.OnJournal}, []*vision.Surface{nil, &journal}, build.OnJournal},
	} {
		n := 0
		out, err := f.View().Read(Job{Photos: f.photos(t), Given: c.given}, thin, func(task pipeline.Task) pipeline.Entry {
			switch {
			case n >= len(c.want):
			case (task.Setting == nil) != (c.want[n] == nil), task.Setting != nil && task.Setting.Surface != *c.want[n]:
				t.Errorf("%s, time %d: told %+v", c.name, n+1, task.Setting)
			}
			n++
			return pipeline.Entry{Result: result("M1", sheet)}
		})
		if err != nil || n != len(c.want) || out.Reading == nil || out.Reading.On != c.on || out.Reading.Diameter != 55 {
			t.Errorf("%s: read %d times, %+v, %v", c.name, n, out.Reading, err)
		}
	}
	settings, err := f.View().Settings(thin)
	if err != nil || len(settings) != 4 || settings["M1"].Surface != shell || settings["B1"].Surface != (vision.Surface{}) || settings["M1"].Lot.Name != "thin" {
		t.Errorf("%+v %v", settings, err)
	}
	f.view.Build.Strip.Lot = "gone"
	if _, err := f.View().Settings(thin); err == nil || !strings.Contains(err.Error(), `build.toml: group "mains": strip_lot: no lot "gone"`) {
		t.Errorf("%v", err)
	}
}

// FuzzParseName: whatever a photo is called, a bearing of the build or none.
func FuzzParseName(f *testing.F) {
	for _, name := range []string{"M1-90deg-strip2-journal-left.jpg", "B1-2.jpg", "-.-", "m1 - right.jpg", "9999999999999999999deg.png"} {
		f.Add(name)
	}
	b, err := build.Parse([]byte(text), buildFile, func(string) error { return nil })
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, name string) {
		n, err := parseName(b, name)
		if err != nil {
			return
		}
		if _, _, ok := b.Find(n.Bearing); n.Bearing != "" && !ok || n.Strip < 0 || n.side != "" && n.base == "" {
			t.Errorf("%q: %+v", name, n)
		}
	})
}
