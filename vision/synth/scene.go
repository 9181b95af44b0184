package synth

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"stripgap/calib"
)

// Scene is everything that decides a photo. Lengths are true millimetres in the
// card frame unless a field's name says um or px; angles are degrees; colours
// are linear RGB, 0 to 1, relative to a perfect white.
type Scene struct {
	Name       string     `json:"name"`
	Seed       uint64     `json:"seed"`           // of every texture and of the noise
	Shot       uint64     `json:"shot,omitempty"` // photos of the same things from one seed: each has a noise of its own
	Camera     Camera     `json:"camera"`
	Pose       Pose       `json:"pose"`
	Card       Card       `json:"card"`
	Strips     []Strip    `json:"strips"` // none for a photo without a strip; the first carries Surface
	Surface    Surface    `json:"surface"`
	Light      Light      `json:"light"`
	Bench      Bench      `json:"bench"`
	Clutter    []Clutter  `json:"clutter,omitempty"` // the last lies uppermost
	Optics     Optics     `json:"optics"`
	Sensor     Sensor     `json:"sensor"`
	Processing Processing `json:"processing"`
	Output     Output     `json:"output"`
}

// Camera is a pinhole with radial distortion. A normalised point at radius r is
// imaged at radius r (1 + K1 r^2 + K2 r^4).
type Camera struct {
	Width     int     `json:"width"` // px, 64 to 4032
	Height    int     `json:"height"`
	Focal35   float64 `json:"focal_35mm"` // mm, by the diagonal (CIPA DCG-001)
	OffsetX   float64 `json:"principal_offset_x_px"`
	OffsetY   float64 `json:"principal_offset_y_px"`
	K1        float64 `json:"k1"`
	K2        float64 `json:"k2"`
	ExifFocal int     `json:"exif_focal_35mm"` // what EXIF says, whole mm; 0 leaves it out
}

// Pose places the camera: it looks at Target on the card plane from Distance,
// tilted by Tilt from the card's normal towards Azimuth (anticlockwise from the
// card's x axis). With Roll 0 the card's x axis runs right in the photo; a
// positive Roll turns the photo's content clockwise.
type Pose struct {
	Target   calib.CardPoint `json:"target_mm"`
	Distance float64         `json:"distance_mm"`
	Tilt     float64         `json:"tilt_deg"`
	Azimuth  float64         `json:"azimuth_deg"`
	Roll     float64         `json:"roll_deg"`
}

// Card is the print: which layout, and what printer and paper made of it.
type Card struct {
	Layout    string  `json:"layout"` // "bench" or "rider"
	Serial    string  `json:"serial"`
	Bearing   string  `json:"bearing,omitempty"`
	ScaleX    float64 `json:"scale_x"`   // true length over nominal length
	ScaleY    float64 `json:"scale_y"`   //
	InkUM     float64 `json:"ink_um"`    // every ink outline moves outward by this before the print's scale, -20 to 80
	JitterUM  float64 `json:"jitter_um"` // standard deviation of the print's smooth warp, each axis
	Ink       float64 `json:"ink"`       // reflectance
	Paper     RGB     `json:"paper"`     // reflectance
	Grain     float64 `json:"grain"`     // relative standard deviation of the paper's brightness
	Thickness float64 `json:"thickness_mm"`
}

// RGB is a linear colour.
type RGB [3]float64

// Strip is one flattened strip. Its first end is at -Length/2 along its axis,
// which makes Angle with the card's x axis. Its width at s from its middle is
//
//	Width + Taper s/Length + Bow (1/3 - 4 (s/Length)^2) + roughness
//
// measured across the strip's own centreline and over the surface it lies on.
type Strip struct {
	Centre      calib.CardPoint `json:"centre_mm"`
	Height      float64         `json:"height_mm"`       // of the strip's outline at its centre above the card's face
	Angle       float64         `json:"angle_deg"`       // of its axis to the card's x axis
	TiltAlong   float64         `json:"tilt_along_deg"`  // positive: the far end is higher
	TiltAcross  float64         `json:"tilt_across_deg"` // positive: the left side, seen along the axis, is higher
	Length      float64         `json:"length_mm"`
	Width       float64         `json:"width_mm"`
	Taper       float64         `json:"taper_mm"` // width at the far end less width at the first end
	Bow         float64         `json:"bow_mm"`   // width in the middle less width at the ends
	Sway        float64         `json:"sway_mm"`  // the middle of the centreline lies this far left of its ends
	RoughUM     float64         `json:"rough_um"` // standard deviation of each edge's waviness
	RoughScale  float64         `json:"rough_scale_mm"`
	Ragged      float64         `json:"ragged_mm"`              // depth of the uneven ends
	EndRound    float64         `json:"end_round_mm,omitempty"` // from here to the end the width falls to nothing, along an ellipse
	SectionArea float64         `json:"section_area_mm2"`
	Colour      RGB             `json:"colour"`
	Opacity     float64         `json:"opacity_per_mm"` // absorbance of the film per mm of light path
	Gloss       float64         `json:"gloss"`          // strength of the shading of the rounded edges, 0 to 1
	// Round is an uncrushed strand: a cylinder of diameter Width on the surface, its
	// axis at Height. Its section area is that of the circle.
	Round bool    `json:"round,omitempty"`
	Glow  float64 `json:"glow,omitempty"` // share of a round strand's light that comes from inside it, even all over
	Fault Fault   `json:"fault,omitzero"`
}

// Fault is damage to a strip. Lengths are mm; zero leaves each kind out.
type Fault struct {
	Smear     float64 `json:"smear_mm,omitempty"`     // the left edge is drawn out by this, thinning to nothing
	TornAt    float64 `json:"torn_at_mm,omitempty"`   // middle of a gap, from the first end
	TornBy    float64 `json:"torn_by_mm,omitempty"`   // length of the gap
	RollFrom  float64 `json:"roll_from_mm,omitempty"` // from here to the far end the left edge is folded over
	RollBy    float64 `json:"roll_by_mm,omitempty"`   // width of the fold
	UnderCard bool    `json:"under_card,omitempty"`   // the card lies on the strip
}

// Surface is the metal under the strip; its frame is the first strip's: u along
// the strip, v across it to the left, over the surface.
type Surface struct {
	Kind       string  `json:"kind"`      // "flat", "shell" (concave) or "journal" (convex), axis along the strip
	Radius     float64 `json:"radius_mm"` // of shell and journal
	HalfLength float64 `json:"half_length_mm"`
	HalfWidth  float64 `json:"half_width_mm"`
	Metal      RGB     `json:"metal"`
	Diffuse    float64 `json:"diffuse"`        // share of light scattered evenly, 0 to 1
	Patina     float64 `json:"patina"`         // relative standard deviation of the metal's brightness, cloudy over 9 mm
	Finish     string  `json:"finish"`         // "brushed", "turned", "honed" or "plain"
	LineAngle  float64 `json:"line_angle_deg"` // of the machining lines to the strip's axis
	LinePitch  float64 `json:"line_pitch_mm"`
	LineDetail float64 `json:"line_detail_mm,omitempty"` // finest that the lines show; 0 is a pixel of this photo
	LineDepth  float64 `json:"line_depth"`               // standard deviation of the lines' slope, relative to GlareWidth
	Glare      float64 `json:"glare"`                    // radiance of the highlight's middle; above 1 it saturates
	GlareAt    float64 `json:"glare_at_deg"`             // slope across the strip at which the lamp is mirrored
	GlareWidth float64 `json:"glare_width_deg"`          // half width of the highlight, in slope
	Specks     int     `json:"specks"`                   // oil specks within 40 mm
	Scratches  int     `json:"scratches"`                // within 40 mm
	HoleU      float64 `json:"hole_u_mm,omitempty"`
	HoleV      float64 `json:"hole_v_mm,omitempty"`
	HoleRadius float64 `json:"hole_radius_mm,omitempty"`
	GrooveU    float64 `json:"groove_u_mm,omitempty"` // a groove right across the strip, centred here
	GrooveHalf float64 `json:"groove_half_mm,omitempty"`
	Chamfer    float64 `json:"chamfer_mm,omitempty"`   // width of the bevel along the part's border
	ChamferBy  float64 `json:"chamfer_gain,omitempty"` // its brightness over the metal's
}

// Light is one broad lamp. Its gradients are relative changes of brightness from
// the middle of the photo to its right and lower border.
type Light struct {
	Level     float64 `json:"level"` // radiance of a perfect white at the middle; 1 saturates the sensor
	Colour    RGB     `json:"colour"`
	GradientX float64 `json:"gradient_x"`
	GradientY float64 `json:"gradient_y"`
	Azimuth   float64 `json:"azimuth_deg"` // direction the light comes from, from the card's x axis
	Elevation float64 `json:"elevation_deg"`
	Shadow    float64 `json:"shadow"` // share of light a shadow's core loses, 0 to 1
}

// Bench is what lies beyond the part.
type Bench struct {
	Depth  float64 `json:"depth_mm"` // below the card's face
	Kind   string  `json:"kind"`     // "plain", "wood" or "cloth"
	Colour RGB     `json:"colour"`
}

// Optics blurs the picture in linear light. A pixel's own square comes on top of
// Blur.
type Optics struct {
	Blur       float64 `json:"blur_px"`    // standard deviation of a Gaussian, at least 0.7
	Defocus    float64 `json:"defocus_px"` // radius of a disc
	MotionX    float64 `json:"motion_x_px"`
	MotionY    float64 `json:"motion_y_px"`
	FringeRed  float64 `json:"fringe_red"` // relative magnification of red less that of green
	FringeBlue float64 `json:"fringe_blue"`
	Vignetting float64 `json:"vignetting"` // relative loss in the corners
}

// Sensor turns light into numbers.
type Sensor struct {
	FullWell float64 `json:"full_well_e"` // electrons at saturation; a higher ISO makes it smaller
	Read     float64 `json:"read_e"`      // standard deviation of the read noise, electrons; 0 with FullWell 0: no noise
	Bayer    bool    `json:"bayer"`
	Red      float64 `json:"red"`      // sensitivity to red relative to green
	Blue     float64 `json:"blue"`     // and to blue; white balance divides by both
	CastRed  float64 `json:"cast_red"` // error of the white balance, 1 is none
	CastBlue float64 `json:"cast_blue"`
}

// Processing is what a phone does to a picture before it is stored.
type Processing struct {
	Response      Response `json:"response,omitzero"`
	Curve         float64  `json:"curve"`   // strength of an S-shaped tone curve, 0 to 1
	Denoise       float64  `json:"denoise"` // 0 to 1
	Sharpen       float64  `json:"sharpen"` // amount of the unsharp mask
	SharpenRadius float64  `json:"sharpen_radius_px"`
}

// Output is how the photo is stored.
type Output struct {
	Quality     int `json:"quality"`     // JPEG, 1 to 100
	Orientation int `json:"orientation"` // EXIF, 1 to 8
}

// ErrScene marks a scene that cannot be rendered.
var ErrScene = errors.New("bad scene")

// NewScene returns a plain scene to build on: a bench card seen from straight
// above, a flat surface, no strip, no noise and no processing but sRGB.
func NewScene(layout string) Scene {
	return Scene{
		Camera: Camera{Width: 4000, Height: 3000, Focal35: 26, ExifFocal: 26},
		Pose:   Pose{Distance: 120},
		Card: Card{Layout: layout, Serial: "", ScaleX: 1, ScaleY: 1,
			Ink: 0.05, Paper: RGB{0.85, 0.85, 0.85}, Thickness: 0.2},
		Surface: Surface{Kind: "flat", HalfLength: 1000, HalfWidth: 1000, Metal: RGB{0.4, 0.4, 0.4},
			Diffuse: 1, Finish: "plain", LinePitch: 0.2, GlareWidth: 10},
		Light:  Light{Level: 0.8, Colour: RGB{1, 1, 1}, Elevation: 60},
		Bench:  Bench{Depth: 0.2, Kind: "plain", Colour: RGB{0.3, 0.3, 0.3}},
		Optics: Optics{Blur: 0.8},
		Sensor: Sensor{Red: 1, Blue: 1, CastRed: 1, CastBlue: 1},
		Output: Output{Quality: 95, Orientation: 1},
	}
}

// limit is one number of a scene with its allowed range.
type limit struct {
	name        string
	v, min, max float64
}

// Validate returns an error wrapping ErrScene that names the first value out of
// range, or nil.
func (s *Scene) Validate() error {
	for _, l := range s.limits() {
		if !(l.v >= l.min && l.v <= l.max) {
			return fmt.Errorf("%w: %s is %g, want %g to %g", ErrScene, l.name, l.v, l.min, l.max)
		}
	}
	if !slices.Contains([]string{"flat", "shell", "journal"}, s.Surface.Kind) {
		return fmt.Errorf("%w: surface kind %q, want flat, shell or journal", ErrScene, s.Surface.Kind)
	}
	if !slices.Contains([]string{"plain", "brushed", "turned", "honed"}, s.Surface.Finish) {
		return fmt.Errorf("%w: finish %q, want plain, brushed, turned or honed", ErrScene, s.Surface.Finish)
	}
	if !slices.Contains([]string{"plain", "wood", "cloth"}, s.Bench.Kind) {
		return fmt.Errorf("%w: bench kind %q, want plain, wood or cloth", ErrScene, s.Bench.Kind)
	}
	if s.Surface.Kind != "flat" && len(s.Strips) == 0 {
		return fmt.Errorf("%w: a %s is placed by its strip, and there is none", ErrScene, s.Surface.Kind)
	}
	if _, err := s.Processing.Response.curve(); err != nil {
		return err
	}
	_, err := layoutNamed(s.Card.Layout)
	return err
}

func (s *Scene) limits() []limit {
	inf := math.MaxFloat64
	c, o, p := s.Camera, s.Optics, s.Processing
	l := []limit{
		{"camera.width", float64(c.Width), 64, 4032}, {"camera.height", float64(c.Height), 64, 4032},
		{"strips", float64(len(s.Strips)), 0, 16}, {"clutter", float64(len(s.Clutter)), 0, 16},
		{"camera.focal_35mm", c.Focal35, 10, 200}, {"camera.k1", c.K1, -0.2, 0.2}, {"camera.k2", c.K2, -0.1, 0.1},
		{"camera.exif_focal_35mm", float64(c.ExifFocal), 0, 65535},
		{"pose.distance_mm", s.Pose.Distance, 10, 2000}, {"pose.tilt_deg", s.Pose.Tilt, 0, 60},
		{"card.scale_x", s.Card.ScaleX, 0.5, 2}, {"card.scale_y", s.Card.ScaleY, 0.5, 2},
		{"card.ink_um", s.Card.InkUM, -20, 80}, {"card.jitter_um", s.Card.JitterUM, 0, 50},
		{"card.thickness_mm", s.Card.Thickness, 0.01, 5},
		{"surface.line_pitch_mm", s.Surface.LinePitch, 0.01, 10}, {"surface.line_detail_mm", s.Surface.LineDetail, 0, 1}, {"surface.glare_width_deg", s.Surface.GlareWidth, 0.5, 90},
		{"light.level", s.Light.Level, 0.01, 10}, {"light.elevation_deg", s.Light.Elevation, 10, 90},
		{"surface.chamfer_mm", s.Surface.Chamfer, 0, 10}, {"surface.chamfer_gain", s.Surface.ChamferBy, 0, 5},
		{"bench.depth_mm", s.Bench.Depth, 0, 500},
		{"light.shadow", s.Light.Shadow, 0, 1},
		{"optics.blur_px", o.Blur, 0.7, 20}, {"optics.defocus_px", o.Defocus, 0, 12},
		{"optics.motion", math.Hypot(o.MotionX, o.MotionY), 0, 30},
		{"optics.fringe_red", o.FringeRed, -0.002, 0.002}, {"optics.fringe_blue", o.FringeBlue, -0.002, 0.002},
		{"optics.vignetting", o.Vignetting, 0, 0.9},
		{"sensor.full_well_e", s.Sensor.FullWell, 0, 1e9}, {"sensor.read_e", s.Sensor.Read, 0, 1e6},
		{"sensor.red", s.Sensor.Red, 0.1, 10}, {"sensor.blue", s.Sensor.Blue, 0.1, 10},
		{"sensor.cast_red", s.Sensor.CastRed, 0.1, 10}, {"sensor.cast_blue", s.Sensor.CastBlue, 0.1, 10},
		{"processing.curve", p.Curve, 0, 1}, {"processing.denoise", p.Denoise, 0, 1}, {"processing.sharpen", p.Sharpen, 0, 5},
		{"output.quality", float64(s.Output.Quality), 1, 100}, {"output.orientation", float64(s.Output.Orientation), 1, 8},
	}
	if p.Sharpen > 0 {
		l = append(l, limit{"processing.sharpen_radius_px", p.SharpenRadius, 0.3, 10})
	}
	if s.Surface.Kind == "shell" || s.Surface.Kind == "journal" {
		l = append(l, limit{"surface.radius_mm", s.Surface.Radius, 5, 1000})
	}
	for i, k := range s.Clutter {
		l = append(l, k.limits(i)...)
	}
	for i, t := range s.Strips {
		name := fmt.Sprintf("strips[%d].", i)
		l = append(l, limit{name + "width_mm", t.Width, 0.05, 20}, limit{name + "length_mm", t.Length, 2, 200},
			limit{name + "section_area_mm2", t.SectionArea, 1e-5, 10}, limit{name + "rough_um", t.RoughUM, 0, 500},
			limit{name + "opacity_per_mm", t.Opacity, 0, inf}, limit{name + "tilt_along_deg", t.TiltAlong, -60, 60},
			limit{name + "tilt_across_deg", t.TiltAcross, -60, 60}, limit{name + "taper_mm", math.Abs(t.Taper), 0, t.Width},
			limit{name + "bow_mm", math.Abs(t.Bow), 0, t.Width / 2}, limit{name + "ragged_mm", t.Ragged, 0, t.Length / 4},
			limit{name + "end_round_mm", t.EndRound, 0, t.Length / 4})
		if t.Round {
			l = append(l, limit{name + "glow", t.Glow, 0, 1}, limit{name + "section_area_mm2 of a round strand", t.SectionArea, 0.99 * math.Pi / 4 * t.Width * t.Width, 1.01 * math.Pi / 4 * t.Width * t.Width})
		}
		if t.RoughUM > 0 {
			l = append(l, limit{name + "rough_scale_mm", t.RoughScale, 0.05, t.Length})
		}
	}
	return l
}

func layoutNamed(name string) (*calib.Layout, error) {
	for _, l := range calib.Layouts() {
		if l.Name == name {
			return l, nil
		}
	}
	return nil, fmt.Errorf("%w: no card layout %q", ErrScene, name)
}
