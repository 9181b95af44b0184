package vision

import (
	"gonum.org/v1/gonum/mat"

	"stripgap/calib"
)

// The sensor's own frame is that of the picture as stored: what a lens does stays
// in place there, however the phone was held.

// StoredSize returns the size in pixels of the picture as stored, before its EXIF
// orientation turned it upright.
func (p *Photo) StoredSize() (w, h int) {
	if p.turn().swap {
		return p.Luma.H, p.Luma.W
	}
	return p.Luma.W, p.Luma.H
}

// StoredMirrored reports that the picture is stored mirrored, as some phones do
// with the camera on the screen's side.
func (p *Photo) StoredMirrored() bool {
	t := p.turn()
	return t.swap != (t.flipX != t.flipY)
}

// Stored returns where pixel q of the upright photo lies in the stored picture.
func (p *Photo) Stored(q calib.PixelPoint) calib.PixelPoint {
	t := p.turn()
	if t.flipX {
		q.X = float64(p.Luma.W-1) - q.X
	}
	if t.flipY {
		q.Y = float64(p.Luma.H-1) - q.Y
	}
	if t.swap {
		q.X, q.Y = q.Y, q.X
	}
	return q
}

// UprightPrior returns, for the upright photo, a prior that speaks of the stored
// picture: its principal point, with uncertainties and correlations, is turned.
func (p *Photo) UprightPrior(prior calib.Prior) calib.Prior {
	t := p.turn()
	// The upright x is this axis of the stored picture, and the upright y the other.
	x, y := 2, 3
	if t.swap {
		x, y = y, x
		prior.CXSD, prior.CYSD = prior.CYSD, prior.CXSD
	}
	sign := [4]float64{1, 1, 1, 1}
	if t.flipX {
		sign[2] = -1
	}
	if t.flipY {
		sign[3] = -1
	}
	if prior.Corr != nil {
		from := [4]int{0, 1, x, y}
		turned := mat.NewSymDense(4, nil)
		for i := range 4 {
			for k := i; k < 4; k++ {
				turned.SetSym(i, k, sign[i]*sign[k]*prior.Corr.At(from[i], from[k]))
			}
		}
		prior.Corr = turned
	}
	if prior.Principal != nil {
		q := p.fromStored(*prior.Principal)
		prior.Principal = &q
	}
	return prior
}

// fromStored undoes Stored.
func (p *Photo) fromStored(q calib.PixelPoint) calib.PixelPoint {
	t := p.turn()
	if t.swap {
		q.X, q.Y = q.Y, q.X
	}
	if t.flipX {
		q.X = float64(p.Luma.W-1) - q.X
	}
	if t.flipY {
		q.Y = float64(p.Luma.H-1) - q.Y
	}
	return q
}

// vector returns a direction of the upright photo as it is in the stored picture.
func (t turn) vector(v calib.PixelPoint) calib.PixelPoint {
	if t.flipX {
		v.X = -v.X
	}
	if t.flipY {
		v.Y = -v.Y
	}
	if t.swap {
		v.X, v.Y = v.Y, v.X
	}
	return v
}

// turn is how the stored picture became upright.
func (p *Photo) turn() turn {
	if o := p.Exif.Orientation; o >= 1 && o <= 8 {
		return turns[o]
	}
	return turn{} // as upright leaves orientations that the standard does not know
}
