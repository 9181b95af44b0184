package vision

// #include "shrink.h"
import "C"

// canHalve reports whether the plane's sides can be halved n times, each to 1 pixel
// at least.
func (p *Plane) canHalve(n int) bool { return p.W%(1<<n) == 0 && p.H%(1<<n) == 0 }

// halve returns the averages over 2 by 2 pixels of a plane that canHalve once: to
// the last bit what resizeArea gives.
func halve(p *Plane) *Plane {
	out := NewPlane(p.W/2, p.H/2)
	C.halve_plane(cbytes(p.Pix), C.size_t(p.W), C.size_t(p.H), cbytes(out.Pix))
	return out
}

// quarter returns the averages of averages of a plane that canHalve twice, without
// a half in between that is as large as a photo.
func quarter(p *Plane) *Plane {
	out, spare := NewPlane(p.W/4, p.H/4), NewPlane(p.W/2, 2)
	C.quarter_plane(cbytes(p.Pix), C.size_t(p.W), C.size_t(p.H), cbytes(out.Pix), cbytes(spare.Pix))
	return out
}
