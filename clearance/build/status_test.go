package build

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"stripgap/clearance"
)

// engine is an invented build: limits 0.030 to 0.056 mm, service to 0.070 mm.
const engine = `name = "invented"
[[group]]
name = "mains"
kind = "mains"
limits_new = "0.030..0.056 mm"
limits_service = "..0.070 mm"
strip_on = "shell"
journal_diameter = "55 mm"
[[group.bearing]]
name = "M1"
[[group.bearing]]
name = "M2"
[[group.bearing]]
name = "M3"
[[group.bearing]]
name = "M4"
`

// told is a made-up reading; its own uncertainty is 0.4 um unless u says otherwise.
type told struct {
	bearing    string
	mm, taper  float64
	u          float64 // mm
	taperU     float64 // mm, standard; 0: 0.0005
	strip      int     // 0: newly laid
	position   float64 // degrees; negative: none
	flags      []string
	outOfRange bool
	undirected bool
	bare       bool // made without a surface
	taken      string
	lot        string
}

func (r told) entry(j Journal) Entry {
	u := r.u
	if u == 0 {
		u = 0.0004
	}
	taperU := r.taperU
	if taperU == 0 {
		taperU = 0.0005
	}
	ends := [2]string{"front", "rear"}
	if r.undirected {
		ends = [2]string{"a", "b"}
	}
	flags := slices.Clone(r.flags)
	if r.outOfRange {
		flags = append(flags, clearance.FlagOutOfRange)
	}
	text, err := json.Marshal(map[string]any{
		"taken":     r.taken,
		"card":      map[string]any{"serial": "2346W2"},
		"clearance": map[string]any{"mean_mm": r.mm, "u_mm": u, "U_mm": 2 * u, "k": 2, "taper_mm": r.taper, "taper_U_mm": 2 * taperU, "bow_mm": 0},
		"ends":      []any{map[string]any{"name": ends[0], "clearance_mm": r.mm + r.taper/2}, map[string]any{"name": ends[1], "clearance_mm": r.mm - r.taper/2}},
		"budget":    []any{map[string]any{"name": "edge noise", "u_mm": u, "common": false}},
		"flags":     flags,
	})
	if err != nil {
		panic(err)
	}
	n := j.NextNumber()
	out := Reading{Number: n, Bearing: r.bearing, Strip: r.strip, Result: text, On: OnShell, Diameter: 55,
		Photos: []Photo{{fmt.Sprintf("%d.jpg", n), fmt.Sprintf("%064d", n)}}, Lot: Lot{Name: "thin" + r.lot, RangeLo: 0.025, RangeHi: 0.076}}
	if r.bare {
		out.On, out.Diameter = "", 0
	}
	if r.position >= 0 {
		out.Position = &r.position
	}
	out.StripTold = r.strip > 0
	if out.Strip == 0 {
		out.Strip = j.NextStrip(r.bearing, out.Position)
	}
	return Entry{Reading: &out}
}

// status works out the status of a build after readings and other entries.
func status(t *testing.T, text string, entries ...any) Status {
	t.Helper()
	b, err := Parse([]byte(text), "build.toml", anyName)
	if err != nil {
		t.Fatal(err)
	}
	var j Journal
	for _, e := range append([]any{Entry{Begun: &Begun{Build: "A7X4N2"}}}, entries...) {
		entry, ok := e.(Entry)
		if !ok {
			entry = e.(told).entry(j)
		}
		if j, _, err = j.With(entry, noon); err != nil {
			t.Fatal(err)
		}
	}
	s, err := b.Status(j)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func codes(notes []Note) string {
	var list []string
	for _, n := range notes {
		list = append(list, n.Code)
	}
	return strings.Join(list, " ")
}

// TestNextStep: what is to be done for M1 after these readings.
func TestNextStep(t *testing.T) {
	m1 := func(mm, taper float64) told { return told{bearing: "M1", mm: mm, taper: taper, position: -1} }
	with := func(r told, change func(*told)) told { change(&r); return r }
	photos := func(name string) []Photo { return []Photo{{name, strings.Repeat("e", 64)}} }
	refused := Entry{Refused: &Refused{Photos: photos("x.jpg"), Bearing: "M1", Code: "blurred", Message: "not sharp", Remedy: "hold still"}}
	withdrawn := Entry{Withdraw: &Withdrawal{Number: 1, Reason: "cap not torqued"}}
	for _, c := range []struct {
		name    string
		entries []any
		step    string
		text    string // part of the step's
		flags   string
		new     clearance.Verdict
	}{
		{"nothing yet", nil, StepPhoto, "lay a strip", "", ""},
		{"refused", []any{refused}, StepPhoto, "the last photo was refused: not sharp; hold still", "", ""},
		{"taken back", []any{m1(0.045, 0), withdrawn}, StepPhoto, "lay a strip", "", ""},
		{"inside", []any{m1(0.045, 0.001)}, StepDone, "inside the limits for new parts", "", clearance.Inside},
		{"inside after a refusal", []any{refused, m1(0.045, 0.001)}, StepDone, "", "", clearance.Inside},
		{"a flag of the reading", []any{with(m1(0.045, 0), func(r *told) { r.flags = []string{"print-unchecked"} })}, StepDone, "", "print-unchecked", clearance.Inside},
		// 0.0127 mm is the taper limit; drawn in by what is uncertain it is 0.0095.
		{"taper", []any{m1(0.045, 0.014)}, StepSecond, "its ends differ", FlagTaper, clearance.Inside},
		{"taper near the limit", []any{m1(0.045, 0.0100)}, StepSecond, "its ends differ", FlagTaper, clearance.Inside},
		{"taper below the limit", []any{m1(0.045, 0.0090)}, StepDone, "", "", clearance.Inside},
		{"taper that cannot be told", []any{with(m1(0.045, 0.001), func(r *told) { r.taperU = 0.003 })}, StepSurer, "take two photos", FlagTaperUnsure, clearance.Inside},
		{"taper told by two", []any{with(m1(0.045, 0.001), func(r *told) { r.taperU = 0.0026 }), with(m1(0.045, 0.001), func(r *told) { r.taperU = 0.0026 })}, StepDone, "", "", clearance.Inside},
		{"taper confirmed", []any{m1(0.045, 0.014), m1(0.0455, 0.0145)}, StepMicrometer, "the taper is the bearing's", FlagTaperReal, clearance.Inside},
		{"taper not repeated", []any{m1(0.045, 0.014), m1(0.045, 0.001)}, StepThird, "lay a third strip", FlagDisagree, ""},
		{"taper outvoted", []any{m1(0.045, 0.014), m1(0.045, 0.001), m1(0.0452, 0.001)}, StepDone, "", FlagTaperNot, clearance.Inside},
		{"two that disagree", []any{m1(0.045, 0), m1(0.055, 0)}, StepThird, "the two do not agree", FlagDisagree, ""},
		{"three that disagree", []any{m1(0.035, 0), m1(0.045, 0), m1(0.055, 0)}, StepMicrometer, "3 strips do not agree", FlagDisagree, ""},
		{"one taken back of two", []any{m1(0.060, 0), withdrawn, m1(0.045, 0)}, StepDone, "", "", clearance.Inside},
		{"one strip read twice", []any{m1(0.045, 0.014), with(m1(0.045, 0.0138), func(r *told) { r.strip = 1 })}, StepSecond, "", FlagTaper, clearance.Inside},
		{"too loose once", []any{m1(0.062, 0)}, StepSecond, "too large for new parts", "", clearance.Outside},
		{"an end too loose", []any{m1(0.0535, 0.009)}, StepSecond, "lay a second strip to confirm: an end lies beyond a limit", FlagEndOutside, clearance.Inside},
		{"an end too tight", []any{m1(0.0325, -0.009)}, StepSecond, "an end lies beyond a limit", FlagEndOutside, clearance.Inside},
		{"an end too loose twice", []any{m1(0.0538, 0.009), m1(0.0538, 0.009)}, StepMicrometer, "measure journal and bore at both ends", FlagEndOutside, clearance.Inside},
		{"ends as unsure as that", []any{m1(0.0535, 0.006)}, StepDone, "", "", clearance.Inside},
		{"too loose twice", []any{m1(0.062, 0), m1(0.0622, 0)}, StepWorn, "too large for new parts, inside the service limits", "", clearance.Outside},
		{"far too loose twice", []any{m1(0.072, 0), m1(0.0722, 0)}, StepOutside, "too large for the service limits: parts must change before assembly; each shell 0.01455", "", clearance.Outside},
		{"too tight twice", []any{m1(0.027, 0), m1(0.0272, 0)}, StepWorn, "too small for new parts", "", clearance.Outside},
		{"cannot tell", []any{m1(0.056, 0)}, StepSurer, "whether also inside those for new parts cannot be told", "", clearance.CannotTell},
		{"cannot tell by three", []any{m1(0.056, 0), m1(0.0561, 0), m1(0.0559, 0)}, StepMicrometer, "", "", clearance.CannotTell},
		{"outside the strip's range", []any{with(m1(0.090, 0), func(r *told) { r.outOfRange = true })}, StepOtherSpan, "reads about 0.0900 mm (3.54 thou) and may not be judged there: use a strip made for 0.051..0.152 mm (0.0020..0.0060 in)", FlagOutOfRange, ""},
		{"then another strip", []any{with(m1(0.090, 0), func(r *told) { r.outOfRange = true }), with(m1(0.092, 0), func(r *told) { r.lot = "thick" })}, StepSecond, "too large for the service limit", FlagSeveralLots, clearance.Outside},
	} {
		s := status(t, engine, c.entries...)
		b := s.Bearings[0]
		if b.Next.Code != c.step || !strings.Contains(b.Next.Text, c.text) {
			t.Errorf("%s: next %s: %s; want %s: %s", c.name, b.Next.Code, b.Next.Text, c.step, c.text)
		}
		if got := codes(b.Flags); got != c.flags {
			t.Errorf("%s: flags %q, want %q", c.name, got, c.flags)
		}
		switch {
		case (b.New == nil) != (c.new == ""):
			t.Errorf("%s: verdict %+v, want %q", c.name, b.New, c.new)
		case b.New != nil && b.New.Verdict != c.new:
			t.Errorf("%s: verdict %q, want %q", c.name, b.New.Verdict, c.new)
		}
		if got, want := s.Outside(), c.new == clearance.Outside; got != want {
			t.Errorf("%s: outside %v", c.name, got)
		}
		if (b.Clearance == nil) != (b.New == nil) {
			t.Errorf("%s: clearance %+v beside verdict %+v", c.name, b.Clearance, b.New)
		}
	}
}

// TestNextStepByBuild: what build.toml says changes the step.
func TestNextStepByBuild(t *testing.T) {
	r := told{bearing: "M1", mm: 0.056, position: -1}
	for _, c := range []struct{ from, to, step, text string }{
		{"limits_new = \"0.030..0.056 mm\"\nlimits_service = \"..0.070 mm\"\n", "", StepLimits, "limits for the mains"},
		{"limits_new = \"0.030..0.056 mm\"\n", "", StepDone, "inside the service limits"},
		{"limits_service = \"..0.070 mm\"\n", "", StepSurer, "a limit lies within the uncertainty: take two photos"},
		{"limits_service = \"..0.070 mm\"\nstrip_on = \"shell\"\njournal_diameter = \"55 mm\"\n", "", StepSurer, "write journal_diameter into build.toml, or take two"},
		{"limits_new = \"0.030..0.056 mm\"\nlimits_service = \"..0.070 mm\"\n", "limits_new = \"..0.050 mm\"\n", StepSecond, "too large for new parts"},
		{"name = \"invented\"\n", "taper_limit = \"0.1 mm\"\n", StepSurer, ""},
	} {
		r.bare = strings.Contains(c.from, "strip_on")
		s := status(t, strings.Replace(engine, c.from, c.to, 1), r)
		if n := s.Bearings[0].Next; n.Code != c.step || !strings.Contains(n.Text, c.text) {
			t.Errorf("%s: %+v, want %s %s", c.to, n, c.step, c.text)
		}
	}
}

// TestBuildChanged: a reading made for what build.toml no longer says is not passed
// off as one made for what it says now.
func TestBuildChanged(t *testing.T) {
	r := told{bearing: "M1", mm: 0.045, position: -1}
	for _, c := range []struct{ from, to, text string }{
		{`strip_on = "shell"`, `strip_on = "shell"`, ""},
		{`"55 mm"`, `"50 mm"`, "reading 1 was made for a journal diameter of 55 mm, and build.toml now says 50 mm"},
		{`strip_on = "shell"`, `strip_on = "journal"`, `reading 1 was made for a strip on "shell", and build.toml now says "journal"`},
		{"journal_diameter = \"55 mm\"\n", "", "reading 1 was made for a journal diameter of 55 mm, and build.toml now says none"},
	} {
		b := status(t, strings.Replace(engine, c.from, c.to, 1), r).Bearings[0]
		switch {
		case c.text == "" && (len(b.Flags) != 0 || b.Next.Code != StepDone):
			t.Errorf("unchanged: %+v", b)
		case c.text != "" && (codes(b.Flags) != FlagChanged || b.Flags[0].Text != c.text || b.Next.Code != StepAgain):
			t.Errorf("%s: %+v %+v", c.to, b.Flags, b.Next)
		}
	}
}

// TestOneStrip: two photos of one strip are no second strip, and where the camera's
// clock says that they can hardly be two, the person is asked.
func TestOneStrip(t *testing.T) {
	at := func(clock string, strip int) told {
		return told{bearing: "M1", mm: 0.045, position: -1, taken: "2024-02-29T" + clock, strip: strip}
	}
	for _, c := range []struct {
		name    string
		entries []any
		step    string
	}{
		{"too soon", []any{at("12:00:00", 0), at("12:02:59", 0)}, StepWhichStrip},
		{"too soon, the later first", []any{at("12:02:59", 0), at("12:00:00", 0)}, StepWhichStrip},
		{"later", []any{at("12:00:00", 0), at("12:03:00", 0)}, StepDone},
		{"said to be two", []any{at("12:00:00", 0), at("12:01:00", 2)}, StepDone},
		{"said to be one", []any{at("12:00:00", 0), at("12:01:00", 1)}, StepDone},
		{"no clock", []any{at("", 0), at("", 0)}, StepDone},
	} {
		b := status(t, engine, c.entries...).Bearings[0]
		if b.Next.Code != c.step || (codes(b.Flags) == FlagOneStrip) != (c.step == StepWhichStrip) {
			t.Errorf("%s: %+v %+v", c.name, b.Next, b.Flags)
		}
	}
}

// TestStranger: a reading of a bearing that was renamed is told of.
func TestStranger(t *testing.T) {
	s := status(t, engine, told{bearing: "M1", mm: 0.045, position: -1}, told{bearing: "M9", mm: 0.045, position: -1})
	if len(s.Hints) != 1 || s.Hints[0].Code != HintStranger || !strings.Contains(s.Hints[0].Text, "2 (M9)") {
		t.Errorf("%+v", s.Hints)
	}
}

// TestStatusCombines checks a settled clearance by hand: two strips of one u and
// no shared term, each with the allowance for laying of 1.27 um, average to the
// middle with u = sqrt((0.4^2 + 1.27^2)/2) um = 0.9415 um.
func TestStatusCombines(t *testing.T) {
	s := status(t, engine, told{bearing: "M1", mm: 0.044, position: -1}, told{bearing: "M1", mm: 0.046, position: -1})
	c := s.Bearings[0].Clearance
	if c == nil || math.Abs(c.MM-0.045) > 1e-12 || math.Abs(c.U-0.00094152) > 1e-8 || c.Expanded != 2*c.U || c.Coverage != 2 {
		t.Errorf("%+v", c)
	}
	if b := s.Bearings[0]; b.Strips != 2 || !slices.Equal(b.Readings, []int{1, 2}) {
		t.Errorf("%+v", b)
	}
}

// round is the engine with three positions.
var round = strings.Replace(engine, "strip_on", "positions = [\"0 deg\", \"60 deg\", \"120 deg\"]\nstrip_on", 1)

func TestPositions(t *testing.T) {
	at := func(deg, mm float64) told { return told{bearing: "M1", mm: mm, position: deg} }
	s := status(t, round, at(60, 0.045), at(0, 0.045)).Bearings[0]
	if s.Next.Code != StepPhoto || !strings.Contains(s.Next.Text, "turn the shaft and lay a strip at 120 deg") || len(s.Positions) != 2 || s.Positions[0].Position != 0 {
		t.Errorf("%+v", s)
	}
	s = status(t, round, at(0, 0.045), at(60, 0.0452), at(120, 0.0448)).Bearings[0]
	if s.Next.Code != StepDone || s.Round == nil || s.Round.OutOfRound || math.Abs(s.Clearance.MM-0.045) > 1e-12 {
		t.Errorf("%+v %+v", s, s.Round)
	}
	// By hand: c = 0.045 + 0.010 cos 2a gives 0.055, 0.040, 0.040 at 0, 60, 120 deg,
	// so the diameters differ by 0.020 mm.
	s = status(t, round, at(0, 0.055), at(60, 0.040), at(120, 0.040)).Bearings[0]
	if s.Round == nil || !s.Round.OutOfRound || math.Abs(s.Round.MM-0.020) > 0.0005 || codes(s.Flags) != FlagOutOfRound || s.Next.Code != StepSecond {
		t.Errorf("%+v %+v", s, s.Round)
	}
	// The worst place decides: 0.062 is too large, whatever the mean.
	s = status(t, round, at(0, 0.062), at(60, 0.040), at(120, 0.040)).Bearings[0]
	if s.New.Verdict != clearance.Outside || s.New.Side != "too large" || s.Positions[1].New.Verdict != clearance.Inside {
		t.Errorf("%+v", s.New)
	}
	// A position taken out of build.toml later still counts.
	s = status(t, engine, at(0, 0.045), at(45, 0.045)).Bearings[0]
	if len(s.Positions) != 2 || s.Next.Code != StepDone {
		t.Errorf("%+v", s)
	}
}

func TestApartFromGroup(t *testing.T) {
	read := func(bearing string, mm float64) told { return told{bearing: bearing, mm: mm, position: -1} }
	s := status(t, engine, read("M1", 0.034), read("M2", 0.0341), read("M3", 0.0339), read("M4", 0.053))
	for i, want := range []string{"", "", "", FlagApart} {
		if got := codes(s.Bearings[i].Flags); got != want {
			t.Errorf("%s: flags %q, want %q", s.Bearings[i].Name, got, want)
		}
	}
	if n := s.Bearings[3].Next; n.Code != StepSecond || !strings.Contains(n.Text, "apart from its group") {
		t.Errorf("%+v", n)
	}
	if n := s.Bearings[3].Flags[0].Text; !strings.Contains(n, "0.0190 mm (0.75 thou) from the others of the mains") {
		t.Errorf("%s", n)
	}
}

// rods has three big ends with invented measures that predict 0.040 mm each, the
// shells of B2 0.005 mm thicker and those of B3 0.005 mm thinner than B1's.
const rods = `[[group]]
name = "big ends"
kind = "big ends"
strip_on = "shell"
journal_diameter = "55 mm"
limits_new = "0.020..0.060 mm"
bore_u = "0.001 mm"
shell_wall_u = "0.0005 mm"
journal_u = "0.001 mm"
[[group.bearing]]
name = "B1"
bore = "51.040 mm"
shell_wall = "1.500 mm"
journal = "48.000 mm"
[[group.bearing]]
name = "B2"
bore = "51.040 mm"
shell_wall = "1.505 mm"
journal = "47.990 mm"
[[group.bearing]]
name = "B3"
bore = "51.040 mm"
shell_wall = "1.495 mm"
journal = "48.010 mm"
`

func TestMicrometerRoute(t *testing.T) {
	read := func(bearing string, mm float64) told { return told{bearing: bearing, mm: mm, position: -1} }
	s := status(t, rods, read("B1", 0.0405))
	p := s.Bearings[0].Predicted
	// u = sqrt(1^2 + (2 x 0.5)^2 + 1^2) um = sqrt 3 um; E_n = 0.5/(2 sqrt(3 + 0.4^2)) = 0.1406.
	if p == nil || math.Abs(p.MM-0.040) > 1e-9 || math.Abs(p.U-0.001*math.Sqrt(3)) > 1e-12 || math.Abs(*p.NormalisedError-0.14063) > 1e-4 {
		t.Fatalf("%+v", p)
	}
	if s.Bearings[1].Predicted == nil || s.Bearings[1].Predicted.NormalisedError != nil {
		t.Errorf("%+v", s.Bearings[1].Predicted)
	}
	s = status(t, rods, read("B1", 0.050))
	if b := s.Bearings[0]; codes(b.Flags) != FlagParts || b.Next.Code != StepSecond || !strings.Contains(b.Flags[0].Text, "the parts' measures give 0.0400 mm (1.57 thou), the strips 0.0500 mm") {
		t.Errorf("%+v", b)
	}
	s = status(t, rods, read("B1", 0.050), read("B1", 0.0501))
	if b := s.Bearings[0]; b.Next.Code != StepMicrometer {
		t.Errorf("%+v", b)
	}
}

// TestSwapHint: with B2's and B3's shells exchanged B2 reads 0.060 and B3 0.020 mm.
func TestSwapHint(t *testing.T) {
	read := func(bearing string, mm float64) told { return told{bearing: bearing, mm: mm, position: -1} }
	s := status(t, rods, read("B1", 0.040), read("B2", 0.040), read("B3", 0.040))
	if len(s.Hints) != 0 || s.Bearings[1].Next.Code != StepDone {
		t.Errorf("in order: %+v", s)
	}
	s = status(t, rods, read("B1", 0.040), read("B2", 0.060), read("B3", 0.020))
	if len(s.Hints) != 1 || !strings.Contains(s.Hints[0].Text, "the shells of B2 and B3") {
		t.Fatalf("%+v", s.Hints)
	}
	for i, want := range []string{StepDone, StepOrder, StepOrder} {
		if got := s.Bearings[i].Next.Code; got != want {
			t.Errorf("%s: %s, want %s", s.Bearings[i].Name, got, want)
		}
	}
}

// TestStatusJSON holds the JSON to its field names, and finds every estimate's
// standard and expanded uncertainty again, whose names differ in case only.
func TestStatusJSON(t *testing.T) {
	s := status(t, round, told{bearing: "M1", mm: 0.045, position: 0}, told{bearing: "M1", mm: 0.045, position: 60})
	text, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	var back Status
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if c := back.Bearings[0].Clearance; c.U != 0.0004 || c.Expanded != 0.0008 {
		t.Errorf("%+v", c)
	}
	for _, name := range []string{`"schema":1`, `"build":`, `"bearings":[`, `"bearing":"M1"`, `"mm":0.045`, `"u_mm":`, `"U_mm":`, `"new":{"verdict":"inside"`,
		`"positions":[{"position_deg":0,"readings":[1]`, `"round":{`, `"next":{"code":"take-photo","text":`, `"readings":[]`} {
		if !strings.Contains(string(text), name) {
			t.Errorf("%s is missing in %s", name, text)
		}
	}
}
