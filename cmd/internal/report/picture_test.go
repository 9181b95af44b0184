package report

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"strings"
	"testing"

	"stripgap/calib"
	"stripgap/cmd/internal/pipeline"
	"stripgap/vision"
)

// scene is a made-up photo of flat metal, 1600 x 1200 px at 15 px a mm, with a
// measurement that fits it. Nothing of it was measured.
func scene(t *testing.T) (*vision.Photo, *vision.Measurement) {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, 1600, 1200))
	for y := range 1200 {
		for x := range 1600 {
			img.SetRGBA(x, y, color.RGBA{150, 150, 160, 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	photo, err := vision.Decode("made up", b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	at := func(p calib.CardPoint) calib.PixelPoint { return calib.PixelPoint{X: 800 + 15*p.X, Y: 600 - 15*p.Y} }
	m := &vision.Measurement{Card: &vision.Card{Layout: calib.Bench()}, PxPerMM: 15}
	var card []calib.CardPoint
	var px []calib.PixelPoint
	for _, k := range m.Card.Layout.Marks {
		card, px = append(card, k.Centre), append(px, at(k.Centre))
		m.Card.Marks = append(m.Card.Marks, vision.MarkFound{Mark: k, Pixel: at(k.Centre)})
	}
	m.View, err = calib.FitView(card, px, 0.02, 1600, 1200, calib.Prior{F: 1200, FRel: 0.03, K1SD: 0.05})
	if err != nil {
		t.Fatal(err)
	}
	p := &vision.Profile{Mean: 1.3893, U: 0.0039, Taper: 0.0312}
	for x := -8.0; x <= 8; x++ {
		low, high := calib.CardPoint{X: x, Y: 32}, calib.CardPoint{X: x, Y: 33.4}
		p.Stations = append(p.Stations, vision.Station{At: x, Width: 1.4, U: 0.01,
			Edges: [2]calib.CardPoint{low, high}, Pixels: [2]calib.PixelPoint{at(low), at(high)}})
	}
	p.Stations[3] = vision.Station{At: -5, Dropped: "glare"} // no edges, so no place
	p.Ends = [2]vision.End{{Name: "front", Pixel: at(calib.CardPoint{X: 8, Y: 32.7})}, {Name: "rear", Pixel: at(calib.CardPoint{X: -8, Y: 32.7})}}
	m.Profile = p
	return photo, m
}

func size(t *testing.T, data []byte) image.Point {
	t.Helper()
	c, err := jpeg.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	return image.Pt(c.Width, c.Height)
}

func TestPicture(t *testing.T) {
	photo, m := scene(t)
	r := readings()[0]
	for _, s := range m.Profile.Stations {
		station := pipeline.Station{At: s.At, Dropped: s.Dropped}
		if s.Dropped == "" {
			station.Width, station.U, station.Clearance = ptr(1.4), ptr(0.01), ptr(0.051)
		}
		r.Profile = append(r.Profile, station)
	}
	read, err := Picture(photo, m, &r)
	if err != nil {
		t.Fatal(err)
	}
	m.Profile = nil
	refused := readings()[1]
	partly, err := Picture(photo, m, &refused)
	if err != nil {
		t.Fatal(err)
	}
	nothing, err := Picture(photo, nil, &refused)
	if err != nil {
		t.Fatal(err)
	}
	// A refusal has no profile to plot, so its picture is the shorter one.
	if a, b := size(t, read), size(t, partly); a.X != 1600 || b.X != 1600 || a.Y <= b.Y {
		t.Errorf("read %v, refused %v", a, b)
	}
	if bytes.Equal(partly, nothing) {
		t.Error("the picture of a refusal does not show what was found")
	}
}

// TestOverlayParts checks what is handed to the drawing, where a mistake would
// be hard to see in the picture's pixels.
func TestOverlayParts(t *testing.T) {
	_, m := scene(t)
	o := &vision.Overlay{}
	drawCard(o, m)
	drawStrip(o, m)
	if len(o.Marks) != 6 || len(o.Bars) != len(m.Card.Layout.Bars) {
		t.Fatalf("%d marks, %d bars", len(o.Marks), len(o.Bars))
	}
	// Teeth reach 3.00 mm, at 15 px a mm 45 px.
	if r := o.Marks[0].Radius; r < 44.9 || r > 45.1 {
		t.Errorf("mark radius %v px, want 45", r)
	}
	// The first bar: 2 mm by 10 mm with its corner at (-31, 5) mm, so its corners
	// are at x 800 - 465 and 800 - 435, y 600 - 75 and 600 - 225.
	for i, want := range []calib.PixelPoint{{X: 335, Y: 525}, {X: 365, Y: 525}, {X: 365, Y: 375}, {X: 335, Y: 375}} {
		if d := o.Bars[0][i].Sub(want).Norm(); d > 0.1 {
			t.Errorf("corner %d of the first bar at %v, want %v", i, o.Bars[0][i], want)
		}
	}
	if len(o.Stations) != 16 || len(o.Edges[0]) != 16 {
		t.Errorf("%d stations, %d edge points; the one without edges must be left out", len(o.Stations), len(o.Edges[0]))
	}
	// Without a profile the strip's outline is drawn, as wide as it was found.
	m.Profile, m.Strip = nil, &vision.Strip{Width: 2,
		Axis: vision.Axis{Middle: calib.CardPoint{Y: 33}, Dir: calib.CardPoint{X: 1}, Half: 8}}
	o = &vision.Overlay{}
	drawStrip(o, m)
	if len(o.Edges[0]) != 3 || len(o.Edges[1]) != 3 {
		t.Fatalf("edges %v", o.Edges)
	}
	if d := o.Edges[0][0].Sub(o.Edges[1][0]).Norm(); d < 29.9 || d > 30.1 { // 2 mm at 15 px a mm
		t.Errorf("edges %v px apart, want 30", d)
	}
}

func TestCaption(t *testing.T) {
	r := readings()[0]
	r.Verdict = &pipeline.Verdict{New: &pipeline.Judgement{Verdict: "inside"}}
	o := &vision.Overlay{}
	caption(o, &r)
	got := o.Heading + "\n" + strings.Join(o.Lines, "\n")
	want := `main1.jpg, bearing M1
clearance 0.05100 ± 0.00080 mm (2.008 ± 0.032 thou)
taper, front minus rear: -0.00115 ± 0.00052 mm (-0.045 ± 0.021 thou)
width 1.3893 ± 0.0078 mm (54.70 ± 0.31 thou)
new inside
print-unchecked`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}
