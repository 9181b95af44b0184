package synth

import (
	"fmt"
	"math"

	"stripgap/calib"
)

// Station spacing of a true profile, mm.
const stationStep = 0.25

// Truth is what a photo shows, exactly. Pixels are those of the upright photo,
// after its EXIF orientation is applied, distortion included.
type Truth struct {
	Scene          Scene         `json:"scene"`
	PhotoSHA256    string        `json:"photo_sha256"` // hex, of the whole file
	FocalPixels    float64       `json:"focal_px"`
	PrincipalX     float64       `json:"principal_x_px"`
	PrincipalY     float64       `json:"principal_y_px"`
	ImageFromCard  [3][3]float64 `json:"image_from_card"`  // homography of true card mm, without distortion
	CameraFromCard [3][4]float64 `json:"camera_from_card"` // rotation and translation, mm; camera x right, y down, z forward
	PixelsPerMM    float64       `json:"pixels_per_mm"`    // at the strip's middle, along it; without a strip at the card's centre
	Marks          []MarkTruth   `json:"marks"`
	Strips         []StripTruth  `json:"strips"`
}

// MarkTruth is one mark's centre: on the paper, with print scale and jitter, and
// where that point is imaged.
type MarkTruth struct {
	Code   uint8            `json:"code"`
	Card   calib.CardPoint  `json:"card_mm"`
	Pixel  calib.PixelPoint `json:"pixel"`
	Inside bool             `json:"inside"` // the whole mark lies in the photo
}

// StripTruth is one strip. Every width is the distance between its two edges
// square to its centreline, measured over the surface it lies on: on a shell or
// journal an arc, longer than its chord by w^2/(24 R^2). The middle is the strip
// without its ragged ends; its numbers come from stations every 0.25 mm.
type StripTruth struct {
	Ends        [2]EndTruth    `json:"ends"`
	LengthMM    float64        `json:"length_mm"`
	MiddleFrom  float64        `json:"middle_from_mm"` // from the first named end
	MiddleTo    float64        `json:"middle_to_mm"`
	MeanWidth   float64        `json:"mean_width_mm"` // over the middle
	WidthSlope  float64        `json:"width_slope"`   // mm per mm towards the second named end
	Taper       float64        `json:"taper_mm"`      // of the straight line fitted over the middle, first named end of it less second
	Bow         float64        `json:"bow_mm"`        // width added in the middle by the fitted parabola over the line joining its ends
	SectionArea float64        `json:"section_area_mm2"`
	Clearance   float64        `json:"clearance_mm"`       // mean over the middle of SectionArea over width
	ClearTaper  float64        `json:"clearance_taper_mm"` // at the first named end of the width line less the second
	Profile     []StationTruth `json:"profile"`
	InFrame     bool           `json:"in_frame"` // wholly
}

// EndTruth is an end of a strip, where its centreline stops.
type EndTruth struct {
	Name      string           `json:"name"` // "front" and "rear", or "a" and "b"
	Card      calib.SpacePoint `json:"card_mm"`
	Pixel     calib.PixelPoint `json:"pixel"`
	Width     float64          `json:"width_mm"` // of the straight width line at this end of the middle
	Clearance float64          `json:"clearance_mm"`
}

// StationTruth is the strip at one place.
type StationTruth struct {
	At        float64          `json:"at_mm"` // from the first named end
	Width     float64          `json:"width_mm"`
	Clearance float64          `json:"clearance_mm"`
	Left      calib.PixelPoint `json:"left_px"` // the edge on the left, looking from the first named end
	Right     calib.PixelPoint `json:"right_px"`
	Over      string           `json:"over,omitempty"` // "hole", "groove", "torn", "rolled"
}

func (st *stage) truth() (*Truth, error) {
	t := &Truth{
		Scene: *st.scene, FocalPixels: st.cam.f, PrincipalX: st.cam.cx, PrincipalY: st.cam.cy,
		ImageFromCard: st.cam.homography(),
		Strips:        []StripTruth{}, // a list in JSON even when empty
		PixelsPerMM:   st.scaleAt(vec{}, vec{1, 0, 0}),
	}
	move := st.cam.translation()
	for i, axis := range st.cam.rot {
		t.CameraFromCard[i] = [4]float64{axis[0], axis[1], axis[2], move[i]}
	}
	for _, m := range st.print.layout.Marks {
		p, px := st.markPixel(m)
		t.Marks = append(t.Marks, MarkTruth{m.Code, p, px, st.markInside(p)})
	}
	for i, f := range st.films {
		s, err := st.stripTruth(f)
		if err != nil {
			return nil, fmt.Errorf("%w: strips[%d]: %w", ErrScene, i, err)
		}
		t.Strips = append(t.Strips, s)
	}
	if len(st.films) > 0 {
		fr := st.films[0].frame
		t.PixelsPerMM = st.scaleAt(fr.origin, fr.a)
	}
	return t, nil
}

// scaleAt returns the pixels per mm at p along the direction a.
func (st *stage) scaleAt(p, a vec) float64 {
	d := st.cam.project(p.add(a.scale(0.5))).Sub(st.cam.project(p.sub(a.scale(0.5))))
	return d.Norm()
}

func (st *stage) markInside(p calib.CardPoint) bool {
	r := st.print.layout.Style.Quiet
	for i := range 16 {
		sin, cos := math.Sincos(math.Pi / 8 * float64(i))
		if !st.inFrame(vec{p.X + r*cos, p.Y + r*sin, 0}) {
			return false
		}
	}
	return true
}

func (st *stage) inFrame(p vec) bool {
	px := st.cam.project(p)
	c := &st.scene.Camera
	return px.X >= 0 && px.Y >= 0 && px.X <= float64(c.Width-1) && px.Y <= float64(c.Height-1)
}

// names returns the names of the strip's ends at -Length/2 and +Length/2. The
// front end is the one further along the card's x axis, to which the front arrow
// points; a strip within 30 degrees of square to it has no front, and its end a
// is the one with the greater y.
func (t *Strip) names() (low, high string) {
	d := t.direction()
	switch {
	case math.Abs(d.X) >= 0.5 && d.X > 0:
		return "rear", "front"
	case math.Abs(d.X) >= 0.5:
		return "front", "rear"
	case d.Y > 0:
		return "b", "a"
	}
	return "a", "b"
}

func (st *stage) stripTruth(f *film) (StripTruth, error) {
	tip := f.tips()
	low, high := f.names()
	first, dir := tip[0], 1.0 // u of the first named end, and the way to the second
	names := [2]string{low, high}
	if high == "front" || high == "a" {
		first, dir = tip[1], -1
		names = [2]string{high, low}
	}
	t := StripTruth{LengthMM: tip[1] - tip[0], SectionArea: f.SectionArea, InFrame: true}
	edge := f.Length/2 - f.ragged()
	t.MiddleFrom = math.Abs(first + dir*edge)
	t.MiddleTo = t.MiddleFrom + 2*edge
	var at, width []float64
	for i := 0; float64(i)*stationStep <= 2*edge; i++ {
		s := t.MiddleFrom + float64(i)*stationStep
		station := st.station(f, first+dir*s, s, dir)
		t.Profile = append(t.Profile, station)
		t.InFrame = t.InFrame && st.inFrame(f.axis(first+dir*s))
		if station.Over == "" {
			at, width = append(at, s), append(width, station.Width)
			t.MeanWidth += station.Width
			t.Clearance += station.Clearance
		}
	}
	if len(at) < 4 {
		return t, fmt.Errorf("only %d stations clear of ends, openings and faults, want at least 4", len(at))
	}
	n := float64(len(at))
	t.MeanWidth /= n
	t.Clearance /= n
	line, bow := fitLine(at, width, t.MiddleFrom, t.MiddleTo)
	t.Bow = bow
	t.Taper = line[0] - line[1]
	t.WidthSlope = -t.Taper / (2 * edge)
	t.ClearTaper = f.SectionArea/line[0] - f.SectionArea/line[1]
	for i := range t.Ends {
		u := first
		if i == 1 {
			u = first + dir*t.LengthMM
		}
		p := f.axis(u)
		t.InFrame = t.InFrame && st.inFrame(p)
		t.Ends[i] = EndTruth{names[i], p.point(), st.cam.project(p), line[i], f.SectionArea / line[i]}
	}
	return t, nil
}

// station returns the strip's truth at u.
func (st *stage) station(f *film, u, at, dir float64) StationTruth {
	w := f.width(u)
	v, lean := f.centreline(u)
	// Both edges square to the centreline: they lie a little before and after u.
	side := func(half float64) calib.PixelPoint {
		q := math.Sqrt(1 + lean*lean)
		return st.cam.project(f.frame.at(u-half*lean/q, v+half/q))
	}
	l, _ := look(f.left, f.u0, u)
	r, _ := look(f.right, f.u0, u)
	q := math.Sqrt(1 + lean*lean)
	left, right := side((l-v)/q), side((r-v)/q)
	if dir < 0 {
		left, right = right, left
	}
	return StationTruth{At: at, Width: w, Clearance: f.SectionArea / w, Left: left, Right: right, Over: f.note(u)}
}

// fitLine fits a straight line to y by least squares and returns its values at
// from and to, and the bow: how far the fitted parabola's middle lies above the
// line that joins the parabola's ends.
func fitLine(x, y []float64, from, to float64) (ends [2]float64, bow float64) {
	mid, half := (from+to)/2, (to-from)/2
	// Legendre polynomials, orthogonalised on the stations at hand.
	var p [3][]float64
	for k := range p {
		p[k] = make([]float64, len(x))
		for i, v := range x {
			t := (v - mid) / half
			p[k][i] = [3]float64{1, t, t * t}[k]
		}
	}
	dot := func(a, b []float64) float64 {
		var s float64
		for i := range a {
			s += a[i] * b[i]
		}
		return s
	}
	n, s1, s2 := dot(p[0], p[0]), dot(p[0], p[1]), dot(p[1], p[1])
	y0, y1 := dot(p[0], y), dot(p[1], y)
	det := n*s2 - s1*s1
	c0, c1 := (y0*s2-y1*s1)/det, (y1*n-y0*s1)/det
	// The parabola's part that a line cannot explain.
	q0, q1 := dot(p[0], p[2]), dot(p[1], p[2])
	a0, a1 := (q0*s2-q1*s1)/det, (q1*n-q0*s1)/det
	rest := make([]float64, len(x))
	for i := range rest {
		rest[i] = p[2][i] - a0 - a1*p[1][i]
	}
	c2 := dot(rest, y) / dot(rest, rest)
	return [2]float64{c0 - c1, c0 + c1}, -c2
}
