package calib

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// wobble holds the standard deviations by which a photo's ln F, CX and CY (px)
// lie off its camera's mean. No set of photos settles them for the next.
type wobble [3]float64

// photoWobble is the wobble of a phone's photos of w x h pixels.
//
// A lens that focuses by moving as a whole makes the focal length in pixels
// longer by the focal length over the distance (thin lens): 1.3 to 5 % for 4 to
// 7 mm at 300 to 130 mm, so photos of cards differ by about 1 %. A stabiliser
// moves the principal point, by some 0.1 % of the photo's longer side (common
// practice, no source).
func photoWobble(w, h int) wobble {
	shift := 0.001 * float64(max(w, h))
	return wobble{0.01, shift, shift}
}

// residual returns a photo's own moves in standard deviations.
func (b wobble) residual(photo, mean Camera) [3]float64 {
	return [3]float64{math.Log(photo.F/mean.F) / b[0], (photo.CX - mean.CX) / b[1], (photo.CY - mean.CY) / b[2]}
}

// widen returns the covariance of ln F, K1, CX and CY of one photo from that of
// its camera.
func (b wobble) widen(cov *mat.SymDense) *mat.SymDense {
	out := mat.NewSymDense(4, nil)
	out.CopySym(cov)
	for k, i := range [3]int{0, 2, 3} {
		out.SetSym(i, i, out.At(i, i)+b[k]*b[k])
	}
	return out
}

// PhoneKey tells which photos a phone's profile is for: same lens, same zoom,
// same size. Make and Model are as EXIF gives them. A focal length that EXIF
// leaves out is 0.
type PhoneKey struct {
	Make, Model   string
	FocalMM       float64 // of the lens, mm
	Focal35MM     float64 // its 35 mm equivalent, mm, which digital zoom changes
	Width, Height int     // of the photo as stored, px, before it is turned upright
}

// String names the camera in a line, for people.
func (k PhoneKey) String() string {
	words := []string{k.Make, k.Model}
	if k.FocalMM > 0 {
		words = append(words, strconv.FormatFloat(k.FocalMM, 'g', 4, 64)+" mm")
	}
	if k.Focal35MM > 0 {
		words = append(words, "("+strconv.FormatFloat(k.Focal35MM, 'g', 4, 64)+" mm equivalent)")
	}
	return strings.Join(append(words, fmt.Sprintf("%d x %d px", k.Width, k.Height)), " ")
}

// Phone is the profile of a phone's camera, in the frame of its stored photos.
type Phone struct {
	Key    PhoneKey
	Camera Camera
	Cov    *mat.SymDense // 4 x 4, of ln F, K1, CX and CY (px)
	Photos int           // that it was learnt from
}

// FindPhone returns the profile for the key and true, or false when there is
// none.
func FindPhone(phones []Phone, key PhoneKey) (Phone, bool) {
	for _, p := range phones {
		if p.Key == key {
			return p, true
		}
	}
	return Phone{}, false
}

// Prior returns what the profile says of the camera of another photo, in the
// frame of stored photos: the profile's covariance, and on top of it what
// focusing (1 % of the focal length) and stabilising (0.1 % of the longer side)
// change from photo to photo.
func (p Phone) Prior() Prior {
	return cameraPrior(p.Camera, photoWobble(p.Key.Width, p.Key.Height).widen(p.Cov))
}

// cameraPrior takes a camera and the covariance of its ln F, K1, CX and CY for a
// prior.
func cameraPrior(c Camera, cov *mat.SymDense) Prior {
	sd := func(i int) float64 { return math.Sqrt(cov.At(i, i)) }
	corr := mat.NewSymDense(4, nil)
	for i := range 4 {
		corr.SetSym(i, i, 1)
		for k := range i {
			corr.SetSym(i, k, cov.At(i, k)/(sd(i)*sd(k)))
		}
	}
	return Prior{
		F: c.F, FRel: sd(0), K1: c.K1, K1SD: sd(1),
		Principal: &PixelPoint{c.CX, c.CY}, CXSD: sd(2), CYSD: sd(3), Corr: corr,
	}
}
