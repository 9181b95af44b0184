package vision

import (
	"math"
	"testing"

	"stripgap/calib"
)

// tapered is a traced strip 20 mm long and 2 mm wide at its middle that widens by
// slope mm a mm, without the stations that drop names.
func tapered(slope float64, drop func(s float64) bool) *traced {
	t := &traced{c: cutter{step: 0.5, width: 2, taper: slope, axis: Axis{Dir: calib.CardPoint{X: 1}, Half: 9.75}}}
	for i := -19; i <= 19; i++ {
		s := float64(i) * t.c.step
		k := cut{s: s, width: 2 + slope*s + 0.002*float64(i%2), u: 0.002}
		if drop(s) {
			k.width, k.dropped = 0, dropNoEdges
		}
		t.cuts = append(t.cuts, k)
	}
	return t
}

// TestMeanOfWhatWasCrushed: the mean width is that of the whole film, also where it
// runs on untraced, but not over a gap, where nothing crushed it. A line's mean is its
// value at the film's middle.
func TestMeanOfWhatWasCrushed(t *testing.T) {
	const slope = 0.03
	all := func(float64) bool { return false }
	gap := func(s float64) bool { return s > 3 && s < 8 }
	whole, beyond, holed := tapered(slope, all), tapered(slope, all), tapered(slope, gap)
	beyond.beyond = [2]float64{0.5, 5.25} // a ragged end, and a stretch in glare
	holed.missing = []gapFound{{FlagOverGap, 3.25, 7.75}}
	for _, c := range []struct {
		name   string
		strip  *traced
		middle float64 // of the film, mm from the stations'
	}{
		{"whole", whole, 0},
		{"runs on", beyond, 2.5},
		{"over a gap", holed, -4.5 * 5.5 / 15.5}, // 4.5 of 20 mm about 5.5 mm are missing
	} {
		pr, ok := c.strip.profile()
		if !ok {
			t.Fatal(c.name)
		}
		if want := 2 + slope*c.middle; math.Abs(pr.Mean-want) > 0.002 {
			t.Errorf("%s: mean %.4f mm, want %.4f", c.name, pr.Mean, want)
		}
	}
}

// TestTaperOfABowedStrip: of a strip that is widest at its middle, the stations of one end
// alone tell a taper that is not the whole strip's; all of them do, and say so.
func TestTaperOfABowedStrip(t *testing.T) {
	const slope, bow = 0.03, -0.0023 // mm a mm, and a mm2
	for _, from := range []float64{-10, -4} {
		strip := tapered(slope, func(s float64) bool { return s < from })
		for n := range strip.cuts {
			if k := &strip.cuts[n]; k.dropped == "" {
				k.width += bow * k.s * k.s
			}
		}
		pr, ok := strip.profile()
		if !ok {
			t.Fatal("no profile")
		}
		wrong := math.Abs(pr.Taper - 20*slope)
		whole := from < -9.5
		if whole != (wrong < 0.01) || whole != (pr.EndsTaperU < 0.01) || wrong > 2*math.Hypot(pr.TaperU, pr.EndsTaperU) {
			t.Errorf("stations from %v mm: taper %.4f mm, off by %.4f, u %.4f and %.4f", from, pr.Taper, wrong, pr.TaperU, pr.EndsTaperU)
		}
	}
}

// TestEndsU: what the ends leave unknown of the mean, against means over all lengths
// that the ends may have.
func TestEndsU(t *testing.T) {
	const slope = 0.03
	strip := tapered(slope, func(float64) bool { return false })
	strip.beyond = [2]float64{0, 3}
	pr, ok := strip.profile()
	if !ok {
		t.Fatal("no profile")
	}
	const n = 40
	sum := 0.0
	for i := range n {
		for k := range n {
			a := -10 + 0.5*((float64(i)+0.5)/n-0.5)
			b := 12.75 + math.Hypot(0.5, 3)*((float64(k)+0.5)/n-0.5)
			d := slope * ((a+b)/2 - (12.75-10)/2)
			sum += d * d
		}
	}
	if want := math.Sqrt(sum / n / n); math.Abs(pr.EndsU-want) > 0.02*want {
		t.Errorf("%.5f mm, want %.5f", pr.EndsU, want)
	}
}

// TestFitDespiteRun: a third of the points of a line lie elsewhere together, as over a
// hole, and the others settle it; where none do the fit is the plain one.
func TestFitDespiteRun(t *testing.T) {
	var x, y []float64
	for i := range 25 {
		x = append(x, float64(i))
		y = append(y, 1+0.01*float64(i)+0.005*math.Sin(9*float64(i)))
	}
	plain, _ := fitRobust(x, y, 2)
	if l, ok := fitDespiteRun(x, y, 2); !ok || l.p != plain.p {
		t.Errorf("nothing apart: %v, want %v", l.p, plain.p)
	}
	for i := 15; i < 22; i++ {
		y[i] -= 0.6
	}
	l, ok := fitDespiteRun(x, y, 2)
	for _, at := range []float64{0, 12, 18, 24} {
		if want := 1 + 0.01*at; !ok || math.Abs(l.at(at)-want) > 0.01 {
			t.Errorf("at %g: %.3f, want %.3f", at, l.at(at), want)
		}
	}
	if !(l.scale < 0.02) {
		t.Errorf("scale %.3f of points that lie within 0.005", l.scale)
	}
}
