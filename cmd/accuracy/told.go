package main

import (
	"math"

	"stripgap/calib"
	"stripgap/vision"
	"stripgap/vision/synth"
)

// knowledge is what the reader is told beside the pixels.
type knowledge string

// What is told, each with a sheet's print scale from the first but one on.
const (
	toldNothing knowledge = "nothing"
	toldSurface knowledge = "surface" // what a careful person says: kind and radius
	toldPlane   knowledge = "plane"   // where the strip lies: leaves what the pixels alone must tell
)

// toldUsual is each population's own: the plane, so that the table judges what
// pixels tell; for pairs what they are for.
const toldUsual knowledge = "usual"

var knowledges = []string{string(toldUsual), string(toldNothing), string(toldSurface), string(toldPlane)}

// calliperU is the relative standard uncertainty of a print scale measured over
// 150 mm: callipers right to 0.03 mm, taken as a rectangular half-width (JCGM
// 100:2008 4.3.7). The 0.03 mm is common practice, no source.
const calliperU = 0.03 / 150 / 1.7320508

// exactly is how well the reader knows a plane it is told: as good as exactly.
var exactly = vision.PlaneU{Height: 0.01, Along: 1e-4, Across: 1e-4}

// print reports whether the print's scale is told.
func (k knowledge) print() bool { return k == toldSurface || k == toldPlane }

// options returns what the reader is told of a scene.
func (k knowledge) options(s *synth.Scene) vision.Options {
	var o vision.Options
	if !k.print() {
		return o
	}
	o.Print = calib.PrintScale{X: s.Card.ScaleX, Y: s.Card.ScaleY, U: calliperU}
	kinds := map[string]vision.SurfaceKind{"flat": vision.SurfaceFlat, "shell": vision.SurfaceShell, "journal": vision.SurfaceJournal}
	o.Surface = vision.Surface{Kind: kinds[s.Surface.Kind], Radius: s.Surface.Radius}
	if k == toldPlane && len(s.Strips) > 0 {
		o.Plane, o.PlaneU = plane(&s.Strips[0]), &exactly
	}
	return o
}

// plane returns the plane a strip lies in, or touches in its middle. The renderer
// turns a strip about the card's z, then lifts its first end by TiltAlong, then
// its left side by TiltAcross about its own axis.
func plane(t *synth.Strip) calib.Plane {
	rad := math.Pi / 180
	along, across := math.Tan(t.TiltAlong*rad), math.Tan(t.TiltAcross*rad)/math.Cos(t.TiltAlong*rad)
	sin, cos := math.Sincos(t.Angle * rad)
	pl := calib.Plane{SlopeX: along*cos - across*sin, SlopeY: along*sin + across*cos}
	pl.Height = t.Height - pl.SlopeX*t.Centre.X - pl.SlopeY*t.Centre.Y
	return pl
}
