package synth

import "math"

// metal is the surface under the strip, ready to shade.
type metal struct {
	*Surface
	frame    *frame
	lines    wave // slope of the machining lines across them, step lineStep
	lineStep float64
	cloud    *cloud
	sin, cos float64 // of LineAngle
	width    float64 // of the highlight, radians
	at       float64 // slope at which the highlight's middle lies
}

func newMetal(s *Surface, fr *frame, seed uint64, pixel float64) *metal {
	m := &metal{Surface: s, frame: fr, cloud: newCloud(newRand(seed, streamCloud)),
		width: s.GlareWidth * math.Pi / 180, at: s.GlareAt * math.Pi / 180}
	m.sin, m.cos = math.Sincos(s.LineAngle * math.Pi / 180)
	// Nothing finer than the pixels can carry: a phone's lens would have blurred
	// it away before the pixels could alias it.
	m.lineStep = pixel / 2
	scale := max(0.25*s.LinePitch, 0.7*pixel) / m.lineStep
	m.lines = newWave(newRand(seed, streamLines), 1<<13, scale)
	return m
}

// line returns the machining lines' slope at (u, v), standard deviation about 1.
func (m *metal) line(u, v, sin, cos float64) float64 {
	along, across := u*cos+v*sin, v*cos-u*sin
	p := across/m.lineStep + 2*m.cloud.at(along/6, across/3)
	fp := math.Floor(p)
	i := int(fp) & (len(m.lines) - 1)
	j := (i + 1) & (len(m.lines) - 1)
	w := m.lines[i] + (p-fp)*(m.lines[j]-m.lines[i])
	return w * (1 + 0.35*m.cloud.at(along/2.5, across/(2*m.LinePitch)))
}

// radiance returns the light the metal sends towards the eye at a hit seen along
// the unit direction d, per unit of illumination.
func (m *metal) radiance(h hit, d vec) RGB {
	lean, tip := m.frame.slope(h.v), 0.0
	relief := 0.0
	switch m.Finish {
	case "brushed", "turned":
		relief = m.line(h.u, h.v, m.sin, m.cos)
		lean += m.LineDepth * m.width * relief * m.cos
		tip -= m.LineDepth * m.width * relief * m.sin
	case "honed":
		for _, side := range [2]float64{1, -1} {
			r := m.line(h.u, side*h.v+41*(side-1), m.sin, m.cos) / 2
			lean += m.LineDepth * m.width * r * m.cos * side
			tip -= m.LineDepth * m.width * r * m.sin
			relief += r
		}
	}
	// The mirror condition halves the slope of the view; the lamp is long along
	// the strip, so the lobe is wider that way.
	seenN := -d.dot(m.frame.n)
	across := math.Atan2(-d.dot(m.frame.b), seenN)/2 - lean + m.at
	along := math.Atan2(-d.dot(m.frame.a), seenN)/2 - tip
	x, y := across/m.width, along/(2.5*m.width)
	lobe := 1 / (1 + x*x + y*y)
	patina := 1 + 0.04*m.cloud.rough(h.u/9, h.v/9, 3)
	diffuse := m.Diffuse * patina * (1 + 0.1*m.LineDepth*relief)
	gloss := m.Glare * lobe * lobe
	var c RGB
	for i := range c {
		c[i] = m.Metal[i]*diffuse + gloss*(0.4*m.Metal[i]/(m.Metal[1]+1e-3)+0.6)
	}
	return c
}

// inside returns the signed distance in mm (over the surface) to the part's
// border, positive inside, and its gradient in (u, v). The part is a rectangle
// with corners of 1 mm radius, as a broken edge leaves them.
func (m *metal) inside(u, v float64) (d, gu, gv float64) {
	const r = 1
	x, y := math.Abs(u)-m.HalfLength+r, math.Abs(v)-m.HalfWidth+r
	su, sv := math.Copysign(1, u), math.Copysign(1, v)
	switch {
	case x > 0 && y > 0:
		q := math.Hypot(x, y)
		return r - q, -su * x / q, -sv * y / q
	case x > y:
		return r - x, -su, 0
	}
	return r - y, 0, -sv
}
