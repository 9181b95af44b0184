package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"stripgap/calib"
)

// cardLooks are looks at a whole card: rotations all round, tilts to the limit of
// 35 degrees in any direction, and scales from the least that should be read.
func cardLooks(l *calib.Layout) []lookFrom {
	var out []lookFrom
	scales := []float64{8.2, 8.7, 9.2}
	if l.Name == "rider" {
		scales = []float64{14, 22, 28}
	}
	for i := range 18 {
		out = append(out, lookFrom{PX: scales[i%3], Tilt: []float64{0, 20, 35}[i/3%3], Azimuth: float64(i) * 67,
			Roll: float64(i) * 20, W: 1000, H: 1000})
	}
	return out
}

// TestEveryMarkIsFound at every look. The search sees at least the five marks that
// a reading needs, each with its own code and in its place; FindCard then has all
// six, with centres within 0.1 px of the truth at any tilt.
func TestEveryMarkIsFound(t *testing.T) {
	rng := rand.New(rand.NewPCG(51, 1))
	for _, l := range calib.Layouts() {
		for _, c := range cardLooks(l) {
			p := drawCard(t, l, c).blurred(1).display(0, 1).plane(rng, 0.01)
			project := c.project()
			f := newFinder(p, calib.PrintScale{})
			all, err := f.marks()
			if err != nil {
				t.Fatal(err)
			}
			seen, h, ok := f.choose(all)
			if !ok || len(seen) < minMarks || seen[0].layout.Name != l.Name || h.Mirrored() {
				t.Errorf("%s, %+v: %d marks chosen of %d sightings", l.Name, c, len(seen), len(all))
				continue
			}
			for _, s := range seen {
				if d := s.at.Sub(project(s.mark.Centre)).Norm(); d > 1 { // a quarter of a pixel at quarter scale
					t.Errorf("%s, %+v: code %b is %.2f px off", l.Name, c, s.mark.Code, d)
				}
			}
			card, view, err := FindCard(photoOf(p), Options{Prior: c.known()})
			if err != nil {
				t.Errorf("%s, %+v: %v", l.Name, c, err)
				continue
			}
			if card.Layout.Name != l.Name || len(card.Marks) != len(l.Marks) {
				t.Errorf("%s, %+v: a %s with %d marks", l.Name, c, card.Layout.Name, len(card.Marks))
			}
			for _, m := range card.Marks {
				if d := m.Pixel.Sub(project(m.Mark.Centre)).Norm(); d > 0.1 {
					t.Errorf("%s, %+v: code %b is %.3f px off", l.Name, c, m.Mark.Code, d)
				}
			}
			if d := math.Abs(view.Tilt()*180/math.Pi - c.Tilt); d > 3 {
				t.Errorf("%s, %+v: tilt %v", l.Name, c, view.Tilt()*180/math.Pi)
			}
		}
	}
}

// TestMirroredCardIsRefused: turned and tilted, it never gives a card.
func TestMirroredCardIsRefused(t *testing.T) {
	for _, l := range calib.Layouts() {
		for i, c := range cardLooks(l) {
			if i%3 != 1 {
				continue
			}
			c.Mirror = true
			p := drawCard(t, l, c).blurred(1).display(0, 1).plane(nil, 0)
			if _, _, err := FindCard(photoOf(p), Options{Prior: c.known()}); refusalCode(err) != CodeMirrored {
				t.Errorf("%s, %+v: %s", l.Name, c, refusalCode(err))
			}
		}
	}
}

// disc is a circle of 90 chords.
func disc(x, y, r float64) []calib.CardPoint {
	var out []calib.CardPoint
	for i := range 90 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 90)
		out = append(out, calib.CardPoint{X: x + r*cos, Y: y + r*sin})
	}
	return out
}

// rect is an upright rectangle.
func rect(x0, y0, x1, y1 float64) []calib.CardPoint {
	return []calib.CardPoint{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}

// quarters are the disc's two black quarters.
func quarters(r float64) (out [][]calib.CardPoint) {
	for _, from := range []float64{0, math.Pi} {
		ring := []calib.CardPoint{{}}
		for i := range 31 {
			sin, cos := math.Sincos(from + math.Pi/2*float64(i)/30)
			ring = append(ring, calib.CardPoint{X: r * cos, Y: r * sin})
		}
		out = append(out, ring)
	}
	return out
}

// toothed is a bench mark's rim and hole, with teeth by a code of its own for each
// half.
func toothed(first, second uint8) [][]calib.CardPoint {
	s := calib.Bench().Style
	var rim []calib.CardPoint
	for i := range 2 * s.Bits * 10 {
		r, sector := s.Rim, i/10
		if []uint8{first, second}[sector/s.Bits]>>(sector%s.Bits)&1 == 1 {
			r = s.Teeth
		}
		sin, cos := math.Sincos(math.Pi / float64(s.Bits) * (float64(i) + 0.5) / 10)
		rim = append(rim, calib.CardPoint{X: r * cos, Y: r * sin})
	}
	return [][]calib.CardPoint{rim, disc(0, 0, s.Gap)}
}

// TestNothingIsTakenForAMark: rings, targets, a chequer and a code like the
// card's are no marks, seen straight or in a mirror; nor is a mark whose halves
// disagree. A proper mark drawn the same way is one.
func TestNothingIsTakenForAMark(t *testing.T) {
	marks := calib.Bench().Marks
	a, b := marks[0].Code, marks[3].Code
	var chequer [][]calib.CardPoint
	for i := range 12 {
		for j := range 12 {
			if (i+j)%2 == 0 {
				chequer = append(chequer, rect(float64(i)*3-18, float64(j)*3-18, float64(i)*3-15, float64(j)*3-15))
			}
		}
	}
	shapes, err := calib.Bench().Shapes(testSerial(t), "")
	if err != nil {
		t.Fatal(err)
	}
	code := shapes[len(calib.Bench().Marks)+barCount(calib.Bench())].Rings
	ring := [][]calib.CardPoint{disc(0, 0, 3), disc(0, 0, 1.9)}
	for _, s := range []struct {
		name  string
		rings [][]calib.CardPoint
		mark  bool
	}{
		{"a mark", append(toothed(a, a), quarters(1.35)...), true},
		{"a mark whose halves disagree", append(toothed(a, b), quarters(1.35)...), false},
		{"a mark whose halves disagree, the other way", append(toothed(b, a), quarters(1.35)...), false},
		{"a mark with a plain disc", append(toothed(a, a), disc(0, 0, 1.35)), false},
		{"dark ring", ring, false},
		{"ring round a disc", append(ring, disc(0, 0, 1.35)), false},
		{"ring round a quartered disc, no teeth", append(quarters(1.35), disc(0, 0, 2.3), disc(0, 0, 1.9)), false},
		{"ring round a quartered disc, all teeth", append(quarters(1.35), ring...), false},
		{"quartered disc alone", quarters(1.35), false},
		{"chequer", chequer, false},
		{"the card's QR code", code, false},
	} {
		for _, roll := range []float64{0, 33} {
			c := lookFrom{PX: 14, Tilt: 10, Azimuth: 50, Roll: roll, W: 600, H: 600}
			d := newDrawing(c.W, c.H, 0.8)
			d.fill(0.05, c.project(), s.rings...)
			p := d.blurred(1).display(0, 1).plane(nil, 0)
			for _, mirror := range []bool{false, true} {
				f := newFinder(p, calib.PrintScale{})
				f.mirror = mirror
				all, err := f.marks()
				if want := s.mark && !mirror; err != nil || len(all) > 0 != want {
					t.Errorf("%s, turned by %v, mirror %v: %d sightings, %v", s.name, roll, mirror, len(all), err)
				}
			}
		}
	}
}

// TestSpoiltMarks: a card keeps its reading with one mark covered or bearing
// another's code, which is then left out, and is refused with two.
func TestSpoiltMarks(t *testing.T) {
	l := calib.Bench()
	c := lookFrom{PX: 9, Roll: 15, W: 1000, H: 1000}
	spoil := func(d *drawing, i int, rings [][]calib.CardPoint) {
		at := l.Marks[i].Centre
		place := func(p calib.CardPoint) calib.PixelPoint { return c.project()(p.Add(at)) }
		d.fill(0.8, place, disc(0, 0, l.Style.Teeth+0.2))
		d.fill(0.05, place, rings...)
	}
	other := append(toothed(l.Marks[4].Code, l.Marks[4].Code), quarters(l.Style.Disc)...)
	for name, rings := range map[string][][]calib.CardPoint{"another's code": other, "a blot": {disc(0.4, 0, 2)}, "nothing": nil} {
		d := drawCard(t, l, c)
		spoil(d, 1, rings)
		card, _, err := FindCard(photoOf(d.blurred(1).display(0, 1).plane(nil, 0)), Options{Prior: c.known()})
		if err != nil || len(card.Marks) != 5 {
			t.Errorf("one mark with %s: %v, %+v", name, err, card)
			continue
		}
		for _, m := range card.Marks {
			if m.Mark == l.Marks[1] {
				t.Errorf("one mark with %s: kept", name)
			}
		}
		spoil(d, 5, rings)
		_, _, err = FindCard(photoOf(d.blurred(1).display(0, 1).plane(nil, 0)), Options{Prior: c.known()})
		if refusalCode(err) != CodeFewMarks {
			t.Errorf("two marks with %s: %s", name, refusalCode(err))
		}
	}
}

// TestFourMarksInLine: three marks of one row and one of the other give no
// homography, whichever four they are; they are few marks, not none.
func TestFourMarksInLine(t *testing.T) {
	l := calib.Bench()
	c := lookFrom{PX: 9, Roll: 15, W: 1000, H: 1000}
	for _, cover := range [][]int{{3, 4}, {4, 5}, {0, 1}} {
		d := drawCard(t, l, c)
		for _, i := range cover {
			at := l.Marks[i].Centre
			d.fill(0.8, func(p calib.CardPoint) calib.PixelPoint { return c.project()(p.Add(at)) }, disc(0, 0, l.Style.Teeth+0.2))
		}
		_, _, err := FindCard(photoOf(d.blurred(1).display(0, 1).plane(nil, 0)), Options{Prior: c.known()})
		if refusalCode(err) != CodeFewMarks {
			t.Errorf("marks %v covered: %v", cover, err)
		}
	}
}

// barCount is the number of black bars on a card.
func barCount(l *calib.Layout) int {
	n := 0
	for _, b := range l.Bars {
		n += b.Count
	}
	return n
}

// TestMirroredCodesAreNoCard: whatever of a mirrored card still reads as codes of
// its layout, fewer than the five marks a reading needs agree with one unmirrored
// homography. In a mirror angle a becomes pi - a and the disc's quarters turn by a
// quarter, so that sector i shows what was in sector Bits/2 - 1 - i. The rider's
// codes all remain codes; its corners even agree, as a card upside down, and its
// middle marks tell.
func TestMirroredCodesAreNoCard(t *testing.T) {
	for _, l := range calib.Layouts() {
		n := l.Style.Bits
		var home []calib.CardPoint
		var seen []calib.PixelPoint
		for _, m := range l.Marks {
			var c uint8
			for i := range n {
				c |= m.Code >> ((n + n/2 - 1 - i) % n) & 1 << i
			}
			if o, ok := l.MarkByCode(c); ok {
				home = append(home, o.Centre)
				seen = append(seen, calib.PixelPoint{X: 1000 - 20*m.Centre.X, Y: 800 - 20*m.Centre.Y})
			}
		}
		if len(home) < minMarks {
			continue
		}
		// A marginal fit is as good as none here: the marks lie 70 px apart.
		h, in, err := calib.FitHomographyRobust(home, seen, 3)
		agree := 0
		for _, ok := range in {
			if ok {
				agree++
			}
		}
		if err == nil && !h.Mirrored() && agree >= minMarks {
			t.Errorf("%s: %d marks of a mirrored card agree", l.Name, agree)
		}
	}
}

// TestNoMarksInFlatPhotos: black, grey and burnt-out photos with noise.
func TestNoMarksInFlatPhotos(t *testing.T) {
	for _, v := range []float64{0, 0.3, 1} {
		p := newDrawing(640, 480, v).display(0, 1).plane(rand.New(rand.NewPCG(51, 3)), 0.02)
		if _, _, err := FindCard(photoOf(p), Options{}); refusalCode(err) != CodeNoCard {
			t.Errorf("light %v: %s", v, refusalCode(err))
		}
	}
}
