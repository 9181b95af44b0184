package pipeline

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"stripgap/calib"
	"stripgap/clearance"
	"stripgap/vision"
	"stripgap/vision/synth"
)

var truthDir = flag.String("truths", "", "rewrite samples/expected.json from the renderer's truths in this folder, NAME/photo-000.truth.json (`make samples` does)")

const samples = "../../../samples"

// sampleList is samples/expected.json: how each sample is read, what must come
// out, and what the renderer drew.
type sampleList struct {
	Readings []sample `json:"readings"`
}

type sample struct {
	Photos  []string     `json:"photos"`
	SHA256  []string     `json:"sha256"`
	Surface string       `json:"surface,omitempty"`   // what the reader is told of the metal
	Radius  float64      `json:"radius_mm,omitempty"` //
	New     string       `json:"new,omitempty"`       // limits
	Service string       `json:"service,omitempty"`   //
	Expect  sampleResult `json:"expect"`
	Truth   sampleTruth  `json:"truth"`
}

type sampleResult struct {
	Outcome string   `json:"outcome"`
	Refusal string   `json:"refusal,omitempty"` // code
	Bearing string   `json:"bearing"`
	New     string   `json:"new,omitempty"` // verdicts
	Service string   `json:"service,omitempty"`
	Flags   []string `json:"flags,omitempty"`
}

// sampleTruth is the strip as drawn. Ends are its two tips, their widths those of
// the straight line fitted to the true edges. Each clearance is the section area
// over the width beside it.
type sampleTruth struct {
	Width     float64      `json:"width_mm"` // mean
	Clearance float64      `json:"clearance_mm"`
	Taper     float64      `json:"taper_mm"` // of the clearance, first tip minus second
	Ends      [2]sampleEnd `json:"ends"`
}

type sampleEnd struct {
	Name      string          `json:"name"`
	Card      calib.CardPoint `json:"card_mm"`
	Width     float64         `json:"width_mm"`
	Clearance float64         `json:"clearance_mm"`
}

// Absolute tolerances beside each reading's own U, mm: our own targets, a
// twentieth of the narrowest limits in the samples and half of that.
const (
	sampleClearance = 0.0011
	sampleTaper     = 0.00055
)

// TestSamples reads every sample as `make demo` does and compares with what was
// drawn: nothing on the way is replaced.
func TestSamples(t *testing.T) {
	if testing.Short() {
		t.Skip("reads sixteen photos of 12 MP")
	}
	list := readSamples(t)
	if *truthDir != "" {
		for i := range list.Readings {
			list.Readings[i].learn(t)
		}
		list.write(t)
	}
	lot := sampleLot(t)
	listed := map[string]bool{}
	for _, s := range list.Readings {
		for i, name := range s.Photos {
			listed[name] = true
			if got := fileSum(t, filepath.Join(samples, name)); got != s.SHA256[i] {
				t.Errorf("%s: SHA-256 %s, expected.json says %s; run make samples", name, got, s.SHA256[i])
			}
		}
		t.Run(s.Photos[0], func(t *testing.T) { s.check(t, s.read(t, lot)) })
	}
	var files []string
	for _, pattern := range []string{"*.jpg", "build/photos/*"} {
		more, err := filepath.Glob(filepath.Join(samples, pattern))
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, more...)
	}
	if len(files) != len(listed) {
		t.Errorf("%d photos in samples, %d in expected.json", len(files), len(listed))
	}
}

// read reads a sample with what its user would tell.
func (s *sample) read(t *testing.T, lot *calib.Lot) Result {
	kinds := map[string]vision.SurfaceKind{"": vision.SurfaceUnknown, "flat": vision.SurfaceFlat,
		"shell": vision.SurfaceShell, "journal": vision.SurfaceJournal}
	r := &Reader{Load: vision.Load, Measure: vision.Measure, MeasurePair: vision.MeasurePair, Given: Given{Lot: lot, Coverage: 2,
		Options: vision.Options{Surface: vision.Surface{Kind: kinds[s.Surface], Radius: s.Radius}},
		Limits:  Limits{New: sampleLimits(t, s.New), Service: sampleLimits(t, s.Service)}}}
	task := Task{Photo: filepath.Join(samples, s.Photos[0])}
	if len(s.Photos) == 2 {
		task.Second = filepath.Join(samples, s.Photos[1])
	}
	return r.Read(task).Result
}

func (s *sample) check(t *testing.T, r Result) {
	want := s.Expect
	if r.Card == nil || r.Card.Bearing != want.Bearing {
		t.Errorf("card %+v, want bearing %q", r.Card, want.Bearing)
	}
	if r.Outcome != want.Outcome {
		t.Fatalf("%s %+v, want %s", r.Outcome, r.Refusal, want.Outcome)
	}
	if want.Outcome == OutcomeRefused {
		if r.Refusal.Code != want.Refusal || r.Refusal.Remedy == "" {
			t.Errorf("refused for %+v, want %q", r.Refusal, want.Refusal)
		}
		return
	}
	got := sampleResult{Outcome: r.Outcome, Bearing: want.Bearing, Flags: slices.Sorted(slices.Values(r.Flags))}
	if v := r.Verdict; v != nil {
		got.New, got.Service = v.New.Verdict, v.Service.Verdict
	}
	if got.New != want.New || got.Service != want.Service || !slices.Equal(got.Flags, want.Flags) {
		t.Errorf("%+v, want %+v", got, want)
	}
	s.Truth.check(t, r)
}

// check compares a reading with what was drawn. The reading stops short of the
// tips, so its ends and taper are compared with the true width line there.
func (s *sampleTruth) check(t *testing.T, r Result) {
	area := s.Width * s.Clearance
	near := func(what string, got, want, expanded, tolerance float64) {
		if d := math.Abs(got - want); d > expanded || d > tolerance {
			t.Errorf("%s %.5f mm, truth %.5f: off by %.5f, U %.5f, tolerance %.5f", what, got, want, d, expanded, tolerance)
		}
	}
	c := r.Clearance
	near("clearance", c.Mean, s.Clearance, c.Expanded, sampleClearance)
	near("width", r.Width.Mean, s.Width, c.Coverage*r.Width.U, s.Width*sampleClearance/s.Clearance)
	var ends [2]float64
	for i, e := range r.Ends {
		if e.Name != s.Ends[i].Name {
			t.Errorf("end %d is %q, truth %q", i, e.Name, s.Ends[i].Name)
		}
		ends[i] = area / s.widthAt(calib.CardPoint{X: e.Card[0], Y: e.Card[1]})
		near(e.Name+" end", *e.Clearance, ends[i], c.Expanded+c.TaperExpanded, sampleClearance)
	}
	near("taper", c.Taper, ends[0]-ends[1], c.TaperExpanded, sampleTaper)
}

// widthAt returns the true width line beside a place on the card.
func (s *sampleTruth) widthAt(p calib.CardPoint) float64 {
	a := s.Ends[0]
	d := s.Ends[1].Card.Sub(a.Card)
	return a.Width + (s.Ends[1].Width-a.Width)*p.Sub(a.Card).Dot(d)/d.Dot(d)
}

// TestSamplesRenderAgain draws one sample from its scene once more: the same
// bytes. Other processors may round differently, so there is nothing to compare.
func TestSamplesRenderAgain(t *testing.T) {
	if testing.Short() {
		t.Skip("renders a photo")
	}
	if runtime.GOARCH != "amd64" {
		t.Skip("the samples were rendered on amd64")
	}
	var scene synth.Scene
	readJSON(t, filepath.Join(samples, "scenes", "main1.json"), &scene)
	photo, _, err := synth.Render(scene)
	if err != nil {
		t.Fatal(err)
	}
	kept, err := os.ReadFile(filepath.Join(samples, "build", "photos", "main1.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(photo, kept) {
		t.Error("main1.jpg is not what its scene gives; run make samples")
	}
}

// learn takes sums and truth from the renderer's files.
func (s *sample) learn(t *testing.T) {
	s.SHA256 = nil
	for i, name := range s.Photos {
		stem := strings.TrimSuffix(filepath.Base(name), filepath.Ext(name))
		var truth synth.Truth
		readJSON(t, filepath.Join(*truthDir, stem, "photo-000.truth.json"), &truth)
		s.SHA256 = append(s.SHA256, truth.PhotoSHA256)
		drawn := sampleTruthOf(&truth.Strips[0])
		if i > 0 && drawn != s.Truth {
			t.Errorf("%s: not the strip of %s", name, s.Photos[0])
		}
		s.Truth = drawn
	}
}

func sampleTruthOf(s *synth.StripTruth) sampleTruth {
	round := func(x float64) float64 { return math.Round(1e6*x) / 1e6 } // to the nanometre
	out := sampleTruth{Width: round(s.MeanWidth), Clearance: round(s.SectionArea / s.MeanWidth)}
	beyond := [2]float64{-s.MiddleFrom, s.LengthMM - s.MiddleTo}
	for i, e := range s.Ends {
		w := e.Width + s.WidthSlope*beyond[i]
		out.Ends[i] = sampleEnd{e.Name, calib.CardPoint{X: round(e.Card.X), Y: round(e.Card.Y)}, round(w), round(s.SectionArea / w)}
	}
	out.Taper = round(out.Ends[0].Clearance - out.Ends[1].Clearance)
	return out
}

func readSamples(t *testing.T) (l sampleList) {
	readJSON(t, filepath.Join(samples, "expected.json"), &l)
	if len(l.Readings) == 0 {
		t.Fatal("no readings in expected.json")
	}
	return l
}

func (l *sampleList) write(t *testing.T) {
	data, err := json.MarshalIndent(l, "", "  ")
	if err == nil {
		err = os.WriteFile(filepath.Join(samples, "expected.json"), append(data, '\n'), 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func readJSON(t *testing.T, path string, v any) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		t.Fatalf("%s: %v", path, err)
	}
}

func fileSum(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

func sampleLot(t *testing.T) *calib.Lot {
	path := filepath.Join(samples, "build", "lot.toml")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	lots, err := calib.ParseLots(data, path)
	if err != nil {
		t.Fatal(err)
	}
	return &lots[0]
}

func sampleLimits(t *testing.T, text string) *clearance.Limits {
	if text == "" {
		return nil
	}
	l, err := clearance.ParseLimits(text)
	if err != nil {
		t.Fatal(err)
	}
	return &l
}
