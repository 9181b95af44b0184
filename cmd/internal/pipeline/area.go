package pipeline

import (
	"math"
	"slices"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/vision"
)

// Terms of a width that photos by one phone of the same thing have in common: the
// print scale, what camera and light leave of the edges' place, and, of a strand,
// how high it lies and what its shading leaves unknown.
var (
	sharedPrint  = "print scale"
	sharedEdges  = []string{"edge processing", "edge definition", "strip's shadow", "tone"}
	sharedStrand = append([]string{sharedPrint, "height", "shading"}, sharedEdges...)
)

// AreaPoint makes a point of a strip crushed to a known gap, or of a scale's bar
// that stands for it, from its reading, which must be without a lot. The width's
// uncertainty is that which other points do not share; print (relative) and edges
// (mm) is what they do.
func AreaPoint(name string, r Result, gap quantity.Value) (p calib.AreaPoint, print, edges float64) {
	own := 0.0
	for _, t := range r.Budget {
		switch {
		case t.Name == sharedPrint:
			print = t.U / r.Width.Mean
		case slices.Contains(sharedEdges, t.Name):
			edges = math.Hypot(edges, t.U)
		default:
			own = math.Hypot(own, t.U)
		}
	}
	return calib.AreaPoint{Name: name, Width: quantity.Value{X: r.Width.Mean, U: own}, Gap: gap}, print, edges
}

// StrandReading is a strand's diameter from its reading, with the uncertainty that
// other photos of it do not share, and the terms that they do.
func StrandReading(r Result) (d quantity.Value, shared []quantity.Term) {
	d.X = r.Width.Mean
	for _, t := range r.Budget {
		if slices.Contains(sharedStrand, t.Name) {
			shared = append(shared, quantity.Term{Name: t.Name, U: t.U, Common: true})
		} else {
			d.U = math.Hypot(d.U, t.U)
		}
	}
	return d, shared
}

// Bars are the bars of a printed scale in one photo, in their order.
type Bars struct {
	Photo   *vision.Photo
	Found   []*vision.Measurement
	Results []Result
}

// ReadBars reads the bars of a printed scale. Errors are a *vision.Refusal.
func (r *Reader) ReadBars(path string, measure func(*vision.Photo, vision.Options) ([]*vision.Measurement, error)) (b Bars, err error) {
	if b.Photo, err = r.Load(path); err != nil {
		return b, err
	}
	o, camera := r.options(Task{Photo: path}, b.Photo)
	if b.Found, err = measure(b.Photo, o); err != nil {
		return b, err
	}
	b.Results = make([]Result, len(b.Found))
	for i, m := range b.Found {
		b.Results[i] = Result{Photos: []string{path}, Outcome: OutcomeRead, Camera: camera}
		measured(&b.Results[i], m)
	}
	return b, nil
}
