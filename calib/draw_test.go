package calib

import (
	"math"
	"strings"
	"testing"
)

// testSerial is a serial of our own making, as NewSerial writes them.
const testSerial = "A7X4N2"

// box is the smallest upright rectangle round some rings.
type box struct{ x0, y0, x1, y1 float64 }

func bounds(p Polygon) box {
	b := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, ring := range p.Rings {
		for _, q := range ring {
			b = box{min(b.x0, q.X), min(b.y0, q.Y), max(b.x1, q.X), max(b.y1, q.Y)}
		}
	}
	return b
}

func (b box) grown(dx, dy float64) box { return box{b.x0 - dx, b.y0 - dy, b.x1 + dx, b.y1 + dy} }

// slack forgives rounding of decimal places, far below any drawn size.
const slack = 1e-9

func (b box) overlaps(c box) bool {
	return b.x0 < c.x1-slack && c.x0 < b.x1-slack && b.y0 < c.y1-slack && c.y0 < b.y1-slack
}

// distance from p to the box, 0 inside.
func (b box) distance(p CardPoint) float64 {
	return math.Hypot(max(b.x0-p.X, p.X-b.x1, 0), max(b.y0-p.Y, p.Y-b.y1, 0))
}

// element is something printed on a card and the ground it needs white.
type element struct {
	name   string
	print  box
	ground box // as print where nothing is asked for
}

// elements lists a layout's print beside its marks with the white ground that
// the design asks for: 4 modules round the bench card's code (ISO/IEC 18004) and
// 1.5 round the rider's, 1.4 mm beside the long edges of isolated bars.
func elements(t *testing.T, l *Layout, serial, bearing string) []element {
	t.Helper()
	var out []element
	for _, b := range l.Bars {
		all := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
		for _, p := range barShapes(b) {
			q := bounds(p)
			all = box{min(all.x0, q.x0), min(all.y0, q.y0), max(all.x1, q.x1), max(all.y1, q.y1)}
		}
		ground := all
		if b.Count == 1 && b.Vertical {
			ground = all.grown(1.4, 0)
		} else if b.Count == 1 {
			ground = all.grown(0, 1.4)
		}
		out = append(out, element{b.Name, all, ground})
	}
	modules := map[string]float64{"bench": 4, "rider": 1.5}[l.Name]
	half, quiet := l.Code.Side/2, modules*l.Code.Side/CodeModules
	c := l.Code.Centre
	code := box{c.X - half, c.Y - half, c.X + half, c.Y + half}
	out = append(out, element{"code", code, code.grown(quiet, quiet)})
	arrow := bounds(arrowShape(l.Front))
	out = append(out, element{"arrow", arrow, arrow})
	for _, label := range l.texts(serial, bearing) {
		p, err := textShape(label.Text, label.Centre, label.Size)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, element{label.Text, bounds(p), bounds(p)})
	}
	return out
}

// drawnCards are the cards a sheet can hold; the bearing is as wide as a tag's
// label takes.
func drawnCards() []struct {
	layout  *Layout
	bearing string
} {
	return []struct {
		layout  *Layout
		bearing string
	}{{Bench(), ""}, {Rider(), ""}, {Rider(), "BE12"}, {Rider(), "MAIN 5"}}
}

func TestNothingTouchesAnothersGround(t *testing.T) {
	for _, card := range drawnCards() {
		l := card.layout
		list := elements(t, l, testSerial, card.bearing)
		for i, e := range list {
			if e.print.x0 < -l.Width/2 || e.print.x1 > l.Width/2 || e.print.y0 < -l.Height/2 || e.print.y1 > l.Height/2 {
				t.Errorf("%s: %s reaches over the card's edge: %+v", l.Name, e.name, e.print)
			}
			for _, m := range l.Marks {
				if d := e.print.distance(m.Centre); d < l.Style.Quiet-slack {
					t.Errorf("%s: %s is %.3f mm from mark %d, inside its quiet zone", l.Name, e.name, d, m.Code)
				}
				if d := e.ground.distance(m.Centre); d < l.Style.Teeth-slack {
					t.Errorf("%s: mark %d's teeth stand on the ground of %s", l.Name, m.Code, e.name)
				}
			}
			for j, other := range list {
				if i != j && e.ground.overlaps(other.print) {
					t.Errorf("%s: %s stands on the ground of %s", l.Name, other.name, e.name)
				}
			}
		}
	}
}

func TestMarksKeepTheirQuietZones(t *testing.T) {
	for _, l := range Layouts() {
		for i, m := range l.Marks {
			if room := min(l.Width/2-math.Abs(m.Centre.X), l.Height/2-math.Abs(m.Centre.Y)); room < l.Style.Quiet-slack {
				t.Errorf("%s: mark %d has %.3f mm to the card's edge", l.Name, m.Code, room)
			}
			for _, other := range l.Marks[:i] {
				if d := m.Centre.Sub(other.Centre).Norm(); d < l.Style.Quiet+l.Style.Teeth {
					t.Errorf("%s: marks %d and %d are %.3f mm apart", l.Name, m.Code, other.Code, d)
				}
			}
		}
	}
}

// Every character of the serials' alphabet, six in a row, has room: the widest
// for the length, those that reach below the line for the height.
func TestEverySerialFits(t *testing.T) {
	for _, l := range Layouts() {
		for _, c := range serialAlphabet {
			for _, label := range l.texts(strings.Repeat(string(c), serialLength), "") {
				p, err := textShape(label.Text, label.Centre, label.Size)
				if err != nil {
					t.Fatal(err)
				}
				if !l.hasRoomFor(p) {
					t.Errorf("%s: %q has no room", l.Name, label.Text)
				}
			}
		}
	}
}

func BenchmarkShapes(b *testing.B) {
	for _, l := range Layouts() {
		b.Run(l.Name, func(b *testing.B) {
			for b.Loop() {
				if _, err := l.Shapes(testSerial, ""); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
