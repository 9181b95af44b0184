package synth

import (
	"math"
	"math/rand/v2"
)

// capture images the light through the lens on the sensor and returns the
// white-balanced linear picture, which takes the place of light.
func capture(s *Scene, cam *camera, light *picture) *picture {
	w, h := light.w, light.h
	rng := newRand(s.Seed, streamSensor+s.Shot<<8)
	if dot, ok := newSpot(s.Optics.Defocus, s.Optics.MotionX, s.Optics.MotionY); ok {
		for ch := range light.c {
			light.c[ch] = dot.blur(light.c[ch], w, h)
		}
	}
	gain := [3]float64{s.Sensor.Red, 1, s.Sensor.Blue}
	see := func(ch, x0, y0, step int) []float32 {
		l := lens{s.Optics.rest(), 1, cam.cx, cam.cy}
		switch ch {
		case 0:
			l.magnify += s.Optics.FringeRed
		case 2:
			l.magnify += s.Optics.FringeBlue
		}
		v := l.sample(light.c[ch], w, h, x0, y0, step)
		s.Sensor.read(v, gain[ch], rng)
		return v
	}
	if !s.Sensor.Bayer {
		return balance(s, &picture{w, h, [3][]float32{see(0, 0, 0, 1), see(1, 0, 0, 1), see(2, 0, 0, 1)}})
	}
	raw := make([]float32, w*h)
	for _, site := range [4][3]int{{0, 0, 0}, {1, 1, 0}, {1, 0, 1}, {2, 1, 1}} { // red, two greens, blue
		ch, x0, y0 := site[0], site[1], site[2]
		v := see(ch, x0, y0, 2)
		for y := y0; y < h; y += 2 {
			for x := x0; x < w; x += 2 {
				raw[y*w+x], v = v[0], v[1:]
			}
		}
	}
	demosaic(light, raw)
	return balance(s, light)
}

// read adds shot and read noise to light that the filter passes by gain, and
// saturates it.
func (s *Sensor) read(v []float32, gain float64, rng *rand.Rand) {
	for i := range v {
		e := float64(v[i]) * gain
		if s.FullWell > 0 {
			e *= s.FullWell
			e += math.Sqrt(e+s.Read*s.Read) * rng.NormFloat64()
			e = math.Round(e) / s.FullWell
		}
		v[i] = float32(min(1, e))
	}
}

// balance takes the filters' gains out again, with the white balance's error.
func balance(s *Scene, p *picture) *picture {
	for ch, k := range [3]float64{s.Sensor.CastRed / s.Sensor.Red, 1, s.Sensor.CastBlue / s.Sensor.Blue} {
		if k == 1 {
			continue
		}
		for i := range p.c[ch] {
			p.c[ch][i] *= float32(k)
		}
	}
	return p
}

// demosaic fills p from a colour mosaic of its size, each pixel's two missing
// colours from its neighbours' mean. The mosaic has red at even rows and columns, blue at odd ones. Borders repeat
// the mosaic two pixels in.
func demosaic(p *picture, raw []float32) {
	w, h := p.w, p.h
	row := func(y int) []float32 {
		if y < 0 {
			y = 1
		} else if y >= h {
			y = h - 2
		}
		return raw[y*w : (y+1)*w]
	}
	for y := range h {
		up, mid, low := row(y-1), row(y), row(y+1)
		own, other := p.c[0][y*w:], p.c[2][y*w:] // the colour sharing this row with green, and the one that does not
		if y&1 == 1 {
			own, other = other, own
		}
		green := p.c[1][y*w:]
		for x := range w {
			l, r := x-1, x+1
			if l < 0 {
				l = 1
			} else if r >= w {
				r = w - 2
			}
			if x&1 == y&1 {
				own[x] = mid[x]
				green[x] = (mid[l] + mid[r] + up[x] + low[x]) / 4
				other[x] = (up[l] + up[r] + low[l] + low[r]) / 4
			} else {
				green[x] = mid[x]
				own[x] = (mid[l] + mid[r]) / 2
				other[x] = (up[x] + low[x]) / 2
			}
		}
	}
}
