package synth

import "math"

// metal is the surface under the strip, ready to shade.
type metal struct {
	*Surface
	frame    *frame
	lines    wave // slope of the machining lines across them, step lineStep
	lineStep float64
	cloud    *cloud
	stains   stains
	sin, cos float64 // of LineAngle
	width    float64 // of the highlight, as a slope
	at       float64 // slope at which the highlight's middle lies
	pixel    float64 // mm
}

func newMetal(s *Surface, fr *frame, seed uint64, pixel float64) *metal {
	m := &metal{Surface: s, frame: fr, pixel: pixel,
		cloud:  newCloud(newRand(seed, streamCloud)),
		stains: newStains(newRand(seed, streamStains), s.Specks, s.Scratches),
		width:  math.Tan(s.GlareWidth * math.Pi / 180), at: math.Tan(s.GlareAt * math.Pi / 180)}
	m.sin, m.cos = math.Sincos(s.LineAngle * math.Pi / 180)
	// Nothing finer than the pixels can carry: a phone's lens would have blurred
	// it away before the pixels could alias it.
	detail := s.LineDetail
	if detail == 0 {
		detail = pixel
	}
	m.lineStep = detail / 2
	scale := max(0.25*s.LinePitch, 0.7*detail) / m.lineStep
	m.lines = newWave(newRand(seed, streamLines), 1<<13, scale)
	return m
}

// line returns the machining lines' slope at (u, v), standard deviation about 1.
// Lines wander a little and fade in and out along their length.
func (m *metal) line(u, v, sin, cos float64) float64 {
	along, across := u*cos+v*sin, v*cos-u*sin
	p := across/m.lineStep + 2*m.cloud.at(along/6, across/3)
	fp := math.Floor(p)
	i := int(fp) & (len(m.lines) - 1)
	j := (i + 1) & (len(m.lines) - 1)
	w := m.lines[i] + (p-fp)*(m.lines[j]-m.lines[i])
	return w * (1 + 0.35*m.cloud.at(along/2.5, across/(2*m.LinePitch)))
}

// relief returns the machining's height signal at (u, v) and the slopes it adds
// along u and v, in units of the highlight's width.
func (m *metal) relief(u, v float64) (signal, slopeU, slopeV float64) {
	switch m.Finish {
	case "brushed", "turned":
		w := m.line(u, v, m.sin, m.cos)
		return w, -w * m.sin, w * m.cos
	case "honed":
		a, b := 0.7*m.line(u, v, m.sin, m.cos), 0.7*m.line(u, -v, m.sin, m.cos)
		return a + b, -(a + b) * m.sin, (a - b) * m.cos
	}
	return 0, 0, 0
}

// radiance returns the light the metal sends back at a hit, per unit of
// illumination: an even part and a highlight. The mirror condition halves the
// slope of the view; the lamp is long along the strip, so the lobe is wider that
// way. The lobe's long tail is what brushed metal shows.
func (m *metal) radiance(h hit) RGB {
	signal, tip, lean := m.relief(h.u, h.v)
	tip *= m.LineDepth * m.width
	lean = lean*m.LineDepth*m.width + m.frame.slope(h.v)
	dip, dark := m.groove(h.u)
	across := h.ray[1]/h.ray[2]/2 - lean + m.at
	along := h.ray[0]/h.ray[2]/2 - tip - dip
	x, y := across/m.width, along/(2.5*m.width)
	lobe := 1 / (1 + x*x + y*y)
	gloss := m.Glare * lobe * lobe
	patina := 1 + m.Patina*m.cloud.rough(h.u/9, h.v/9, 3)
	gain := m.stains.at(h.u, h.v) * dark
	diffuse := m.Diffuse * patina * (1 + 0.1*m.LineDepth*signal)
	var c RGB
	for i := range c {
		c[i] = gain * (m.Metal[i]*diffuse + gloss*(0.4*m.Metal[i]/(m.Metal[1]+1e-3)+0.6))
	}
	if m.HoleRadius > 0 {
		c = m.hole(c, h)
	}
	return c
}

// groove returns the slope along u and the darkening of an oil groove.
func (m *metal) groove(u float64) (slope, dark float64) {
	x := u - m.GrooveU
	if m.GrooveHalf == 0 || math.Abs(x) >= m.GrooveHalf {
		return 0, 1
	}
	x /= m.GrooveHalf
	return 1.2 * x, 0.75 - 0.3*(1-x*x)
}

// hole draws an oil hole with a chamfer that catches the light on one side.
func (m *metal) hole(c RGB, h hit) RGB {
	const chamfer = 0.5 // mm
	du, dv := h.u-m.HoleU, h.v-m.HoleV
	r := math.Hypot(du, dv)
	if r > m.HoleRadius+chamfer+m.pixel {
		return c
	}
	ring := spread((m.HoleRadius + chamfer - r) / m.pixel)
	bright := 0.8 + 0.6*dv/(r+1e-9)
	c = mix(c, RGB{m.Metal[0] * bright, m.Metal[1] * bright, m.Metal[2] * bright}, ring)
	return mix(c, RGB{0.012, 0.011, 0.01}, spread((m.HoleRadius-r)/m.pixel))
}

// open returns what the strip bridges uncrushed at u: "hole", "groove", or "".
// A hole counts where it reaches under the strip's middle half.
func (m *metal) open(u, halfWidth float64) string {
	if m.GrooveHalf > 0 && math.Abs(u-m.GrooveU) < m.GrooveHalf {
		return "groove"
	}
	if m.HoleRadius > 0 && math.Abs(m.HoleV) < m.HoleRadius+halfWidth/2 &&
		math.Hypot(u-m.HoleU, max(0, math.Abs(m.HoleV)-halfWidth/2)) < m.HoleRadius {
		return "hole"
	}
	return ""
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
