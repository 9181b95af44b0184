package report

import (
	"math"
	"strings"

	"stripgap/calib"
	"stripgap/calib/quantity"
	"stripgap/cmd/internal/pipeline"
	"stripgap/vision"
)

// Picture draws what was found in a photo and what was made of it, as the bytes
// of a JPEG file. m may be nil or partly filled, as it is when a photo is
// refused.
func Picture(photo *vision.Photo, m *vision.Measurement, r *pipeline.Result) ([]byte, error) {
	o := findings(m, r)
	caption(o, r)
	if r.Outcome == pipeline.OutcomeRead {
		o.Plot = plot(r)
	}
	return o.JPEG(photo)
}

// BarePicture is Picture without the words over the photo and the plot under it,
// for a page that has them beside it and shows the picture small.
func BarePicture(photo *vision.Photo, m *vision.Measurement, r *pipeline.Result) ([]byte, error) {
	return bareFindings(m, r).JPEG(photo)
}

// bareFindings is what BarePicture draws.
func bareFindings(m *vision.Measurement, r *pipeline.Result) *vision.Overlay {
	o := findings(m, r)
	o.LargeLabels = true
	return o
}

// findings draws what was found in the photo.
func findings(m *vision.Measurement, r *pipeline.Result) *vision.Overlay {
	o := &vision.Overlay{}
	if m != nil {
		o.Places = m.Places
	}
	if m != nil && m.View != nil {
		drawCard(o, m)
		drawStrip(o, m)
	}
	if r.Outcome == pipeline.OutcomeRead {
		drawEnds(o, m, r)
	}
	return o
}

// caption says in words what was read, or why not and what to do.
func caption(o *vision.Overlay, r *pipeline.Result) {
	name := shortNames([]pipeline.Result{*r})(*r)
	if b := bearing(*r); b != "-" {
		name += ", bearing " + b
	}
	if r.Outcome != pipeline.OutcomeRead {
		o.Heading, o.Refused = name+": not read", true
		o.Lines = []string{r.Refusal.Message, r.Refusal.Remedy}
		return
	}
	o.Heading = name
	width := "width " + both(r.Width.Mean, quantity.DefaultK*r.Width.U)
	if c := r.Clearance; c != nil {
		o.Lines = append(o.Lines, "clearance "+both(c.Mean, c.Expanded),
			"taper, "+r.Ends[0].Name+" minus "+r.Ends[1].Name+": "+signed(both(c.Taper, c.TaperExpanded)))
	}
	o.Lines = append(o.Lines, width)
	if v := verdict(*r); v != "-" {
		o.Lines = append(o.Lines, v)
	}
	if len(r.Flags) > 0 {
		o.Lines = append(o.Lines, strings.Join(r.Flags, ", "))
	}
}

// both prints a length with its expanded uncertainty in both units.
func both(mm, expanded float64) string {
	return plusMinus(mm, expanded, quantity.MM) + " mm (" + plusMinus(mm, expanded, quantity.Thou) + " thou)"
}

// drawCard outlines the marks and the witness bars.
func drawCard(o *vision.Overlay, m *vision.Measurement) {
	l := m.Card.Layout
	for _, f := range m.Card.Marks {
		if x, y, ok := m.View.PixelsPerMM(f.Mark.Centre); ok {
			o.Marks = append(o.Marks, vision.OverlayMark{
				Centre: f.Pixel, Radius: l.Style.Teeth * math.Sqrt(x*y)})
		}
	}
	for _, b := range l.Bars {
		corners := b.Corners()
		if outline := m.View.On(calib.Plane{}).Line(corners[:]...); outline != nil {
			o.Bars = append(o.Bars, outline)
		}
	}
}

// drawStrip draws the traced edges and the stations, or where there is no
// profile the outline of what was taken for the strip.
func drawStrip(o *vision.Overlay, m *vision.Measurement) {
	switch {
	case m.Profile != nil:
		for _, s := range m.Profile.Stations {
			if !(s.Width > 0) {
				continue // no edges were found here, so there is no place to show
			}
			o.Stations = append(o.Stations, vision.OverlayStation{Edges: s.Pixels, Dropped: s.Dropped != ""})
			if s.Dropped == "" {
				o.Edges[0] = append(o.Edges[0], s.Pixels[0])
				o.Edges[1] = append(o.Edges[1], s.Pixels[1])
			}
		}
	case m.Strip != nil:
		a, half := m.Strip.Axis, m.Strip.Width/2
		for side, sign := range []float64{1, -1} {
			offset := a.Normal().Scale(sign * half)
			o.Edges[side] = m.View.On(m.Strip.Plane).Line(a.At(-a.Half).Add(offset), a.At(0).Add(offset), a.At(a.Half).Add(offset))
		}
	}
}

// drawEnds labels both ends with the clearance there, or else the width.
func drawEnds(o *vision.Overlay, m *vision.Measurement, r *pipeline.Result) {
	expanded := quantity.DefaultK * r.Width.U
	if r.Clearance != nil {
		expanded = r.Clearance.Expanded
	}
	for i, e := range r.Ends {
		length := e.Width
		if e.Clearance != nil {
			length = *e.Clearance
		}
		x, _ := quantity.Round(length, expanded)
		o.Ends = append(o.Ends, vision.OverlayEnd{At: m.Profile.Ends[i].Pixel, Name: e.Name, Value: x + " mm"})
	}
}

// plot is the clearance along the strip, or without a lot the width, with a band
// of about 95 % (k = 2).
func plot(r *pipeline.Result) *vision.OverlayPlot {
	p := &vision.OverlayPlot{Quantity: "width", EndNames: [2]string{r.Ends[0].Name, r.Ends[1].Name}}
	mean := r.Width.Mean
	if r.Clearance != nil {
		p.Quantity, mean = "clearance", r.Clearance.Mean
		p.Limits = limits(r.Verdict)
	}
	var common float64
	for _, t := range r.Budget {
		if t.Common {
			common = math.Hypot(common, t.U)
		}
	}
	for _, s := range r.Profile {
		point := vision.OverlayPoint{At: s.At, Dropped: true}
		value := s.Width
		if r.Clearance != nil {
			value = s.Clearance
		}
		if s.Dropped == "" && value != nil && s.U != nil {
			// A fraction of the width is the same fraction of the clearance, nearly.
			own := *s.U * mean / r.Width.Mean
			point.Dropped, point.Value, point.Half = false, *value, quantity.DefaultK*math.Hypot(own, common)
		}
		p.Points = append(p.Points, point)
	}
	return p
}

// limits are the lines a verdict draws across the plot.
func limits(v *pipeline.Verdict) (lines []vision.OverlayLimit) {
	if v == nil {
		return nil
	}
	add := func(kind string, j *pipeline.Judgement) {
		if j != nil && j.Lo != nil {
			lines = append(lines, vision.OverlayLimit{Name: kind + ", at least", Value: *j.Lo})
		}
		if j != nil && j.Hi != nil {
			lines = append(lines, vision.OverlayLimit{Name: kind + ", at most", Value: *j.Hi})
		}
	}
	add("new", v.New)
	add("service", v.Service)
	return lines
}
