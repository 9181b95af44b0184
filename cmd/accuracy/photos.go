package main

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"

	"stripgap/vision"
	"stripgap/vision/synth"
)

// field is one column of photos.csv; its value is "" where there is none.
type field struct {
	name  string
	value func(o *outcome) string
}

func text(v float64) string { return strconv.FormatFloat(v, 'g', 8, 64) }

// scene returns a column of the scene.
func scene(name string, get func(s *synth.Scene) float64) field {
	return field{name, func(o *outcome) string { return text(get(&o.truth.Scene)) }}
}

// strip returns a column of the first strip's scene.
func strip(name string, get func(s *synth.Strip) float64) field {
	return field{name, func(o *outcome) string {
		if len(o.truth.Scene.Strips) == 0 {
			return ""
		}
		return text(get(&o.truth.Scene.Strips[0]))
	}}
}

// compared returns a column of what was measured; none without a profile.
func compared(name string, get func(o *outcome) float64) field {
	return field{name, func(o *outcome) string {
		if o.profile == nil {
			return ""
		}
		return text(get(o))
	}}
}

// seen returns a column of what the card's bars showed; none without them.
func seen(name string, get func(w *vision.Witness) float64) field {
	return field{name, func(o *outcome) string {
		if o.bars == nil {
			return ""
		}
		return text(get(o.bars))
	}}
}

// fields lists the columns: which photo, what became of it, what was measured
// beside the truth, and the scene's knobs.
func fields() []field {
	list := []field{
		{"population", func(o *outcome) string { return o.name }},
		{"index", func(o *outcome) string { return strconv.Itoa(o.index) }},
		{"seed", func(o *outcome) string { return strconv.FormatUint(o.seed, 10) }},
		{"told", func(o *outcome) string { return string(o.tell) }},
		{"outcome", func(o *outcome) string {
			if o.read() {
				return "read"
			}
			return "refused"
		}},
		{"code", func(o *outcome) string { return o.code }},
		{"as_wanted", func(o *outcome) string { return strconv.FormatBool(o.right()) }},
		compared("width_mm", func(o *outcome) float64 { return o.profile.Mean }),
		compared("width_true_mm", func(o *outcome) float64 { return o.truth.Strips[0].MeanWidth }),
		compared("width_u_mm", func(o *outcome) float64 { return o.profile.U }),
		compared("width_error_percent", func(o *outcome) float64 { return o.width.err }),
		compared("width_error_over_u", func(o *outcome) float64 { return o.width.normalised() }),
		compared("net_error_percent", func(o *outcome) float64 { return o.net.err }),
		compared("net_error_over_u", func(o *outcome) float64 { return o.net.normalised() }),
		compared("taper_mm", func(o *outcome) float64 { return o.profile.Taper }),
		compared("taper_true_mm", func(o *outcome) float64 { return o.truth.Strips[0].Taper }),
		compared("taper_u_mm", func(o *outcome) float64 { return o.profile.TaperU }),
		compared("taper_error_percent", func(o *outcome) float64 { return o.taper.err }),
		compared("taper_plain_error_percent", func(o *outcome) float64 { return o.taperPlain }),
		compared("taper_error_over_u", func(o *outcome) float64 { return o.taper.normalised() }),
	}
	list = append(list, termFields()...)
	list = append(list, []field{
		{"flags", func(o *outcome) string { return strings.Join(o.flags, "; ") }},
		{"ends_wrong", func(o *outcome) string { return strconv.FormatBool(o.profile != nil && o.endsWrong) }},
		{"marks", func(o *outcome) string { return strconv.Itoa(o.marks) }},
		{"marks_rms_px", func(o *outcome) string {
			if o.marks == 0 {
				return ""
			}
			return text(o.marksPx)
		}},
		seen("blur_x_measured_px", func(w *vision.Witness) float64 { return w.BlurX }),
		seen("blur_y_measured_px", func(w *vision.Witness) float64 { return w.BlurY }),
		seen("sharpen_measured", func(w *vision.Witness) float64 { return w.Sharpening }),
		seen("sharpen_radius_measured_px", func(w *vision.Witness) float64 { return w.Radius }),
		seen("curve_measured", func(w *vision.Witness) float64 { return w.Tone }),
		seen("curve_u", func(w *vision.Witness) float64 { return w.ToneU }),
		seen("bend_measured", func(w *vision.Witness) float64 { return w.Bend }),
		seen("bend_u", func(w *vision.Witness) float64 { return w.BendU }),
		seen("bars_misfit", func(w *vision.Witness) float64 { return w.Residual }),
		{"width_true_px", func(o *outcome) string {
			if w, ok := widthPixels(o.truth); ok {
				return text(w)
			}
			return ""
		}},
		{"px_per_mm", func(o *outcome) string { return text(o.truth.PixelsPerMM) }},
		{"card", func(o *outcome) string { return o.truth.Scene.Card.Layout }},
		{"surface", func(o *outcome) string { return o.truth.Scene.Surface.Kind }},
		{"finish", func(o *outcome) string { return o.truth.Scene.Surface.Finish }},
		{"strip_colour", knobNamed("strip colour")},
	}...)
	list = append(list, sceneFields()...)
	// Last, because it is a sentence.
	return append(list, field{"why", func(o *outcome) string { return o.why }})
}

// termFields returns a column for each term of the two budgets, in percent of
// the true width: which of them carries the uncertainty.
func termFields() []field {
	width := []string{"edge noise", "metal's texture", "strip's ends", "edge processing", "edge definition", "strip's shadow", "tone", "marks and camera", "print scale", "height", "plane tilt"}
	taper := []string{"edge noise", "metal's texture", "strip's ends", "marks and camera", "print scale", "height", "plane tilt"}
	var list []field
	add := func(prefix string, names []string, budget func(*vision.Profile) []vision.Term) {
		for _, n := range names {
			column := prefix + "_u_" + strings.NewReplacer(" ", "_", "'", "").Replace(n) + "_percent"
			list = append(list, field{column, func(o *outcome) string {
				if o.profile == nil {
					return ""
				}
				u, ok := term(budget(o.profile), n)
				if !ok {
					return ""
				}
				return text(100 * u / o.truth.Strips[0].MeanWidth)
			}})
		}
	}
	add("width", width, func(p *vision.Profile) []vision.Term { return p.Budget })
	add("taper", taper, func(p *vision.Profile) []vision.Term { return p.TaperBudget })
	return list
}

func knobNamed(name string) func(*outcome) string {
	for _, k := range knobs() {
		if k.name == name {
			return k.value
		}
	}
	panic("accuracy: no knob " + name)
}

func sceneFields() []field {
	return []field{
		scene("blur_px", func(s *synth.Scene) float64 { return blurOf(s.Optics) }),
		scene("tilt_deg", func(s *synth.Scene) float64 { return s.Pose.Tilt }),
		scene("tilt_azimuth_deg", func(s *synth.Scene) float64 { return s.Pose.Azimuth }),
		scene("roll_deg", func(s *synth.Scene) float64 { return s.Pose.Roll }),
		scene("distance_mm", func(s *synth.Scene) float64 { return s.Pose.Distance }),
		scene("focal_35mm", func(s *synth.Scene) float64 { return s.Camera.Focal35 }),
		scene("exif_focal_35mm", func(s *synth.Scene) float64 { return float64(s.Camera.ExifFocal) }),
		scene("k1", func(s *synth.Scene) float64 { return s.Camera.K1 }),
		{"print_error_percent", func(o *outcome) string { return text(o.printError()) }},
		scene("ink_um", func(s *synth.Scene) float64 { return s.Card.InkUM }),
		scene("jitter_um", func(s *synth.Scene) float64 { return s.Card.JitterUM }),
		strip("strip_angle_deg", func(t *synth.Strip) float64 { return t.Angle }),
		strip("strip_length_mm", func(t *synth.Strip) float64 { return t.Length }),
		strip("strip_height_mm", func(t *synth.Strip) float64 { return t.Height }),
		strip("strip_tilt_along_deg", func(t *synth.Strip) float64 { return t.TiltAlong }),
		strip("strip_tilt_across_deg", func(t *synth.Strip) float64 { return t.TiltAcross }),
		strip("strip_thickness_mm", func(t *synth.Strip) float64 { return t.SectionArea / t.Width }),
		strip("gloss", func(t *synth.Strip) float64 { return t.Gloss }),
		strip("rough_um", func(t *synth.Strip) float64 { return t.RoughUM }),
		strip("ragged_mm", func(t *synth.Strip) float64 { return t.Ragged }),
		strip("strip_luminance", func(t *synth.Strip) float64 { return luminance(t.Colour) }),
		strip("opacity_per_mm", func(t *synth.Strip) float64 { return t.Opacity }),
		scene("metal_luminance", func(s *synth.Scene) float64 { return luminance(s.Surface.Metal) }),
		scene("glare", func(s *synth.Scene) float64 { return s.Surface.Glare }),
		scene("line_angle_deg", func(s *synth.Scene) float64 { return s.Surface.LineAngle }),
		scene("line_depth", func(s *synth.Scene) float64 { return s.Surface.LineDepth }),
		scene("surface_radius_mm", func(s *synth.Scene) float64 { return s.Surface.Radius }),
		scene("light_level", func(s *synth.Scene) float64 { return s.Light.Level }),
		scene("light_azimuth_deg", func(s *synth.Scene) float64 { return s.Light.Azimuth }),
		scene("light_elevation_deg", func(s *synth.Scene) float64 { return s.Light.Elevation }),
		scene("shadow", func(s *synth.Scene) float64 { return s.Light.Shadow }),
		scene("full_well_e", func(s *synth.Scene) float64 { return s.Sensor.FullWell }),
		{"tone_curve", knobNamed("tone curve")},
		scene("tone_strength", func(s *synth.Scene) float64 { return s.Processing.Response.Strength }),
		scene("curve", func(s *synth.Scene) float64 { return s.Processing.Curve }),
		scene("denoise", func(s *synth.Scene) float64 { return s.Processing.Denoise }),
		scene("sharpen", func(s *synth.Scene) float64 { return s.Processing.Sharpen }),
		scene("sharpen_radius_px", func(s *synth.Scene) float64 { return s.Processing.SharpenRadius }),
		scene("quality", func(s *synth.Scene) float64 { return float64(s.Output.Quality) }),
	}
}

// writePhotos writes one line a photo.
func writePhotos(w io.Writer, rows []outcome) error {
	c := csv.NewWriter(w)
	var head []string
	for _, f := range fields() {
		head = append(head, f.name)
	}
	c.Write(head) // the Writer keeps the first error for Error
	for i := range rows {
		var line []string
		for _, f := range fields() {
			line = append(line, f.value(&rows[i]))
		}
		c.Write(line)
	}
	c.Flush()
	return c.Error()
}
