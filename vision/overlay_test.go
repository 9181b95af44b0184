package vision

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stripgap/calib"
)

// madeUp is a photo of flat grey metal with a greenish strip, 2400 x 1800 px,
// and an overlay that fits it. All geometry is invented.
func madeUp(t testing.TB) (*Photo, *Overlay) {
	at := func(x, y float64) calib.PixelPoint { return calib.PixelPoint{X: x, Y: y} }
	m := image.NewRGBA(image.Rect(0, 0, 2400, 1800))
	for y := range 1800 {
		for x := range 2400 {
			c := color.RGBA{150, 150, 155, 255}
			if x >= 700 && x < 1700 && y >= 1100 && y < 1160 {
				c = color.RGBA{120, 170, 120, 255}
			} else if x >= 600 && x < 1800 && y >= 500 && y < 950 {
				c = color.RGBA{240, 240, 240, 255}
			}
			m.SetRGBA(x, y, c)
		}
	}
	o := &Overlay{
		Heading: "bench.jpg: main 3",
		Lines:   []string{"clearance 0.0512 mm ± 0.0021 (2.0 thou ± 0.1), taper 0.0031 mm"},
		Edges:   [2][]calib.PixelPoint{{at(700, 1099.5), at(1700, 1099.5)}, {at(700, 1159.5), at(1700, 1159.5)}},
		Bars:    [][]calib.PixelPoint{{at(900, 700), at(960, 700), at(960, 850), at(900, 850)}},
		Places:  [][]calib.PixelPoint{{at(1300, 600), at(1400, 600), at(1400, 700), at(1300, 700)}},
		Ends:    []OverlayEnd{{at(1700, 1129.5), "front", "0.0497 mm"}, {at(700, 1129.5), "rear", "0.0528 mm"}},
		Plot: &OverlayPlot{Quantity: "clearance", EndNames: [2]string{"front", "rear"},
			Limits: []OverlayLimit{{"new, at most", 0.055}, {"new, at least", 0.025}}},
	}
	for i := range 6 {
		o.Marks = append(o.Marks, OverlayMark{at(650+float64(i%3)*550, 560+float64(i/3)*330), 40})
	}
	for i := range 41 {
		x := 700 + 25*float64(i)
		dropped := i > 20 && i < 26
		o.Stations = append(o.Stations, OverlayStation{[2]calib.PixelPoint{at(x, 1099.5), at(x, 1159.5)}, dropped})
		along := (x - 1200) / 50
		o.Plot.Points = append(o.Plot.Points, OverlayPoint{along, 0.0512 - 0.00015*along + 0.0003*math.Sin(along*3), 0.0021, dropped})
	}
	return mustDecode(t, "made up", asJPEG(t, m)), o
}

func TestOverlayPicture(t *testing.T) {
	p, o := madeUp(t)
	img, err := o.Draw(p)
	if err != nil {
		t.Fatal(err)
	}
	keep(t, "overlay.png", img)
	v := o.view(p)
	banner := o.bannerHeight()
	if img.Rect.Dx() != 1600 || img.Rect.Dy() != banner+v.height+legendHeight+plotHeight {
		t.Fatalf("picture of %v", img.Rect)
	}
	// What was found spans (610,520) to (1800,1160) with the marks' radius; a
	// sixth of its longer side is left round it.
	margin := (1790 - 610) / 6
	if r := v.crop; r.Min.X > 610-margin+1 || r.Min.X < 610-margin-2 || r.Max.Y < 1159+margin || r.Max.Y > 1161+margin+1 {
		t.Errorf("cut to %v", r)
	}
	// on maps the photo to the picture by hand.
	on := func(x, y float64) calib.PixelPoint {
		s := 1600 / float64(v.crop.Dx())
		return calib.PixelPoint{X: (x+0.5-float64(v.crop.Min.X))*s - 0.5,
			Y: (y+0.5-float64(v.crop.Min.Y))*s - 0.5 + float64(banner)}
	}
	radius := o.Marks[1].Radius*v.scale + 3
	mark := on(1200, 560)
	for what, c := range map[string]struct {
		at  calib.PixelPoint
		ink color.RGBA
	}{
		"mark's ring":            {mark.Sub(calib.PixelPoint{X: radius}), inkWhite},
		"upper edge":             {on(1010, 1099.5), inkCyan},
		"lower edge":             {on(1010, 1159.5), inkCyan},
		"check bar's outline":    {on(900, 775), inkYellow},
		"outline to look at":     {on(1300, 650), inkAmber},
		"dropped station's sign": {on(1225, 1129.5), inkRed},
	} {
		if got := img.RGBAAt(int(math.Round(c.at.X)), int(math.Round(c.at.Y))); got != c.ink {
			t.Errorf("%s at %v is %v, want %v", what, c.at, got, c.ink)
		}
	}
	// Strip and card show through: the colours of the photo, within JPEG's loss.
	for what, c := range map[string]struct {
		at   calib.PixelPoint
		want color.RGBA
	}{"strip": {on(850, 1129.5), color.RGBA{120, 170, 120, 255}}, "card": {on(1500, 700), color.RGBA{240, 240, 240, 255}}} {
		got := img.RGBAAt(int(c.at.X), int(c.at.Y))
		for i, d := range []int{int(got.R) - int(c.want.R), int(got.G) - int(c.want.G), int(got.B) - int(c.want.B)} {
			if d > 6 || d < -6 {
				t.Errorf("%s is %v, want %v (channel %d)", what, got, c.want, i)
			}
		}
	}
}

// A label at the photo's border must not hide the end it names.
func TestOverlayEndAtBorder(t *testing.T) {
	p, o := madeUp(t)
	o.Ends[0].At = calib.PixelPoint{X: 2390, Y: 1129.5}
	img, err := o.Draw(p)
	if err != nil {
		t.Fatal(err)
	}
	keep(t, "border.png", img)
	v := o.view(p)
	at := v.point(o.Ends[0].At)
	dot := img.RGBAAt(int(math.Round(at.X))-9, int(math.Round(at.Y)))
	past := img.RGBAAt(int(math.Round(at.X))-16, int(math.Round(at.Y)))
	if dot != inkWhite || past == inkWhite || past == inkBlack {
		t.Errorf("the end's dot is %v and what is beside it %v", dot, past)
	}
}

func TestBannerWraps(t *testing.T) {
	c := newCanvas(1, 1)
	f := fontKey{lineSize, false}
	lines := c.wrap(f, 300, "  lay the card flat and take the photo again, with Donaudampfschifffahrtsgesellschaft ")
	if got := strings.Join(lines, " "); got != "lay the card flat and take the photo again, with Donaudampfschifffahrtsgesellschaft" {
		t.Errorf("words are lost: %q", got)
	}
	for i, l := range lines {
		if c.measure(f, l) > 300 && strings.Contains(l, " ") {
			t.Errorf("line %q is too long", l)
		}
		if i > 0 && c.measure(f, lines[i-1]+" "+strings.Fields(l)[0]) <= 300 {
			t.Errorf("line %q is broken too early", lines[i-1])
		}
	}
	if n := len(c.wrap(f, 300, " ")); n != 0 {
		t.Errorf("no words give %d lines", n)
	}
}

// The plot's line passes through the values where the axes say.
func TestOverlayPlot(t *testing.T) {
	c := newCanvas(1600, 560)
	p := &OverlayPlot{Quantity: "width", EndNames: [2]string{"a", "b"}, Limits: []OverlayLimit{{"limit", 2}}}
	for i := range 21 {
		p.Points = append(p.Points, OverlayPoint{At: float64(i - 10), Value: 1, Half: 0.1, Dropped: i == 15 || i == 17})
	}
	r := image.Rect(0, 0, 1600, 560)
	p.draw(c, r, false)
	keep(t, "plot.png", c.img)
	f := p.frame(r, false)
	ink := func(along, value float64) color.RGBA {
		q := f.point(along, value)
		return c.img.RGBAAt(int(math.Round(q.X)), int(math.Round(q.Y)))
	}
	for what, ok := range map[string]bool{
		"line":         ink(-5, 1) == inkBlue,
		"band":         ink(-5.5, 1.07) == inkPale && ink(-5.5, 0.93) == inkPale,
		"outside band": ink(-5.5, 1.13) == inkWhite && ink(-5.5, 0.87) == inkWhite,
		"gap":          ink(5, 1.05) == inkWhite && ink(5, 1) != inkBlue,
		"cross":        c.img.RGBAAt(int(math.Round(f.along.at(5))), f.area.Max.Y-16) == inkRed,
		"lone station": ink(6, 1) == inkBlue && ink(6, 1.08) == inkPale && ink(6, 0.92) == inkPale,
		"first left":   f.along.at(10) < f.along.at(-10),
		"turned":       p.frame(r, true).along.at(10) > p.frame(r, true).along.at(-10),
		"up is more":   f.value.at(1.1) < f.value.at(1),
	} {
		if !ok {
			t.Errorf("%s is not where it should be", what)
		}
	}
	dashes := 0
	for x := f.area.Min.X; x < f.area.Max.X; x++ {
		if c.img.RGBAAt(x, int(math.Round(f.value.at(2)))) == inkRed {
			dashes++
		}
	}
	// 18 px of every 30, and their round ends, which anti-aliasing thins.
	if share := float64(dashes) / float64(f.area.Dx()); share < 0.45 || share > 0.75 {
		t.Errorf("the limit covers %.2f of its line", share)
	}
}

// A refused photo has a picture too, with whatever was found.
func TestOverlayOfRefusal(t *testing.T) {
	p, _ := madeUp(t)
	r := Refuse(CodeNoCard, "")
	o := &Overlay{Heading: r.Message, Lines: []string{strings.Repeat(r.Remedy+" ", 3)}, Refused: true}
	data, err := o.JPEG(p)
	if err != nil {
		t.Fatal(err)
	}
	img, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	keep(t, "refused.png", img)
	// The whole photo, 4:3, and a banner of heading and three lines or more.
	if h := img.Bounds().Dy() - 1200; img.Bounds().Dx() != 1600 || h < 2*bannerPad+headingStep+3*lineStep {
		t.Errorf("picture of %v", img.Bounds())
	}
	if red, _, _, _ := img.At(5, 5).RGBA(); red>>8 < 150 {
		t.Error("the banner of a refusal is not red")
	}
}

func TestOverlayRefusesNonsense(t *testing.T) {
	for what, spoil := range map[string]func(o *Overlay){
		"mark":       func(o *Overlay) { o.Marks[2].Centre.X = math.NaN() },
		"edge":       func(o *Overlay) { o.Edges[1][0].Y = math.Inf(1) },
		"one end":    func(o *Overlay) { o.Ends = o.Ends[:1] },
		"plot value": func(o *Overlay) { o.Plot.Points[3].Value = math.NaN() },
		"band":       func(o *Overlay) { o.Plot.Points[3].Half = -1 },
		"limit":      func(o *Overlay) { o.Plot.Limits[0].Value = math.Inf(-1) },
	} {
		p, o := madeUp(t)
		spoil(o)
		if _, err := o.Draw(p); err == nil {
			t.Errorf("%s: no error", what)
		}
	}
	// Dropped stations need no value, and findings outside the photo no place.
	p, o := madeUp(t)
	o.Plot.Points[22].Value = math.NaN()
	o.Marks[0].Centre = calib.PixelPoint{X: -500, Y: 1e6}
	if _, err := o.Draw(p); err != nil {
		t.Error(err)
	}
}

// keep writes a picture to the folder named by KEEP_PICTURES, to be looked at.
func keep(t *testing.T, name string, img image.Image) {
	dir := os.Getenv("KEEP_PICTURES")
	if dir == "" {
		return
	}
	f, err := os.Create(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := png.Encode(f, img); err != nil {
		t.Fatal(err)
	}
}

func BenchmarkOverlay(b *testing.B) {
	p, o := madeUp(b)
	for b.Loop() {
		if _, err := o.JPEG(p); err != nil {
			b.Fatal(err)
		}
	}
}
