package pipeline

import (
	"math"
	"testing"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/vision"
)

// TestAreaTerms: every term of a rendered strip's budget goes either into what a
// point has for itself or into what points share, so that nothing is lost.
func TestAreaTerms(t *testing.T) {
	r := readerOf(wide(), nil)
	r.Lot = nil
	result := r.Read(Task{Photo: "a.jpg"}).Result
	result.Budget = append(result.Budget, Term{"print scale", 0.006, true}, Term{"tone", 0.001, true}, Term{"shading", 0.002, true})
	gap := quantity.Value{X: 0.05, U: 0.001}
	p, print, edges := AreaPoint("a.jpg", result, gap)
	if p.Gap != gap || p.Width.X != 1.5 || math.Abs(print-0.004) > 1e-12 {
		t.Errorf("%+v, print %v", p, print)
	}
	total := 0.0
	for _, term := range result.Budget {
		total = math.Hypot(total, term.U)
	}
	if sum := math.Sqrt(p.Width.U*p.Width.U + math.Pow(print*1.5, 2) + edges*edges); math.Abs(sum/total-1) > 1e-12 {
		t.Errorf("a strip's terms add up to %v of %v", sum, total)
	}
	if math.Abs(edges-math.Hypot(0.0025, 0.001)) > 1e-12 { // edge processing and tone
		t.Errorf("edges share %v mm", edges)
	}
	d, shared := StrandReading(result)
	sum := d.U
	for _, term := range shared {
		sum = math.Hypot(sum, term.U)
	}
	if d.X != 1.5 || math.Abs(sum/total-1) > 1e-12 || len(shared) != 5 { // and height, print scale, shading
		t.Errorf("a strand's terms add up to %v of %v: %v, %v", sum, total, d, shared)
	}
}

// TestReadBars passes on what measuring found, bar by bar, and why it did not.
func TestReadBars(t *testing.T) {
	r := readerOf(nil, nil)
	r.Options.Prints = map[string]calib.PrintScale{"ABC": {X: 1, Y: 1, U: 1e-3}}
	two := func(_ *vision.Photo, o vision.Options) ([]*vision.Measurement, error) {
		if len(o.Prints) != 1 {
			t.Error("measured without what is known of sheets")
		}
		return []*vision.Measurement{wide(), wide()}, nil
	}
	b, err := r.ReadBars("sleeve.jpg", two)
	if err != nil || len(b.Results) != 2 || b.Results[1].Width.Mean != 1.5 || b.Photo == nil || b.Results[0].Camera == nil {
		t.Errorf("%+v, %v", b, err)
	}
	none := func(*vision.Photo, vision.Options) ([]*vision.Measurement, error) {
		return nil, vision.Refuse(vision.CodeNoBars, "")
	}
	if b, err := r.ReadBars("sleeve.jpg", none); err == nil || b.Results != nil {
		t.Errorf("%+v, %v", b, err)
	}
}
