package vision

import (
	"math"

	"stripgap/calib"
)

// What is known of a phone's main camera where the photo does not say: common
// practice, no source.
const (
	usualFocal35 = 26.0 // mm equivalent
	usualFRel    = 0.25
)

// prior returns what is known of the camera before the marks are fitted.
func (o Options) prior(p *Photo) calib.Prior {
	pr := o.Prior
	if pr.AspectSD == 0 && o.Print.Checked() {
		// Both directions were measured, each by itself.
		pr.AspectSD = math.Sqrt2 * o.Print.U
	}
	if pr.F > 0 {
		return pr
	}
	pr.FRel, pr.K1SD = 0.03, 0.05
	known := p.Exif
	if !(known.Focal35MM > 0) {
		known.Focal35MM, pr.FRel = usualFocal35, usualFRel
	}
	pr.F, _ = known.FocalPixels(p.Width(), p.Height())
	if p.cropped() {
		p.uncrop(&pr)
	}
	return pr
}

// frames are the shapes, longer side over shorter, that cameras save, and how far
// about each sensors lie: 4:3 ones are 1.328 to 1.349. From fullScreen on a shape is
// that of some phone's screen. Common practice, no source.
var frames = []struct{ shape, about float64 }{{1, 0.005}, {5.0 / 4, 0.005}, {4.0 / 3, 0.015}, {3.0 / 2, 0.015}, {8.0 / 5, 0.005}, {16.0 / 9, 0.015}}

const fullScreen = 1.85

// cropped reports whether the photo is known to be a part of what the camera saw:
// its shape is not the one EXIF tells, or none that a camera saves, or its marks show it.
func (p *Photo) cropped() bool {
	if p.cut {
		return true
	}
	w, h := p.StoredSize()
	shape := func(w, h int) float64 { return float64(max(w, h)) / float64(min(w, h)) }
	s := shape(w, h)
	if e := p.Exif; e.Width > 0 && e.Height > 0 {
		if k := shape(e.Width, e.Height); math.Abs(s-k) > 0.005*k {
			return true
		}
	}
	for _, f := range frames {
		if math.Abs(s-f.shape) <= f.about*f.shape {
			return false
		}
	}
	return s < fullScreen
}

// cutUnseen reports whether marks that do not fit the camera of a whole photo show that it
// is a part of one, cut to a shape that cameras save: they fit a camera that looks
// elsewhere within their noise, and no print of another aspect explains them.
func (o Options) cutUnseen(p *Photo, fit func(calib.Prior) (*calib.View, error)) bool {
	if o.Prior.F > 0 || p.cropped() {
		return false
	}
	whole := o.prior(p)
	stretched, cut := whole, whole
	stretched.AspectSD = math.Max(looseAspect, whole.AspectSD)
	p.uncrop(&cut)
	cut.AspectSD = whole.AspectSD // as printers print
	if v, err := fit(cut); err != nil || misfit(v) > maxMarksNoise {
		return false
	}
	v, err := fit(stretched)
	return err != nil || misfit(v) > maxMisfit
}

// The frame that a cropped photo was cut from, where EXIF does not tell it: common
// practice, no source.
const (
	usualFrame = 5040.0 // px, the diagonal of 12 megapixels
	leastCut   = 1.1    // its least ratio to that of what is left
	frameRel   = 0.35   // its relative standard deviation: 6 to 50 megapixels, or made smaller after
	// looseAspect is the standard deviation of the aspect of a print that nobody
	// measured. Who knows neither focal length nor principal point takes a stretched print
	// for a tilted one, so that none may be thought rare.
	looseAspect = 0.03
)

// uncrop widens the prior to all frames that the photo may have been cut from, and all
// places in them: focal length and principal point are those of the frame.
func (p *Photo) uncrop(pr *calib.Prior) {
	w, h := float64(p.Width()), float64(p.Height())
	own := math.Hypot(w, h)
	frame := math.Hypot(float64(p.Exif.Width), float64(p.Exif.Height))
	if frame < leastCut*own { // not told, or by who cut it
		frame = math.Max(usualFrame, leastCut*own)
	}
	pr.F *= frame / own
	pr.FRel = math.Hypot(pr.FRel, frameRel)
	// A frame's sides are about 0.7 of its diagonal; the place in it is rectangular
	// (JCGM 100, 4.3.7).
	about := func(side float64) float64 { return math.Max(0.7*frame-side, 0.1*frame) / math.Sqrt(12) }
	pr.CXSD, pr.CYSD = about(w), about(h)
	if pr.AspectSD == 0 {
		pr.AspectSD = looseAspect
	}
}
