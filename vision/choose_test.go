package vision

import (
	"testing"

	"stripgap/calib"
)

// TestReasonOfTheMissed: what became of the most prominent band names the refusal,
// and nothing that is faint or plain does.
func TestReasonOfTheMissed(t *testing.T) {
	band := func(contrast float64, why string, touches touch) missed {
		return missed{candidate{contrast: contrast, colour: [3]float64{1, contrast, 0}, touches: touches, even: true}, why, true}
	}
	grey := band(12, dropContrast, touch{})
	grey.colour = [3]float64{12, 0, 0}
	second := band(12, dropSaturated, touch{})
	second.first = false
	for _, c := range []struct {
		name string
		all  choice
		want string
	}{
		{"nothing", choice{}, CodeNoStrip},
		{"cut by the border", choice{missed: []missed{band(12, dropNoEdges, touch{border: true})}}, CodeStripCutOff},
		{"at the card", choice{missed: []missed{band(12, dropNoEdges, touch{card: true})}}, CodeStripReachesCard},
		{"burnt out", choice{missed: []missed{band(12, dropSaturated, touch{})}}, CodeSaturated},
		{"as light as the metal", choice{missed: []missed{band(12, dropContrast, touch{})}}, CodeLowContrast},
		{"faintly tinted, as light as the metal", choice{missed: []missed{band(6, dropContrast, touch{})}}, CodeLowContrast},
		{"a machining line", choice{missed: []missed{grey}}, CodeNoStrip},
		{"narrow", choice{missed: []missed{band(12, tooNarrow, touch{})}}, CodeNarrowStrip},
		{"one soft edge", choice{missed: []missed{band(12, notSharp, touch{})}}, CodeSmeared},
		{"two soft edges", choice{missed: []missed{band(12, softEdges, touch{})}}, CodeSoftEdges},
		{"shaded, such as a groove", choice{missed: []missed{band(12, notEven, touch{})}}, CodeNoStrip},
		{"a bevel", choice{missed: []missed{band(12, twoGrounds, touch{})}}, CodeNoStrip},
		{"faint", choice{missed: []missed{band(5, dropSaturated, touch{})}}, CodeNoStrip},
		{"a stub under the card", choice{odd: []candidate{{even: true}}}, CodeStripReachesCard},
		{"the second of two", choice{missed: []missed{band(12, notEven, touch{}), second}}, CodeSaturated},
	} {
		c.all.ground = &ground{quarry: crushedStrip}
		if got := c.all.refusal(); got.Code != c.want {
			t.Errorf("%s: %s, want %s", c.name, got.Code, c.want)
		}
	}
}

// TestColourAsked: where a band's luma is its ground's, or soft as a shadow makes it,
// colour may tell; not of what has none, and not of what is no film by its shape.
func TestColourAsked(t *testing.T) {
	for _, c := range []struct {
		why            string
		contrast, tint float64
		want           bool
	}{{dropContrast, 12, 12, true}, {notSharp, 12, 12, true}, {softEdges, 12, 12, true}, {softEdges, 12, 1, false}, {notEven, 12, 12, false},
		{dropContrast, 6, 5, true}, {softEdges, 6, 5, false}} {
		all := choice{ground: &ground{quarry: crushedStrip}}
		all.missed = []missed{{candidate{contrast: c.contrast, colour: [3]float64{1, c.tint, 0}}, c.why, true}}
		if got := all.refusal().tinted; got != c.want {
			t.Errorf("%s, tint %v: %v", c.why, c.tint, got)
		}
	}
}

// TestContinues: a piece goes on in line, in the same colour and not far beyond an
// end.
func TestContinues(t *testing.T) {
	piece := func(x0, x1, y float64, colour [3]float64) candidate {
		return candidate{a: calib.CardPoint{X: x0, Y: y}, b: calib.CardPoint{X: x1, Y: y}, width: 2, colour: colour}
	}
	green, red := [3]float64{-5, 20, 3}, [3]float64{-5, -3, 20}
	strip := piece(0, 10, 0, green)
	for _, c := range []struct {
		name  string
		other candidate
		want  bool
	}{
		{"in line", piece(12, 20, 0.3, green), true},
		{"before it", piece(-9, -2, 0, green), true},
		{"of another colour", piece(12, 20, 0, red), false},
		{"far beyond", piece(20, 30, 0, green), false},
		{"beside it", piece(12, 20, 3, green), false},
		{"on it", piece(2, 8, 0, green), false},
	} {
		if got := c.other.continues(strip); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// TestSoftEdges: where both edges are soft the photo blurs the strip; a smear draws
// out one. A faint edge may be softer. What is sharp enough is judged by what follows.
func TestSoftEdges(t *testing.T) {
	for _, c := range []struct {
		spread [2]float64
		film   float64
		want   string
	}{
		{[2]float64{1.5, 1.6}, 0.2, softEdges},
		{[2]float64{2.2, 1.5}, 0.2, softEdges},
		{[2]float64{1.5, 4}, 0.2, notSharp},
		{[2]float64{1.3, 1.35}, 0.2, notClear},
		{[2]float64{1.5, 1.6}, 0.5, notClear},
		{[2]float64{1.8, 1.9}, 0.5, softEdges},
	} {
		b := traced{cuts: make([]cut, 20), spread: c.spread, film: grey(c.film), metal: [2]rgb{grey(0.6), grey(0.65)}}
		b.c.axis.Half, b.cam.S = 5, 1
		if got := b.unlike(crushedStrip); got != c.want {
			t.Errorf("film %v, edges %v as soft as the card's: %s, want %s", c.film, c.spread, got, c.want)
		}
	}
}

// TestSoftRival: a more prominent band that is not sharp may be the strip that is meant
// where what was traced shows a fault, and is clutter beside a sound strip.
func TestSoftRival(t *testing.T) {
	band := candidate{contrast: 20, width: 2, a: calib.CardPoint{X: -9, Y: 20}, b: calib.CardPoint{X: 9, Y: 20}}
	for _, c := range []struct {
		name   string
		spread [2]float64
		torn   bool
		m      missed
		want   bool
	}{
		{"sound", [2]float64{1, 1.1}, false, missed{band, notSharp, true}, false},
		{"one edge soft", [2]float64{1, 1.4}, false, missed{band, notSharp, true}, true},
		{"torn", [2]float64{1, 1.1}, true, missed{band, softEdges, true}, true},
		{"torn, and the band is not the most prominent", [2]float64{1, 1.1}, true, missed{band, softEdges, false}, false},
		{"torn, and the band is no strip", [2]float64{1, 1.1}, true, missed{band, notEven, true}, false},
	} {
		b := traced{spread: c.spread, found: candidate{contrast: 12, width: 1, a: calib.CardPoint{X: -4, Y: 9}, b: calib.CardPoint{X: 4, Y: 9}}}
		if c.torn {
			b.missing = []gapFound{{name: FlagTorn}}
		}
		if got := c.m.rivals(&b); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// TestWeigh: what lies inside something wide is no hidden strip, and neither that nor a
// part's border keeps the next band from naming the refusal.
func TestWeigh(t *testing.T) {
	red, steel := rgb{0.9, 0.2, 0.1}, grey(0.7)
	for _, c := range []struct {
		name   string
		film   rgb
		metal  [2]rgb
		why    string
		hidden bool
	}{
		{"a strip as light as its metal", rgb{0.6, 0.4, 0.6}, [2]rgb{grey(0.48), grey(0.48)}, dropContrast, true},
		{"inside a red plate", red, [2]rgb{red, red}, noBand, false},
		{"a part's border", steel, [2]rgb{steel, red}, twoGrounds, false},
	} {
		next := candidate{contrast: 12, a: calib.CardPoint{X: 9}, even: true}
		trace := func(k candidate) (traced, string) {
			if k == next {
				return traced{}, softEdges
			}
			return traced{film: c.film, metal: c.metal}, dropContrast
		}
		all := choice{ground: &ground{quarry: crushedStrip}}
		all.weigh([]candidate{{contrast: 20, even: true}, next}, trace)
		m := all.missed[0]
		if m.why != c.why || m.hidden() != c.hidden || all.missed[1].first == c.hidden {
			t.Errorf("%s: %q, hidden %v, the next first %v", c.name, m.why, m.hidden(), all.missed[1].first)
		}
	}
}

// TestCloserLook: where a coarse look found something, what a closer one missed is no
// rival of it, unless the closer one found what is far clearer.
func TestCloserLook(t *testing.T) {
	found := func(x, clear float64) traced {
		k := cut{fit: pairFit{film: 0, metal: [2]float64{1, 1}, rms: 1 / clear}}
		return traced{cuts: []cut{k}, found: candidate{a: calib.CardPoint{X: x}}}
	}
	coarse, fine := &ground{}, &ground{}
	for _, c := range []struct {
		clear   float64
		ground  *ground
		n, miss int
	}{{5, coarse, 2, 0}, {12, fine, 1, 1}} {
		first := choice{ground: coarse, good: []traced{found(0, 5)}}
		got := first.with(choice{ground: fine, good: []traced{found(1, c.clear)}, missed: make([]missed, 1)})
		if got.ground != c.ground || len(got.good) != c.n || len(got.missed) != c.miss {
			t.Errorf("of clearness %v: %d found, %d missed", c.clear, len(got.good), len(got.missed))
		}
	}
}
