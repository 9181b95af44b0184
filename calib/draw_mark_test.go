package calib

import (
	"math"
	"math/bits"
	"testing"
)

// The least Hamming distances are the codes' own: extended Hamming [8,4,4] and
// shortened Hamming [6,3,3]; the third figure in the brackets is the distance.
func TestCodesKeepTheirDistance(t *testing.T) {
	for name, least := range map[string]int{"bench": 4, "rider": 3} {
		l := layoutNamed(t, name)
		for i, m := range l.Marks {
			if int(m.Code)>>l.Style.Bits != 0 {
				t.Errorf("%s: code %08b has more than %d bits", name, m.Code, l.Style.Bits)
			}
			for _, other := range l.Marks[:i] {
				if d := bits.OnesCount8(m.Code ^ other.Code); d < least {
					t.Errorf("%s: codes %08b and %08b differ in %d bits, want %d", name, m.Code, other.Code, d, least)
				}
			}
		}
	}
}

// Every mark maps onto itself when turned by 180 degrees about its centre, and
// does not when turned by 90, which would be a figure without an axis.
func TestMarksMapOntoThemselves(t *testing.T) {
	for _, l := range Layouts() {
		r := drawnCard(t, l, 1016) // 40 px/mm: every centre falls on a pixel corner
		for _, m := range l.Marks {
			x := int(math.Round((m.Centre.X + l.Width/2) * r.scale))
			y := int(math.Round((l.Height/2 - m.Centre.Y) * r.scale))
			reach := int(l.Style.Teeth*r.scale) + 2
			var half, quarter, count int
			for dy := -reach; dy < reach; dy++ {
				for dx := -reach; dx < reach; dx++ {
					here := int(r.black(x+dx, y+dy))
					half = max(half, abs(here-int(r.black(x-dx-1, y-dy-1))))
					quarter += abs(here - int(r.black(x-dy-1, y+dx)))
					count++
				}
			}
			if half > 2 { // levels of 255: the rasteriser's rounding
				t.Errorf("%s: mark %d differs by %d levels from itself turned by 180 degrees", l.Name, m.Code, half)
			}
			if quarter/count < 25 {
				t.Errorf("%s: mark %d looks the same turned by 90 degrees", l.Name, m.Code)
			}
		}
	}
}

// The picture is read back as Mark.Code and MarkStyle describe it.
func TestMarksShowTheirCode(t *testing.T) {
	for _, l := range Layouts() {
		r := drawnCard(t, l, 1200)
		for _, m := range l.Marks {
			black := func(radius, degrees float64) bool {
				sin, cos := math.Sincos(degrees * math.Pi / 180)
				x := (m.Centre.X + radius*cos + l.Width/2) * r.scale
				y := (l.Height/2 - m.Centre.Y - radius*sin) * r.scale
				return r.black(int(x), int(y)) > 127
			}
			st := l.Style
			for s := range 2 * st.Bits {
				want := m.Code>>(s%st.Bits)&1 == 1
				if got := black((st.Rim+st.Teeth)/2, (float64(s)+0.5)*180/float64(st.Bits)); got != want {
					t.Errorf("%s: mark %08b sector %d is black: %t", l.Name, m.Code, s, got)
				}
			}
			for degrees := 5.0; degrees < 360; degrees += 10 {
				quarter := math.Mod(degrees, 180) < 90
				if black(st.Disc*0.6, degrees) != quarter || black((st.Disc+st.Gap)/2, degrees) ||
					!black((st.Gap+st.Rim)/2, degrees) || black((st.Teeth+st.Quiet)/2, degrees) {
					t.Errorf("%s: mark %d is not a quartered disc, gap, rim and quiet zone at %g degrees", l.Name, m.Code, degrees)
				}
			}
		}
	}
}

// A mark's black area follows from its radii alone.
func TestMarkArea(t *testing.T) {
	for _, l := range Layouts() {
		for _, m := range l.Marks {
			st := l.Style
			sq := func(v float64) float64 { return v * v }
			teeth := float64(bits.OnesCount8(m.Code)) / float64(st.Bits)
			want := math.Pi * (sq(st.Disc)/2 + sq(st.Rim) - sq(st.Gap) + teeth*(sq(st.Teeth)-sq(st.Rim)))
			area, centre := areaAndCentroid(markShape(m, st).Rings)
			// Chords at most 0.5 um inside at most 24 mm of arcs take 0.012 mm2.
			if math.Abs(area-want) > 0.012 {
				t.Errorf("%s: mark %d has %.5f mm2, want %.5f", l.Name, m.Code, area, want)
			}
			if d := centre.Sub(m.Centre).Norm(); d > 1e-9 {
				t.Errorf("%s: mark %d has its centroid %g mm off its centre", l.Name, m.Code, d)
			}
		}
	}
}

// areaAndCentroid sums the rings by the shoelace formula; holes run clockwise.
func areaAndCentroid(rings [][]CardPoint) (area float64, c CardPoint) {
	for _, ring := range rings {
		for i, p := range ring {
			q := ring[(i+1)%len(ring)]
			cross := p.X*q.Y - q.X*p.Y
			area += cross / 2
			c = c.Add(p.Add(q).Scale(cross / 6))
		}
	}
	return area, c.Scale(1 / area)
}

func layoutNamed(t *testing.T, name string) *Layout {
	t.Helper()
	for _, l := range Layouts() {
		if l.Name == name {
			return l
		}
	}
	t.Fatalf("no layout %q", name)
	return nil
}

func abs(v int) int { return max(v, -v) }
