package pipeline

import (
	"math"
	"testing"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/vision"
)

// TestSettings: what is known of a strip comes from its task, else from its tag's
// bearing, else from the reader. wide's tag says M1.
func TestSettings(t *testing.T) {
	thick := &calib.Lot{Name: "thick",
		SectionArea: calib.AreaFromDiameter(quantity.Value{X: 0.45, U: 0.002}), RangeLo: 0.025, RangeHi: 0.2}
	shell := vision.Surface{Kind: vision.SurfaceShell, Radius: 27.5}
	journal := vision.Surface{Kind: vision.SurfaceJournal, Radius: 24}
	cold := -20.0
	thin := strand()
	area := func(l *calib.Lot) float64 { return l.SectionArea.X }
	for _, c := range []struct {
		name     string
		settings map[string]Setting
		task     *Setting
		surface  vision.Surface // that vision is given for M1
		area     float64
	}{
		{"the reader's own", nil, nil, vision.Surface{Kind: vision.SurfaceFlat}, area(thin)},
		{"another bearing's", map[string]Setting{"M2": {Surface: shell, Lot: thick}}, nil, vision.Surface{Kind: vision.SurfaceFlat}, area(thin)},
		{"the tag's", map[string]Setting{"M1": {Surface: shell, Lot: thick}}, nil, shell, area(thick)},
		{"the task's", map[string]Setting{"M1": {Surface: shell, Lot: thin}}, &Setting{Surface: journal, Lot: thick}, journal, area(thick)},
	} {
		r := readerOf(wide(), nil)
		r.Options.Surface = vision.Surface{Kind: vision.SurfaceFlat}
		r.Settings = c.settings
		measure := r.Measure
		r.Measure = func(p *vision.Photo, o vision.Options) (*vision.Measurement, error) {
			got, ok := o.Surfaces["M1"]
			if !ok {
				got = o.Surface
			}
			if got != c.surface {
				t.Errorf("%s: surface %+v, want %+v", c.name, got, c.surface)
			}
			return measure(p, o)
		}
		got := r.Read(Task{Photo: "a.jpg", Setting: c.task}).Result
		// Square edges give area/width; the bulge of thick strips adds up to 5 %.
		if got.Clearance == nil || math.Abs(got.Clearance.Mean*1.5/c.area-1) > 0.05 {
			t.Errorf("%s: clearance %+v, want that of %v mm2", c.name, got.Clearance, c.area)
		}
	}

	// 38 K below the room's range is 0.76 % of the area, and nobody told is 0.1 %.
	told := readerOf(wide(), nil)
	told.Settings = map[string]Setting{"M1": {Lot: thin, Temperature: &cold}}
	a, b := told.Read(Task{Photo: "a.jpg"}).Result, readerOf(wide(), nil).Read(Task{Photo: "a.jpg"}).Result
	if ratio := heat(a) / heat(b); math.Abs(ratio-38/5.0) > 1e-9 {
		t.Errorf("temperature term grew %v times, want %v", ratio, 38/5.0)
	}
	none := readerOf(wide(), nil)
	none.Settings = map[string]Setting{"M1": {}}
	if got := none.Read(Task{Photo: "a.jpg"}).Result; got.Outcome != OutcomeRead || got.Clearance != nil {
		t.Errorf("a bearing without a lot: %+v", got)
	}
}

// heat is the budget's temperature term.
func heat(r Result) float64 {
	for _, term := range r.Budget {
		if term.Name == "temperature" {
			return term.U
		}
	}
	return math.NaN()
}
