package vision

import (
	"math"

	"stripgap/calib"
)

// Options is what the caller knows about a photo beyond its pixels.
type Options struct {
	// Zone narrows the search for the strip; nil searches the layout's reach.
	Zone *Zone
	// Plane is where the strip lies, in the card frame; the zero Plane is the
	// card's face.
	Plane calib.Plane
	// PlaneU is how well Plane is known; nil means DefaultPlaneU.
	PlaneU *PlaneU
	// Radius in mm of the shell or journal the strip lies on, its axis along the
	// strip; 0 is flat. Widths are then along the surface, not the chord.
	Radius float64
	// Prior overrides the camera prior taken from EXIF when F is not zero.
	Prior calib.Prior
}

// PlaneU is the standard uncertainty of a strip's plane about the strip's
// middle: height in mm, and slope along and across the strip.
type PlaneU struct{ Height, Along, Across float64 }

// DefaultPlaneU is a strip on the flat face that the card lies on: the card's
// thickness, and one degree of how parallel card and metal lie. Common practice,
// no source.
func DefaultPlaneU() PlaneU {
	slope := math.Tan(math.Pi / 180)
	return PlaneU{Height: 0.3, Along: slope, Across: slope}
}

// Zone is an upright rectangle of the card plane, in card millimetres.
type Zone struct{ Min, Max calib.CardPoint }

// MarkFound is one mark of the card as found in the photo.
type MarkFound struct {
	Mark     calib.Mark
	Pixel    calib.PixelPoint // refined centre
	U        float64          // standard uncertainty per axis, px
	Residual calib.PixelPoint // measured minus modelled, px
}

// Card is the card as found in the photo.
type Card struct {
	Layout  *calib.Layout
	Marks   []MarkFound
	Serial  string // empty when the code could not be read
	Bearing string
}

// Station is one slice across the strip.
type Station struct {
	At      float64 // mm along the strip from its middle, towards the first end
	Centre  calib.CardPoint
	Edges   [2]calib.CardPoint
	Pixels  [2]calib.PixelPoint // the two edges in the photo
	Width   float64             // mm
	U       float64             // mm, edge noise of this station alone
	Dropped string              // why the station is left out; empty when used
}

// End is one end of the strip's used length.
type End struct {
	Name  string // "front", "rear", "a" or "b"
	Card  calib.CardPoint
	Pixel calib.PixelPoint
	Width float64 // mm, of the robust line at this end
}

// Term is one named part of the width's uncertainty, in mm. A common term acts
// on all stations alike and does not shrink with averaging.
type Term struct {
	Name   string
	U      float64
	Common bool
}

// Profile is the width along the strip. Ends[0] is the first end ("front" or
// "a"), Ends[1] the second.
type Profile struct {
	Stations []Station
	Ends     [2]End
	Mean     float64 // mm
	U        float64 // mm, combined standard uncertainty of Mean
	Taper    float64 // mm, first end's width minus the second's
	TaperU   float64 // mm
	Bow      float64 // mm, mid width minus the mean of the two ends' widths
	Budget   []Term  // of Mean
	// TaperBudget holds the same terms as they act on Taper.
	TaperBudget []Term
}

// Check is one proof the photo had to give.
type Check struct {
	Name  string
	OK    bool
	Value float64
	Limit float64
	Unit  string
}

// Measurement is everything read from one photo. When Measure refuses it is
// filled as far as the reading got, so that a picture can show the place.
type Measurement struct {
	Card    *Card
	View    *calib.View
	Bars    *Witness
	Strip   *Strip
	Profile *Profile
	PxPerMM float64 // at the strip
	Checks  []Check
	Flags   []string
	Solved  *SolvedPlane // of two photos; nil for one
}
