package pipeline

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/clearance"
	"stripgap/vision"
)

// wide is a made-up measurement: a strip 1.5 mm wide that tapers by 0.02 mm.
func wide() *vision.Measurement {
	p := &vision.Profile{
		Mean: 1.5, U: 0.005, Taper: 0.02, TaperU: 0.004, Bow: 0.001,
		Ends: [2]vision.End{
			{Name: "front", Card: calib.CardPoint{X: 10, Y: 30}, Width: 1.51},
			{Name: "rear", Card: calib.CardPoint{X: -10, Y: 30}, Width: 1.49}},
		Stations: []vision.Station{
			{At: 5, Width: 1.505, U: 0.006}, {At: 0, Dropped: "glare"}, {At: -5, Width: 1.495, U: 0.006}},
		Budget: []vision.Term{{Name: "edge noise", U: 0.003}, {Name: "height", U: 0.003, Common: true},
			{Name: "edge processing", U: 0.0025, Common: true}},
		TaperBudget: []vision.Term{{Name: "edge noise", U: 0.004}, {Name: "height", U: 0.003 * 0.02 / 1.5, Common: true}},
	}
	return &vision.Measurement{
		Card: &vision.Card{Layout: calib.Rider(), Serial: "ABC", Bearing: "M1"}, Profile: p, PxPerMM: 30,
		Checks: []vision.Check{{Name: "witness scale", OK: true, Value: 0.2, Limit: 1, Unit: "um"}},
	}
}

// strand is a lot of 0.300 mm strand: by hand, A = pi 0.3^2/4 = 0.070686 mm2.
func strand() *calib.Lot {
	return &calib.Lot{Name: "test",
		SectionArea: calib.AreaFromDiameter(quantity.Value{X: 0.3, U: 0.002}), RangeLo: 0.025, RangeHi: 0.076}
}

// readerOf gives m and err whatever the photo.
func readerOf(m *vision.Measurement, err error) *Reader {
	return &Reader{
		Load:    func(string) (*vision.Photo, error) { return &vision.Photo{Luma: vision.NewPlane(4, 3)}, nil },
		Measure: func(*vision.Photo, vision.Options) (*vision.Measurement, error) { return m, err },
		Given:   Given{Lot: strand(), Coverage: 2},
	}
}

func TestReadClearance(t *testing.T) {
	r := readerOf(wide(), nil).Read(Task{Photo: "m1.jpg"}).Result
	if r.Outcome != OutcomeRead || r.Clearance == nil {
		t.Fatalf("%+v", r)
	}
	// d 0.300 mm crushed to 1.500 mm: 0.0471239 mm with square edges
	// (pi d^2/4 / w), a few tenths of a per cent more with half the bulge.
	const square = 0.0471239
	if c := r.Clearance; c.Mean < square || c.Mean > 1.006*square || c.Expanded != 2*c.U || c.Coverage != 2 {
		t.Errorf("clearance %+v", c)
	}
	// The front is wider, so its clearance is smaller and the taper negative.
	if c := r.Clearance; !(c.Taper < 0) || *r.Ends[0].Clearance >= *r.Ends[1].Clearance ||
		math.Abs(c.Taper-(*r.Ends[0].Clearance-*r.Ends[1].Clearance)) > 1e-15 {
		t.Errorf("taper %v, ends %v %v", c.Taper, *r.Ends[0].Clearance, *r.Ends[1].Clearance)
	}
	// The budget is the clearance's: it adds up to its uncertainty.
	var sum float64
	for _, term := range r.Budget {
		sum = math.Hypot(sum, term.U)
	}
	if math.Abs(sum/r.Clearance.U-1) > 1e-12 {
		t.Errorf("budget adds up to %v, u is %v", sum, r.Clearance.U)
	}
	if r.Profile[1].Dropped != "glare" || r.Profile[1].Width != nil || r.Profile[1].Clearance != nil {
		t.Errorf("dropped station %+v", r.Profile[1])
	}
	if !strings.Contains(strings.Join(r.Flags, " "), FlagPrintUnchecked) {
		t.Errorf("flags %q", r.Flags)
	}
}

// TestContract holds the JSON to the field names of the contract, which other
// programs rely on.
func TestContract(t *testing.T) {
	m := wide()
	m.Profile.Taper, m.Profile.Ends[0].Width, m.Profile.Ends[1].Width = 0, 1.5, 1.5
	got := decoded(t, readerOf(m, nil).Read(Task{Photo: "m1.jpg"}).Result)
	want := map[string][]string{
		"":          {"photos", "outcome", "card", "camera", "scale_px_per_mm", "width", "ends", "clearance", "profile", "budget", "checks", "flags"},
		"card":      {"layout", "serial", "bearing", "print_checked"},
		"camera":    {"from"},
		"width":     {"mean_mm", "u_mm", "taper_mm", "taper_u_mm"},
		"ends":      {"name", "card_mm", "width_mm", "clearance_mm"},
		"clearance": {"mean_mm", "u_mm", "U_mm", "k", "taper_mm", "taper_U_mm", "bow_mm"},
		"profile":   {"at_mm", "width_mm", "u_mm", "clearance_mm"},
		"budget":    {"name", "u_mm", "common"},
		"checks":    {"name", "ok", "value", "limit", "unit"},
	}
	for part, names := range want {
		object := got
		switch v := got[part].(type) {
		case map[string]any:
			object = v
		case []any:
			object = v[0].(map[string]any)
		}
		for _, n := range names {
			if _, ok := object[n]; !ok {
				t.Errorf("%q has no field %q", part, n)
			}
		}
		if len(object) != len(names) {
			t.Errorf("%q has fields %v, want %v", part, object, names)
		}
	}
	// A taper of nought is a finding, not an absence.
	if v, ok := got["width"].(map[string]any)["taper_mm"]; !ok || v.(float64) != 0 {
		t.Errorf("taper_mm is %v", v)
	}
}

func decoded(t *testing.T, r Result) map[string]any {
	t.Helper()
	text, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var out map[string]any
	if err := json.Unmarshal(text, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

func TestReadWithoutLot(t *testing.T) {
	reader := readerOf(wide(), nil)
	reader.Lot = nil
	r := reader.Read(Task{Photo: "m1.jpg"}).Result
	if r.Outcome != OutcomeRead || r.Clearance != nil || r.Ends[0].Clearance != nil || r.Width.Mean != 1.5 {
		t.Errorf("%+v", r)
	}
	if len(r.Budget) != 3 {
		t.Errorf("budget of the width %+v", r.Budget)
	}
}

// TestWidthProfile checks how vision's terms are told apart: the made-up height
// term acts on the taper exactly as its share of the width, so it is pure scale.
func TestWidthProfile(t *testing.T) {
	p := wide().Profile
	got := widthProfile(p)
	want := map[string]clearance.Kind{
		"edge noise": clearance.Own, "height": clearance.Scale, "edge processing": clearance.Offset}
	for _, term := range got.Terms {
		if term.Kind != want[term.Name] {
			t.Errorf("%s is of kind %d, want %d", term.Name, term.Kind, want[term.Name])
		}
	}
	if math.Abs(got.TaperU-0.004) > 1e-12 {
		t.Errorf("TaperU %v, want the edge noise alone, 0.004", got.TaperU)
	}
	// A plane pitched along the strip acts on the taper far beyond that share:
	// by Pythagoras 0.003 beside 0.004 makes 0.005.
	p.TaperBudget[1].U = math.Hypot(0.003, 0.003*0.02/1.5)
	if got := widthProfile(p); math.Abs(got.TaperU-0.005) > 1e-12 {
		t.Errorf("TaperU %v, want 0.005", got.TaperU)
	}
}

func TestReadRefusals(t *testing.T) {
	partly := &vision.Measurement{Card: &vision.Card{Layout: calib.Bench()}, PxPerMM: 20}
	thin := wide()
	thin.Profile.Mean = 0.25 // less than the strand's 0.300 mm
	nan := wide()
	nan.PxPerMM = math.Inf(1)
	lost := readerOf(nil, nil)
	lost.Load = func(string) (*vision.Photo, error) { return nil, vision.Refuse(vision.CodeTruncated, "") }
	broken := readerOf(nil, nil)
	broken.Measure = func(*vision.Photo, vision.Options) (*vision.Measurement, error) { panic("index out of range") }
	cases := map[string]struct {
		reader *Reader
		code   string
	}{
		"by vision":         {readerOf(partly, vision.Refuse(vision.CodeNoStrip, "")), vision.CodeNoStrip},
		"at loading":        {lost, vision.CodeTruncated},
		"panic":             {broken, codeInternal},
		"plain error":       {readerOf(nil, errors.New("boom")), codeInternal},
		"no profile":        {readerOf(partly, nil), codeInternal},
		"not crushed":       {readerOf(thin, nil), codeNotCrushed},
		"number not finite": {readerOf(nan, nil), codeInternal},
	}
	for name, c := range cases {
		r := c.reader.Read(Task{Photo: "m1.jpg"}).Result
		if r.Outcome != OutcomeRefused || r.Refusal == nil || r.Refusal.Code != c.code ||
			r.Refusal.Message == "" || r.Refusal.Remedy == "" || r.Clearance != nil {
			t.Errorf("%s: %+v %+v", name, r, r.Refusal)
		}
		decoded(t, r)
	}
	r := cases["by vision"].reader.Read(Task{Photo: "m1.jpg"}).Result
	if r.Card == nil || *r.Scale != 20 {
		t.Errorf("a refusal hides what was found: %+v", r)
	}
}

func TestPicture(t *testing.T) {
	makeFiles(t, "out/x")
	reader := readerOf(nil, vision.Refuse(vision.CodeNoCard, ""))
	reader.Draw = func(_ *vision.Photo, _ *vision.Measurement, r *Result) ([]byte, error) {
		return []byte(r.Refusal.Code), nil
	}
	e := reader.Read(Task{Photo: "m1.jpg", Picture: filepath.Join("out", "m1-read.jpg")})
	if got, err := os.ReadFile("out/m1-read.jpg"); err != nil || string(got) != "no-card" || e.PictureErr != nil {
		t.Errorf("%q %v %v", got, err, e.PictureErr)
	}
	// A reading stands even when its picture cannot be written.
	reader.Measure = readerOf(wide(), nil).Measure
	reader.Draw = func(*vision.Photo, *vision.Measurement, *Result) ([]byte, error) { return nil, errors.New("full") }
	e = reader.Read(Task{Photo: "m1.jpg", Picture: "out/m2-read.jpg"})
	if e.PictureErr == nil || e.Result.Outcome != OutcomeRead {
		t.Errorf("%v %v", e.PictureErr, e.Result.Outcome)
	}
	if _, err := os.Stat("out/m2-read.jpg"); err == nil {
		t.Error("a failed picture left a file")
	}
	// The picture of an earlier run must not stand beside a file that is refused.
	reader.Load = func(string) (*vision.Photo, error) { return nil, vision.Refuse(vision.CodeEmpty, "") }
	reader.Read(Task{Photo: "m1.jpg", Picture: "out/m1-read.jpg"})
	if _, err := os.Stat("out/m1-read.jpg"); err == nil {
		t.Error("an old picture stands beside a refused file")
	}
	// A fault in drawing is the picture's alone.
	reader.Load = readerOf(nil, nil).Load
	reader.Draw = func(*vision.Photo, *vision.Measurement, *Result) ([]byte, error) { panic("index out of range") }
	e = reader.Read(Task{Photo: "m1.jpg", Picture: "out/m3-read.jpg"})
	if e.PictureErr == nil || e.Result.Outcome != OutcomeRead {
		t.Errorf("%v %v", e.PictureErr, e.Result.Outcome)
	}
}

func TestVerdict(t *testing.T) {
	limits := func(s string) *clearance.Limits {
		l, err := clearance.ParseLimits(s)
		if err != nil {
			t.Fatal(err)
		}
		return &l
	}
	// The made-up strip reads about 0.0472 mm with U about 0.0014 mm.
	reader := readerOf(wide(), nil)
	reader.Limits = Limits{New: limits("0.020..0.040mm"), Service: limits("..0.0035in")}
	r := reader.Read(Task{Photo: "m1.jpg"}).Result
	if r.Verdict == nil || r.Verdict.New.Verdict != "outside" || r.Verdict.Service.Verdict != "inside" {
		t.Fatalf("%+v", r.Verdict)
	}
	// 0.0035 in is 0.0889 mm exactly.
	if !r.Outside() || r.Verdict.Service.Lo != nil || math.Abs(*r.Verdict.Service.Hi-0.0889) > 1e-15 {
		t.Errorf("%+v", r.Verdict.Service)
	}
	if j := r.Verdict.New; j.Conformity > 1e-6 || math.Abs(*j.Hi-*j.AcceptHi-r.Clearance.Expanded) > 1e-12 {
		t.Errorf("%+v, guard band should be U %v", j, r.Clearance.Expanded)
	}
	reader.Limits = Limits{New: limits("0.020..0.0475mm")}
	r = reader.Read(Task{Photo: "m1.jpg"}).Result
	if r.Verdict.New.Verdict != "cannot tell" || r.Outside() || r.Verdict.Service != nil {
		t.Errorf("%+v", r.Verdict)
	}
	// Outside the strip's own range nothing is judged.
	reader.Lot.RangeHi = 0.045
	r = reader.Read(Task{Photo: "m1.jpg"}).Result
	if r.Verdict != nil || !slices.Contains(r.Flags, FlagOutOfStripRange) || r.Outcome != OutcomeRead {
		t.Errorf("%+v %q", r.Verdict, r.Flags)
	}
}

func TestTaperFlag(t *testing.T) {
	m := wide() // 1.2 and 1.8 mm at the ends: by A/w 0.0589 and 0.0393 mm, more than 0.0127 apart
	m.Profile.Taper, m.Profile.Ends[0].Width, m.Profile.Ends[1].Width = 0.6, 1.8, 1.2
	if r := readerOf(m, nil).Read(Task{Photo: "m1.jpg"}).Result; !slices.Contains(r.Flags, FlagTaper) {
		t.Errorf("flags %q", r.Flags)
	}
	if r := readerOf(wide(), nil).Read(Task{Photo: "m1.jpg"}).Result; slices.Contains(r.Flags, FlagTaper) {
		t.Errorf("a small taper is flagged: %q", r.Flags)
	}
}

// TestEndOutside: ends of 1.62 and 1.38 mm are, by A/w, 0.0436 and 0.0512 mm wide open
// about a mean of 0.0472 mm, with U about 0.0015 mm.
func TestEndOutside(t *testing.T) {
	m := wide()
	m.Profile.Taper, m.Profile.Ends[0].Width, m.Profile.Ends[1].Width = 0.24, 1.62, 1.38
	for limits, want := range map[string]bool{
		"0.030..0.049mm": true, "0.0457..0.060mm": true, "0.030..0.051mm": false, "0.020..0.040mm": false, "0.030..0.048mm": false,
	} {
		l, err := clearance.ParseLimits(limits)
		if err != nil {
			t.Fatal(err)
		}
		reader := readerOf(m, nil)
		reader.Limits = Limits{Service: &l}
		r := reader.Read(Task{Photo: "m1.jpg"}).Result
		if got := slices.Contains(r.Flags, FlagEndOutside); got != want {
			t.Errorf("%s: %v, %s, ends %.4f and %.4f mm", limits, r.Flags, r.Verdict.Service.Verdict, *r.Ends[0].Clearance, *r.Ends[1].Clearance)
		}
	}
}

// TestFlagTexts checks that every flag set here is explained.
func TestFlagTexts(t *testing.T) {
	for _, f := range []string{FlagPrintUnchecked, FlagOutOfStripRange, FlagTaper, FlagTaperUnsure, FlagTemperature, FlagEndOutside} {
		if text, ok := FlagText(f); !ok || !strings.HasPrefix(text, f+": ") {
			t.Errorf("%s: %q", f, text)
		}
	}
	if _, ok := FlagText("no-such-flag"); ok {
		t.Error("explained a flag that is not there")
	}
}
