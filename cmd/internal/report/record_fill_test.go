package report

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"stripgap/clearance/build"
	"stripgap/cmd/internal/pipeline"
)

// fixedBuild is made up: four bearings whose strips agree, disagree, were taken
// back and lie at two positions.
const fixedBuild = `name = "made up"
temperature = "20 degC"
preparation = [{ done = true, what = "clean" }, { done = false, what = "dry" }]
[[group]]
name = "mains"
kind = "mains"
limits_new = "0.030..0.056 mm"
limits_service = "..0.060 mm"
torque = ["30 N m"]
angle = ["45 deg"]
bore_u = "0.003 mm"
shell_wall_u = "0.001 mm"
journal_u = "0.002 mm"
[[group.bearing]]
name = "M1"
note = "the front one"
bore = "59.043 mm"
shell_wall = "2.000 mm"
journal = "55.000 mm"
[[group.bearing]]
name = "M2"
[[group.bearing]]
name = "<script>alert(1)</script>"
[[group]]
name = "big ends"
positions = ["0 deg", "90 deg"]
[[group.bearing]]
name = "B1"
`

// journalOf writes readings down, one a minute.
type journalOf struct {
	t *testing.T
	j build.Journal
}

func newJournal(t *testing.T) *journalOf {
	j := &journalOf{t: t}
	j.add(build.Entry{Begun: &build.Begun{Build: "6C3H2P"}})
	return j
}

func (j *journalOf) add(e build.Entry) {
	j.t.Helper()
	at := time.Date(2026, 11, 25, 9, len(j.j.Entries), 0, 0, time.UTC)
	next, _, err := j.j.With(e, at)
	if err != nil {
		j.t.Fatal(err)
	}
	j.j = next
}

// read adds a reading of a bearing: mean clearance and taper in mm.
func (j *journalOf) read(bearing string, position *float64, mean, taper float64) {
	j.t.Helper()
	result := fixedResult(mean, taper)
	text, err := json.Marshal(result)
	if err != nil {
		j.t.Fatal(err)
	}
	n := j.j.NextNumber()
	name := fmt.Sprintf("p%d.jpg", n)
	j.add(build.Entry{Reading: &build.Reading{Number: n, Bearing: bearing, Position: position,
		Strip: j.j.NextStrip(bearing, position), Assigned: build.ByTag, Photos: []build.Photo{{Name: name, SHA256: sum(name)}},
		Picture: "pictures/" + name, Lot: build.Lot{Name: "thin", Area: 0.0714, AreaU: 0.0004, RangeLo: 0.025, RangeHi: 0.076},
		Result: text}})
}

// sum stands for a photo's SHA-256.
func sum(name string) string { return strings.Repeat(fmt.Sprintf("%02x", len(name)+int(name[1])), 32) }

// fixedResult is a reading with u 0.0005 mm and a straight profile.
func fixedResult(mean, taper float64) pipeline.Result {
	r := pipeline.Result{Outcome: pipeline.OutcomeRead, Card: &pipeline.Card{Layout: "rider", Serial: "6C3H2P", PrintChecked: true, Thickness: 0.85},
		Width:     &pipeline.Width{Mean: 0.0714 / mean, U: 0.01},
		Clearance: &pipeline.Clearance{Mean: mean, U: 0.0005, Expanded: 0.001, Coverage: 2, Taper: taper, TaperExpanded: 0.001},
		Ends:      []pipeline.End{{Name: "front", Width: 1, Clearance: ptr(mean + taper/2)}, {Name: "rear", Width: 1, Clearance: ptr(mean - taper/2)}},
		Budget:    []pipeline.Term{{Name: "edge noise", U: 0.0003}, {Name: "strip section area", U: 0.0004, Common: true}}}
	for i := range 9 {
		at := float64(4 - i)
		r.Profile = append(r.Profile, pipeline.Station{At: at, Width: ptr(0.0714 / mean), U: ptr(0.001), Clearance: ptr(mean + taper*at/8)})
	}
	r.Profile[4] = pipeline.Station{At: 0, Dropped: "glare"}
	return r
}

func fixedSource(t *testing.T) RecordSource {
	t.Helper()
	b, err := build.Parse([]byte(fixedBuild), "build.toml", func(string) error { return nil })
	if err != nil {
		t.Fatal(err)
	}
	j := newJournal(t)
	j.read("M1", nil, 0.0425, 0.002)
	j.read("M2", nil, 0.0415, 0.018)
	j.read("M2", nil, 0.0412, 0.0175)
	j.read("<script>alert(1)</script>", nil, 0.0500, 0.001)
	j.add(build.Entry{Withdraw: &build.Withdrawal{Number: 4, Reason: "the shaft was turned"}})
	j.read("B1", ptr(0), 0.0400, 0.001)
	j.read("B1", ptr(90), 0.0600, 0.001)
	j.add(build.Entry{Refused: &build.Refused{Photos: []build.Photo{{Name: "dark.jpg", SHA256: sum("dark.jpg")}},
		Code: "no-card", Message: "no card is seen", Remedy: "lay the card beside the strip"}})
	j.add(build.Entry{Refused: &build.Refused{Photos: []build.Photo{{Name: "blur.jpg", SHA256: sum("blur.jpg")}}, Bearing: "M1",
		Code: "blurred", Message: "not sharp", Remedy: "hold still"}})
	s, err := b.Status(j.j)
	if err != nil {
		t.Fatal(err)
	}
	return RecordSource{Build: b, Journal: j.j, Status: s, By: "nobody", Date: time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC),
		Picture: func(name string) ([]byte, error) {
			if name == "pictures/p2.jpg" {
				return nil, errors.New("no such file")
			}
			return fixedPicture(), nil
		}}
}

// TestNewRecord checks what a build's record says of it.
func TestNewRecord(t *testing.T) {
	r, err := NewRecord(fixedSource(t))
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Bearings) != 4 || len(r.Strips) != 1 || len(r.Sheets) != 1 || r.Sheets[0] != "6C3H2P, print checked with callipers, card 0.85 mm thick" {
		t.Fatalf("%d bearings, strips %q, sheets %q", len(r.Bearings), r.Strips, r.Sheets)
	}
	m1, m2, gone, b1 := r.Bearings[0], r.Bearings[1], r.Bearings[2], r.Bearings[3]
	if m1.State != MarkGood || m1.New.Word != "inside" || m1.Parts == nil || m1.Parts.En == nil || len(m1.Refused) != 1 {
		t.Errorf("M1: %+v", m1)
	}
	// Bore less two walls less journal: 59.043 - 4 - 55.
	if p := m1.Parts.Predicted.MM; p < 0.04299 || p > 0.04301 {
		t.Errorf("M1's parts predict %v mm, want 0.043", p)
	}
	if m2.State != MarkBad || m2.StateWord != "tapered" || m2.TaperWord != "confirmed" || len(m2.Readings) != 2 {
		t.Errorf("M2: %s %s, taper %s, %d readings", m2.State, m2.StateWord, m2.TaperWord, len(m2.Readings))
	}
	if m2.Readings[0].Picture != nil || !strings.Contains(m2.Readings[0].Missing, "not there any more") {
		t.Errorf("M2's lost picture: %q", m2.Readings[0].Missing)
	}
	if n := strings.Join(m2.Notes, " "); !strings.Contains(n, "Reading 3 against reading 2, of another strip: confirmed") {
		t.Errorf("M2's notes: %s", n)
	}
	if gone.State != MarkMissing || gone.Clearance != nil || len(gone.Readings) != 1 || gone.Readings[0].Set != "taken back: the shaft was turned" {
		t.Errorf("bearing without a standing reading: %+v", gone)
	}
	if len(b1.Positions) != 2 || b1.Positions[1].Name != "90°" || !strings.Contains(strings.Join(b1.Notes, " "), "diameters differ by about 0.0199 mm") {
		t.Errorf("B1: positions %+v, notes %q", b1.Positions, b1.Notes)
	}
	if len(r.Unplaced) != 1 || r.Unplaced[0].Message != "no card is seen" {
		t.Errorf("photos of no known bearing: %+v", r.Unplaced)
	}
	g := r.Groups[0]
	if g.New != "0.0300 to 0.0560 mm (1.18 to 2.20 thou)" || g.Service != "up to 0.0600 mm (up to 2.36 thou)" ||
		g.Torque != "30 N m (22.1 lbf ft), then 45°" {
		t.Errorf("group %+v", g)
	}
}

// TestRecordOfBuild is the whole page of the fixed build, and that a second time
// gives the same bytes.
func TestRecordOfBuild(t *testing.T) {
	var pages [2]string
	for i := range pages {
		r, err := NewRecord(fixedSource(t))
		if err != nil {
			t.Fatal(err)
		}
		pages[i] = recordText(t, r)
	}
	if pages[0] != pages[1] {
		t.Error("two runs give two pages")
	}
	if strings.Contains(pages[0], "<script") || strings.Contains(pages[0], "ZgotmplZ") {
		t.Error("a bearing's name got out")
	}
	golden(t, "record-build.html", pages[0])
}

// TestRecordCSV checks that figures keep their digits and every bearing has a line.
func TestRecordCSV(t *testing.T) {
	r, err := NewRecord(fixedSource(t))
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := RecordCSV(&b, r); err != nil {
		t.Fatal(err)
	}
	golden(t, "record.csv", b.String())
}

// TestNewRecordRefuses checks that a reading nobody can understand is an error.
func TestNewRecordRefuses(t *testing.T) {
	s := fixedSource(t)
	for i, e := range s.Journal.Entries {
		if e.Reading != nil {
			bad := *e.Reading
			bad.Result = json.RawMessage(`{"outcome":"read"}`)
			s.Journal.Entries[i].Reading = &bad
			break
		}
	}
	if _, err := NewRecord(s); err == nil || !strings.Contains(err.Error(), "reading 1") {
		t.Errorf("a reading without clearance: %v", err)
	}
}

// TestEveryStepHasAState reads the codes of next steps from their source, so that a
// new one is not shown as unsettled by oversight.
func TestEveryStepHasAState(t *testing.T) {
	source, err := os.ReadFile("../../../clearance/build/status.go")
	if err != nil {
		t.Fatal(err)
	}
	codes := regexp.MustCompile(`(?m)^\tStep\w+ += "([a-z-]+)"`).FindAllSubmatch(source, -1)
	if len(codes) < 12 {
		t.Fatalf("%d codes found in status.go", len(codes))
	}
	for _, c := range codes {
		if _, ok := stepStates[string(c[1])]; !ok {
			t.Errorf("the step %q has no state in the record", c[1])
		}
	}
}
