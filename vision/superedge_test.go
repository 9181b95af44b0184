package vision

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"stripgap/calib"
)

// barCase is a card's isolated bars as a photo may show them.
type barCase struct {
	blurX, blurY float64 // px
	a, r, tone   float64
	spread       float64 // px by which each edge of the ink lies outside its place
	curve        func(float64) float64
	ink          float64 // display-referred; 0 is barInk
}

func (k barCase) camera(vertical bool) slowCamera {
	if vertical {
		return slowCamera{S: k.blurX, A: k.a, R: k.r, T: k.tone, curve: k.curve}
	}
	return slowCamera{S: k.blurY, A: k.a, R: k.r, T: k.tone, curve: k.curve}
}

const (
	barInk, barPaper = 0.24, 0.93 // display-referred: ink of 5 % and paper of 85 % under a light of 0.98
	barPixels        = 40.0       // px of a 2 mm bar at 20 px per mm, the middle of a bench card's range
)

// slices are six slices across bars of either direction, at sub-pixel places of
// their own, with 20 pixels in each bin (1 mm along the bar) and noise of sigma.
func (k barCase) slices(rng *rand.Rand, sigma float64) []barSlice {
	var out []barSlice
	for i := range 6 {
		vertical := i%2 == 0
		c := k.camera(vertical)
		at := (rng.Float64() - 0.5) / 5
		x0, x1 := at-barPixels/2-k.spread, at+barPixels/2+k.spread
		light := c.pair(grey(cmp.Or(k.ink, barInk)), grey(barPaper), grey(barPaper), x0, x1, 0)
		s := slowSlice(c, light, around(-barPixels/2, barPixels/2, barMarginMost), 20)
		out = append(out, barSlice{s.noisy(rng, sigma), vertical, -barPixels / 2, barPixels / 2, 2 / barPixels})
	}
	return out
}

// barCases are phone photos from unsharpened to strongly sharpened.
var barCases = []barCase{
	{1.0, 1.0, 0, 1.3, 0, 0, nil, 0},
	{0.8, 1.1, 0.5, 1.2, 0.1, 0.3, nil, 0},
	{1.4, 1.2, 1.0, 1.6, 0.2, 0.8, nil, 0},
	{1.8, 2.1, 0.6, 1.0, 0.3, 1.6, nil, 0},
	{1.2, 1.2, 1.8, 2.2, 0, -0.4, nil, 0},
}

// TestCameraFromBars: blur, sharpening and tone come back. Soft bars hardly tell
// weak sharpening from a sharper lens, so there the priors pull: blur by up to
// 0.08 px, amount by 0.3 and tone by 0.07 (measured, the fourth); a quarter is allowed else.
func TestCameraFromBars(t *testing.T) {
	for _, k := range barCases {
		w, ok := fitCamera(k.slices(rand.New(rand.NewPCG(31, 1)), 0))
		if !ok {
			t.Errorf("%+v: no edge model", k)
			continue
		}
		slack := 0.25
		if k.blurX > 1.6 {
			slack = 1
		}
		for _, c := range []struct {
			name             string
			got, want, allow float64
		}{
			{"blur along x", w.BlurX, k.blurX, 0.1}, {"blur along y", w.BlurY, k.blurY, 0.1},
			{"sharpening", w.Sharpening, k.a, 0.35}, {"tone", w.Tone, k.tone, 0.08},
			{"spread in px", w.Spread * barPixels / 2, k.spread, 0.16},
		} {
			if math.Abs(c.got-c.want) > slack*c.allow {
				t.Errorf("%+v: %s is %.4f", k, c.name, c.got)
			}
		}
		if w.Residual > 0.006 { // the priors' own misfit included; measured up to 0.0041
			t.Errorf("%+v: misfit %.4f", k, w.Residual)
		}
	}
}

// TestCameraStays: placing the bars once more with the model found, and fitting
// the model to them again, leaves it as it is.
func TestCameraStays(t *testing.T) {
	for _, k := range barCases {
		slices := k.slices(rand.New(rand.NewPCG(31, 6)), 0.006)
		w, ok := fitCamera(slices)
		if !ok {
			t.Fatalf("%+v: no edge model", k)
		}
		var edges [2]superEdge
		again := *w
		if !layOver(slices, &again, &edges) || !again.fit(&edges, again.doubt()) || !again.stays(w) {
			t.Errorf("%+v: %+v, and then %+v", k, *w, again)
		}
	}
}

// stripRead measures a strip of two colours, as wide as the bars, by what they gave: its
// width, px, and the edge shapes used. False where it shows no edges.
func (k barCase) stripRead(t *testing.T, w *Witness, colours [2]rgb) (width float64, p pairShape, ok bool) {
	film, metal := colours[0], colours[1]
	strip := pairCase{"", k.camera(true), film, metal, metal, barPixels, 0}
	x0, x1 := strip.edges()
	shape, ok := newEdgeShape(w.along(calib.CardPoint{X: 1}), film, metal)
	if !ok {
		t.Fatalf("%v: no shape", colours)
	}
	p = pairShape{shape, shape}
	fit, ok := fitPair(strip.slice(10), p, x0, x1)
	width, _ = fit.width()
	return width, p, ok
}

// TestBarsServeStrips is what the edge model is for: strips of other colours and
// contrasts, measured with what noisy bars gave, keep their width. The budget
// carries residualEdge for it as one standard deviation.
func TestBarsServeStrips(t *testing.T) {
	square, n := 0.0, 0.0
	for _, k := range barCases {
		w, ok := fitCamera(k.slices(rand.New(rand.NewPCG(31, 2)), 0.006))
		if !ok {
			t.Errorf("%+v: no edge model", k)
			continue
		}
		for _, p := range edgePairs {
			width, _, ok := k.stripRead(t, w, p)
			if !ok {
				t.Errorf("%+v, %v: no edges", k, p)
				continue
			}
			if math.Abs(width-barPixels) > 2*residualEdge {
				t.Errorf("%+v, %v: width off by %.4f px", k, p, width-barPixels)
			}
			square += (width - barPixels) * (width - barPixels)
			n++
		}
	}
	if rms := math.Sqrt(square / n); rms > 0.5*residualEdge { // measured 0.018 px
		t.Errorf("off by %.4f px rms", rms)
	}
}

// TestBendComesBack: a bend that the bars were photographed with is measured to within
// what its uncertainty says, and none is not invented.
func TestBendComesBack(t *testing.T) {
	for _, bend := range []float64{-0.4, 0, 0.5} {
		for _, k := range barCases {
			k.curve = slowCamera{T: k.tone, B: bend}.display
			w, ok := fitCamera(k.slices(rand.New(rand.NewPCG(31, 8)), 0.006))
			if !ok {
				t.Errorf("%+v: no edge model", k)
				continue
			}
			if math.Abs(w.Bend-bend) > 2*w.BendU || w.BendU > 0.15 {
				t.Errorf("%+v: bend %.3f, u %.3f, want %.3f", k, w.Bend, w.BendU, bend)
			}
		}
	}
}

// TestLinearToneComesBack: bars smoothed by their displayed values, with an ink so dark
// that sRGB with half of the bend and an S-shaped curve shows nearly the same edges.
func TestLinearToneComesBack(t *testing.T) {
	for _, k := range barCases {
		k.curve, k.ink = func(v float64) float64 { return v }, 0.047
		w, ok := fitCamera(k.slices(rand.New(rand.NewPCG(31, 9)), 0.002))
		if !ok {
			t.Errorf("%+v: no edge model", k)
			continue
		}
		if math.Abs(w.Bend+1) > 0.15 || math.Abs(w.Tone) > 0.06 {
			t.Errorf("%+v: bend %.3f, tone %.3f", k, w.Bend, w.Tone)
		}
	}
}

// TestMisfitWidens: what the bars show of a curve is less sure the more they miss the
// model, and so is what the edge model leaves of a width; that a model fits is no reason
// to believe it without limit.
func TestMisfitWidens(t *testing.T) {
	k := barCases[1]
	var u, left []float64
	for _, noise := range []float64{0.001, 0.02, 0.1} {
		w, ok := fitCamera(k.slices(rand.New(rand.NewPCG(31, 10)), noise))
		if !ok {
			t.Fatalf("noise %v: no edge model", noise)
		}
		u, left = append(u, w.ToneU), append(left, w.processingU())
		if w.ToneU < leastToneU || w.BendU < leastBendU || w.processingU() < residualEdge {
			t.Errorf("noise %v: tone u %.3f, bend u %.3f, width u %.3f px", noise, w.ToneU, w.BendU, w.processingU())
		}
	}
	if !slices.IsSorted(u) || !slices.IsSorted(left) || u[2] < 1.2*u[0] || left[2] < 2*left[0] {
		t.Errorf("tone u %.3f, width u %.3f px", u, left)
	}
}

// TestNoCurveFlattensTheMiddle: a strength below 0 may as well be none, 0.
func TestNoCurveFlattensTheMiddle(t *testing.T) {
	for _, k := range barCases {
		k.tone = -0.2
		w, ok := fitCamera(k.slices(rand.New(rand.NewPCG(31, 11)), 0.002))
		if !ok || math.Abs(w.Tone-k.tone) > 0.06 || w.ToneU < -w.Tone {
			t.Errorf("%+v: tone %.3f, u %.3f", k, w.Tone, w.ToneU)
		}
	}
}

// TestForeignTones: tone curves other than sRGB, powers of the light, a
// logarithm and the shoulder 2x/(1+x) before sRGB, move the widths of strips no further
// than the budget says, and the bend has the sign of what half the light is displayed as
// beside sRGB's 0.735. The widths' root mean square errors allowed are a third over those
// measured; without a bend those of the first and the last were 0.33 and 0.45 px.
func TestForeignTones(t *testing.T) {
	for name, c := range map[string]struct {
		curve      func(float64) float64
		bends, rms float64
	}{
		"linear":    {func(v float64) float64 { return v }, -1, 0.24},
		"power 1.8": {func(v float64) float64 { return math.Pow(v, 1/1.8) }, -1, 0.16},
		"power 2.2": {func(v float64) float64 { return math.Pow(v, 1/2.2) }, 0, 0.04},
		"logarithm": {func(v float64) float64 { return math.Log1p(30*v) / math.Log1p(30) }, 1, 0.37},
		"shoulder":  {func(v float64) float64 { return slowCamera{}.display(2 * v / (1 + v)) }, 1, 0.13},
	} {
		square, n := 0.0, 0.0
		for _, k := range barCases {
			k.curve = c.curve
			w, ok := fitCamera(k.slices(rand.New(rand.NewPCG(31, 7)), 0.006))
			if !ok {
				t.Errorf("%s, %+v: no edge model", name, k)
				continue
			}
			if c.bends*w.Bend < 2*w.BendU*math.Abs(c.bends) || math.Abs(w.Bend) > 1 {
				t.Errorf("%s, %+v: bend %.3f, u %.3f", name, k, w.Bend, w.BendU)
			}
			for _, p := range edgePairs {
				width, shape, ok := k.stripRead(t, w, p)
				if !ok {
					t.Errorf("%s, %+v, %v: no edges", name, k, p)
					continue
				}
				told := traced{c: cutter{shape: shape}}
				u := math.Hypot(told.toneU(w), w.processingU())
				if math.Abs(width-barPixels) > 2*u {
					t.Errorf("%s, %+v, %v: width off by %.3f px, u %.3f", name, k, p, width-barPixels, u)
				}
				square += (width - barPixels) * (width - barPixels)
				n++
			}
		}
		if rms := math.Sqrt(square / n); rms > c.rms {
			t.Errorf("%s: widths off by %.3f px rms", name, rms)
		}
	}
}

// TestInkSpreadLeavesTheCamera prints the same bars with ink spread of -20 to
// 80 um (0.05 mm a pixel) and wants the same blur, sharpening and tone.
func TestInkSpreadLeavesTheCamera(t *testing.T) {
	k := barCase{1.4, 1.2, 0.8, 1.4, 0.15, 0, nil, 0}
	without, ok := fitCamera(k.slices(rand.New(rand.NewPCG(31, 3)), 0))
	if !ok {
		t.Fatal("no edge model")
	}
	for _, um := range []float64{-20, 20, 50, 80} {
		k.spread = um / 50
		w, ok := fitCamera(k.slices(rand.New(rand.NewPCG(31, 3)), 0))
		if !ok {
			t.Errorf("%v um: no edge model", um)
			continue
		}
		blur := math.Hypot(w.BlurX-without.BlurX, w.BlurY-without.BlurY)
		if blur > 0.02 || math.Abs(w.Sharpening-without.Sharpening) > 0.05 || math.Abs(w.Tone-without.Tone) > 0.02 {
			t.Errorf("%v um: blur %.3f %.3f, sharpening %.3f, tone %.3f; without %.3f %.3f, %.3f, %.3f", um,
				w.BlurX, w.BlurY, w.Sharpening, w.Tone, without.BlurX, without.BlurY, without.Sharpening, without.Tone)
		}
		if d := w.Spread - without.Spread; math.Abs(d-um/1000) > 2e-3 {
			t.Errorf("%v um of spread read as %.1f um", um, 1000*d)
		}
	}
}

// TestCameraFromOneDirection: bars of one direction stand for both.
func TestCameraFromOneDirection(t *testing.T) {
	k := barCases[2]
	for vertical, blur := range map[bool]float64{true: k.blurX, false: k.blurY} {
		var some []barSlice
		for _, s := range k.slices(rand.New(rand.NewPCG(31, 4)), 0) {
			if s.vertical == vertical {
				some = append(some, s)
			}
		}
		w, ok := fitCamera(some)
		if !ok {
			t.Fatal("no edge model")
		}
		if w.BlurX != w.BlurY || math.Abs(w.BlurX-blur) > 0.03 {
			t.Errorf("vertical %v: blur %v and %v, want %v", vertical, w.BlurX, w.BlurY, blur)
		}
	}
}

// TestCameraRefuses: what shows no bar gives no model.
func TestCameraRefuses(t *testing.T) {
	good := barCases[1].slices(rand.New(rand.NewPCG(31, 5)), 0.006)
	burnt, pale := make([]barSlice, len(good)), make([]barSlice, len(good))
	for i, s := range good {
		burnt[i] = s
		burnt[i].saturated = 0.5
		pale[i] = s
		pale[i].bins = nil
		for _, b := range s.bins {
			pale[i].bins = append(pale[i].bins, bin{b.x, 0.8 + 0.02*b.y, b.n})
		}
	}
	for name, s := range map[string][]barSlice{"none": nil, "one": good[:1], "burnt out": burnt, "no contrast": pale} {
		if w, ok := fitCamera(s); ok {
			t.Errorf("%s: %+v", name, w)
		}
	}
}
