package vision

// #include "ground.h"
import "C"

import (
	"errors"
	"math"
	"unsafe"

	"stripgap/calib"
)

// source is a plane averaged down to about the ground's resolution: pixel x of
// the photo lies at x*kx + ox.
type source struct {
	*Plane
	kx, ky, ox, oy float64
}

// newSources reduces the photo by about factor.
func newSources(p *Photo, look *finder, factor float64) (from [3]source, err error) {
	quarter, err := look.reduced(4)
	if err != nil {
		return from, err
	}
	// The reduced plane's pixels are exactly these many of the photo's.
	qx, qy := float64(p.Luma.W)/float64(quarter.W), float64(p.Luma.H)/float64(quarter.H)
	if from[0], err = newSource(quarter, factor, qx, qy, 0, 0); err != nil {
		return from, err
	}
	for i, c := range [2]*Plane{p.Cb, p.Cr} {
		from[1+i], err = newSource(c, factor, float64(p.ChromaX), float64(p.ChromaY), float64(p.ShiftX), float64(p.ShiftY))
		if err != nil {
			return from, err
		}
	}
	return from, nil
}

// newSource averages a plane, one of whose pixels stands for fx by fy of the
// photo's and whose first one starts a shift outside it, by a power of two of at
// most factor: by twos is far quicker.
func newSource(p *Plane, factor, fx, fy, shiftX, shiftY float64) (source, error) {
	small := p
	for k := factor / math.Max(fx, fy); k >= 2; k /= 2 {
		if small.half != nil {
			small = small.half
			continue
		}
		if small.canHalve(1) {
			small = halve(small)
			continue
		}
		var err error
		if small, err = resizeArea(small, max(1, small.W/2), max(1, small.H/2)); err != nil {
			return source{}, err
		}
	}
	if small.W < 2 || small.H < 2 {
		return source{}, errors.New("the photo is too small")
	}
	s := source{Plane: small, kx: float64(small.W) / (fx * float64(p.W)), ky: float64(small.H) / (fy * float64(p.H))}
	s.ox, s.oy = (shiftX+0.5)*s.kx-0.5, (shiftY+0.5)*s.ky-0.5
	return s, nil
}

// lookUp looks up the places that the photo shows. Those on the card have features
// too, so that no step stands at its border which is not there.
func (g *ground) lookUp(from [3]source, seen []columns) {
	for k := range g.feature {
		g.feature[k] = NewPlane(g.w, g.h)
	}
	luma, cb, cr := g.feature[0], g.feature[1], g.feature[2]
	raster := g.fromRaster()
	if from[0].alike(&from[1]) {
		lookUp(from[0].scaled(raster), seen, [3]*Plane{from[0].Plane, from[1].Plane, from[2].Plane}, g.feature)
	} else { // both chroma planes are alike
		lookUp(from[0].scaled(raster), seen, [3]*Plane{from[0].Plane}, [3]*Plane{luma})
		lookUp(from[1].scaled(raster), seen, [3]*Plane{from[1].Plane, from[2].Plane}, [3]*Plane{cb, cr})
	}
	g.luma = NewPlane(g.w, g.h)
	copy(g.luma.Pix, luma.Pix)
	C.features(cbytes(luma.Pix), cbytes(cb.Pix), cbytes(cr.Pix), C.size_t(g.w*g.h), cbytes(logLuma[:]), cints(inverseLuma[:]))
}

// alike reports whether pixels of two sources lie at the same places.
func (s *source) alike(o *source) bool {
	return s.W == o.W && s.H == o.H && s.kx == o.kx && s.ky == o.ky && s.ox == o.ox && s.oy == o.oy
}

// lookUp fills the columns in of each row of out with the pixels to which m maps
// them, by linear interpolation to 1/64 px: good for finding, not for measuring.
// Places outside take the value of the nearest border pixel. It looks up one to three
// planes of one size; those that are not are nil, and the last ones.
func lookUp(m calib.Homography, in []columns, from, out [3]*Plane) {
	parts := toParts(m)
	var p, to [3]*C.uchar
	for k := range from {
		if from[k] != nil {
			p[k], to[k] = cbytes(from[k].Pix), cbytes(out[k].Pix)
		}
	}
	C.look_up(p[0], p[1], p[2], C.int(from[0].W), C.int(from[0].H), cdoubles(parts[:]), crows(in),
		C.int(out[0].W), C.int(out[0].H), to[0], to[1], to[2])
}

// rasterMap maps the columns and rows of a raster of the card, whose first place is
// first and whose places are step mm apart, to where h maps the card.
func rasterMap(h calib.Homography, first calib.CardPoint, step float64) (m calib.Homography) {
	for i := 0; i < 9; i += 3 {
		a, b, c := h[i], h[i+1], h[i+2]
		m[i], m[i+1], m[i+2] = a*step, -b*step, a*first.X+b*first.Y+c
	}
	return m
}

// scaled maps a raster to the source's pixels.
func (s *source) scaled(raster calib.Homography) calib.Homography {
	for i := range 3 {
		k := raster[6+i]
		raster[i], raster[3+i] = s.kx*raster[i]+s.ox*k, s.ky*raster[3+i]+s.oy*k
	}
	return raster
}

// toParts is a map to 1/64 of pixels.
func toParts(m calib.Homography) calib.Homography {
	for i := range 6 {
		m[i] *= 64
	}
	return m
}

// crows is the address of each row's columns for the length of one C call.
func crows(v []columns) *C.int { return (*C.int)(&v[0].from) }

// cints is the address of a non-empty slice for the length of one C call.
func cints(v []int32) *C.int { return (*C.int)(unsafe.Pointer(unsafe.SliceData(v))) }

// logLuma is a feature that illumination shifts but does not scale.
var logLuma = func() (t [256]uint8) {
	for v := range t {
		t[v] = uint8(59 * (math.Log(float64(v)+4) - 1.38))
	}
	return t
}()

// inverseLuma is 256 times what a chroma value is multiplied by to be a share of
// luma, and so another such feature.
var inverseLuma = func() (t [256]int32) {
	for v := range t {
		t[v] = int32(256*160/(float64(v)+16) + 0.5)
	}
	return t
}()
