package vision

import "math"

// Exif is what a photo says of its camera. Every field may be absent: 0 or "".
type Exif struct {
	Make, Model string
	FocalMM     float64 // focal length of the lens, mm
	Focal35MM   float64 // its 35 mm equivalent, mm
	Orientation int     // 1 to 8 as stored; the photo is already upright
	Software    string
}

// FocalPixels returns the focal length in pixels of a photo of w by h pixels
// from the 35 mm equivalent, which CIPA DCG-001 defines by the diagonal: the
// same angle of view across a frame of 36 mm x 24 mm. ok is false when the
// photo does not give it. Phones round the equivalent to a whole millimetre, so
// it is a prior of a few per cent, and wrong for a cropped photo.
func (e Exif) FocalPixels(w, h int) (px float64, ok bool) {
	if !(e.Focal35MM > 0) || w < 1 || h < 1 {
		return 0, false
	}
	return e.Focal35MM * math.Hypot(float64(w), float64(h)) / math.Hypot(36, 24), true
}
