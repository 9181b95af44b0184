package pipeline

import (
	"math"
	"slices"

	"stripgap/calib"
	"stripgap/calib/quantity"
)

// sharedEdges are the terms of a width that photos of strips by one phone have in
// common: what the camera's processing and the film's own edges leave.
var sharedEdges = []string{"edge processing", "edge definition"}

const sharedPrint = "print scale"

// AreaPoint makes a point of a strip crushed to a known gap from its reading,
// which must be read and without a lot. The width's uncertainty is that which
// other photos do not share; print (relative) and edges (mm) is what they do.
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
