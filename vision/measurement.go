package vision

import "stripgap/calib"

// Options is what the caller knows about a photo beyond its pixels.
type Options struct {
	// Zone narrows the search for the strip; nil searches the layout's reach.
	Zone *Zone
	// Ends are two places beyond which nothing of the strip is used, on its plane in
	// card millimetres, in either order; nil uses all of it.
	Ends *[2]calib.CardPoint
	// Surface is the metal under strip and card; it sets the strip's plane.
	Surface Surface
	// Surfaces replaces it for photos of a tag, by the tag's bearing.
	Surfaces map[string]Surface
	// Height is the strip's height above the card's face where it was measured.
	Height *Height
	// Plane is where the strip lies, in the card frame, when PlaneU says how well
	// it is known: it then stands over Surface and Height. With a nil PlaneU it is
	// only where to start from.
	Plane  calib.Plane
	PlaneU *PlaneU
	// Print is what is known of the print of the sheet in the photo, whichever it
	// is, and of its cards' thickness. Where it says nothing of the scale, Prints is
	// asked by the serial in the card's code.
	Print  calib.PrintScale
	Prints map[string]calib.PrintScale
	// Prior overrides the camera prior taken from EXIF when F is not zero.
	Prior calib.Prior

	quarry   quarry
	byColour bool // the strip is sought and measured by its chroma
}

// surfaceOf is the metal under the strip of a bearing, "" where the card is no tag.
func (o Options) surfaceOf(bearing string) Surface {
	if s, ok := o.Surfaces[bearing]; ok {
		return s
	}
	return o.Surface
}

// Height is a measured height in mm and its standard uncertainty.
type Height struct{ MM, U float64 }

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
// on all stations alike, and on other strips read so, and does not shrink with
// averaging.
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
	EndsU    float64 // mm, standard uncertainty of Mean from where the strip ends
	Taper    float64 // mm, first end's width minus the second's
	TaperU   float64 // mm
	// EndsTaperU is by how much Taper, mm, differs from that of the parabola at the strip's
	// middle: where stations of one end are lost, a bow tilts the straight line.
	EndsTaperU float64
	Bow        float64 // mm, mid width minus the mean of the two ends' widths
	Budget     []Term  // of Mean
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
	Print   calib.PrintScale // by which the card's places are reckoned; not checked when nothing is known
	PxPerMM float64          // at the strip
	Checks  []Check
	Flags   []string
	Solved  *SolvedPlane // of two photos; nil for one
	// Thickness of the card in mm where the strip's height was reckoned by it, else 0.
	Thickness float64
	// OfSecond says of a refused pair that all this is the second photo's.
	OfSecond bool
	// Places are what a refusal is about, as closed outlines in the photo's pixels;
	// none where it is about the whole photo.
	Places [][]calib.PixelPoint
}
