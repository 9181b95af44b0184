package pipeline

import (
	"math"
	"path/filepath"
	"testing"

	"stripgap/calib"
	"stripgap/vision"
)

const rayTraced = "../../../testdata/ray-traced"

// rayTracedReading is an entry of truth.json: what is told with the photo, or the two
// photos of a pair, what must come out, and the strip as it was modelled.
type rayTracedReading struct {
	Photos []string `json:"photos"`
	SHA256 []string `json:"sha256"`
	Told   struct {
		Surface string  `json:"surface,omitempty"`
		Radius  float64 `json:"radius_mm,omitempty"`
		Height  float64 `json:"height_mm,omitempty"` // of the strip above the card's face; 0: not told
	} `json:"told"`
	Refusal string  `json:"refusal,omitempty"` // code; empty for what is read
	Width   float64 `json:"width_mm"`          // mean
	// Slope is that of the straight line through the widths, from the first end to the
	// second, whose places are in card millimetres.
	Slope float64       `json:"slope"`
	Ends  [2][3]float64 `json:"ends_mm"`
}

// TestRayTraced reads photos that another renderer made, POV-Ray, and another
// camera (testdata/ray-traced/SOURCE.md), none of whose code is this project's
// Go: the outside check of the width. Beyond k = 3 a reading is wrong by GUM's
// own table for a normal distribution (JCGM 100, table G.1: 99.73 %); 3 % is the
// benchmark's line for a wrong reading.
func TestRayTraced(t *testing.T) {
	if testing.Short() {
		t.Skip("reads photos of 12 MP")
	}
	var list struct {
		Readings []rayTracedReading `json:"readings"`
	}
	readJSON(t, filepath.Join(rayTraced, "truth.json"), &list)
	if len(list.Readings) < 6 {
		t.Fatalf("%d readings in truth.json", len(list.Readings))
	}
	listed := 0
	for _, r := range list.Readings {
		for i, name := range r.Photos {
			listed++
			if got := fileSum(t, filepath.Join(rayTraced, name)); got != r.SHA256[i] {
				t.Errorf("%s: SHA-256 %s, truth.json says %s", name, got, r.SHA256[i])
			}
		}
		t.Run(r.Photos[0], func(t *testing.T) { r.check(t, r.read()) })
	}
	if files, err := filepath.Glob(filepath.Join(rayTraced, "*.jpg")); err != nil || len(files) != listed {
		t.Errorf("%d photos, %d in truth.json, %v", len(files), listed, err)
	}
}

func (p *rayTracedReading) read() Result {
	kinds := map[string]vision.SurfaceKind{"": vision.SurfaceUnknown, "flat": vision.SurfaceFlat,
		"shell": vision.SurfaceShell, "journal": vision.SurfaceJournal}
	o := vision.Options{Surface: vision.Surface{Kind: kinds[p.Told.Surface], Radius: p.Told.Radius},
		Print: calib.PrintScale{X: 1, Y: 1, U: 0.1 / 150}} // callipers to a tenth of a millimetre over the short check bar
	if p.Told.Height != 0 {
		o.Height = &vision.Height{MM: p.Told.Height, U: 0.2}
	}
	r := &Reader{Load: vision.Load, Measure: vision.Measure, MeasurePair: vision.MeasurePair, Given: Given{Coverage: 2, Options: o}}
	task := Task{Photo: filepath.Join(rayTraced, p.Photos[0])}
	if len(p.Photos) == 2 {
		task.Second = filepath.Join(rayTraced, p.Photos[1])
	}
	return r.Read(task).Result
}

func (p *rayTracedReading) check(t *testing.T, r Result) {
	if p.Refusal != "" {
		if r.Outcome != OutcomeRefused || r.Refusal.Code != p.Refusal {
			t.Errorf("%s %+v, want refused for %q", r.Outcome, r.Refusal, p.Refusal)
		}
		return
	}
	if r.Outcome != OutcomeRead {
		t.Fatalf("%s %+v, want it read", r.Outcome, r.Refusal)
	}
	w := r.Width
	miss := w.Mean - p.Width
	if math.Abs(miss) > 3*w.U || math.Abs(miss) > 0.03*p.Width {
		t.Errorf("width %.4f mm, truth %.4f: off by %.4f, u %.4f", w.Mean, p.Width, miss, w.U)
	}
	// Taper is the first end minus the second, the first being the one further along
	// the card's arrow, which is x here; the reading's ends lie inside the tips.
	first, second := r.Ends[0].Card, r.Ends[1].Card
	drop := p.Slope * (first[0] - second[0]) / (p.Ends[1][0] - p.Ends[0][0]) * p.length()
	if d := w.Taper - drop; math.Abs(d) > 3*w.TaperU {
		t.Errorf("taper %.4f mm, truth %.4f: off by %.4f, u %.4f", w.Taper, drop, d, w.TaperU)
	}
	t.Logf("width %.4f mm, off by %+.2f %%, %+.2f u", w.Mean, 100*miss/p.Width, miss/w.U)
}

func (p *rayTracedReading) length() float64 {
	a, b := p.Ends[0], p.Ends[1]
	return math.Hypot(math.Hypot(b[0]-a[0], b[1]-a[1]), b[2]-a[2])
}
