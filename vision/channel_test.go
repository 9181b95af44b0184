package vision

import (
	"math"
	"slices"
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// TestChannelWeights compares with the matrix of ITU-T T.871 section 7, whose figures
// are from memory, given to six decimals there.
func TestChannelWeights(t *testing.T) {
	for towards, want := range map[[2]float64]rgb{
		{}:       {0.299, 0.587, 0.114},
		{1, 0}:   {-0.168736, -0.331264, 0.5},
		{0, 1}:   {0.5, -0.418688, -0.081312},
		{-1, 0}:  {0.168736, 0.331264, -0.5},
		{.6, .8}: {0.6*-0.168736 + 0.8*0.5, 0.6*-0.331264 + 0.8*-0.418688, 0.6*0.5 + 0.8*-0.081312},
	} {
		for i, w := range (channel{towards}).weights() {
			if math.Abs(w-want[i]) > 1e-6 {
				t.Errorf("towards %v: weight %d is %.7f, want %.6f", towards, i, w, want[i])
			}
		}
	}
}

// TestTintOf: the channel shows film over metal, and as much as their chroma differs;
// greys have none.
func TestTintOf(t *testing.T) {
	film, metal := rgb{0.62, 0.54, 0.23}, rgb{0.52, 0.5, 0.49}
	c, ok := tintOf(film, metal)
	if !ok || !c.isTint() {
		t.Fatal("no tint")
	}
	f, m := film.chroma(), metal.chroma()
	if got, want := c.of(film)-c.of(metal), math.Hypot(f[0]-m[0], f[1]-m[1]); math.Abs(got-want) > 1e-12 {
		t.Errorf("contrast %v, want %v", got, want)
	}
	if _, ok := tintOf(grey(0.2), grey(0.7)); ok {
		t.Error("greys differ in tint")
	}
}

// TestTintWithout: the channel sees nothing of the primary left out and still shows film
// over metal; what only that primary tells apart it does not.
func TestTintWithout(t *testing.T) {
	film, metal := rgb{0, 0.67, 0.24}, rgb{0.46, 0.45, 0.44}
	for i := range 3 {
		c, ok := tintWithout(i, film, metal)
		if !ok || math.Abs(c.weights()[i]) > 1e-12 || math.Abs(math.Hypot(c.towards[0], c.towards[1])-1) > 1e-12 {
			t.Errorf("without %d: %v, weights %v, %v", i, c, c.weights(), ok)
		}
		if c.of(film) <= c.of(metal) {
			t.Errorf("without %d: film %v, metal %v", i, c.of(film), c.of(metal))
		}
		alone := metal
		alone[i] += 0.3
		if _, ok := tintWithout(i, alone, metal); ok {
			t.Errorf("%d is seen without it", i)
		}
	}
}

// TestSampledPlaces: chroma that rises evenly across a frame is found where it is,
// whatever chroma's own grid: each sample counts at its own place in the photo's
// pixels. Rounding to a level leaves at most half of one.
func TestSampledPlaces(t *testing.T) {
	const w, h, perPx = 160, 140, 1.2 // levels
	f := newFrame(calib.PixelPoint{X: 80.3, Y: 69.1}, calib.PixelPoint{X: 2, Y: 1}, false)
	r := cuts{lo: -22, hi: 22, skipLo: -5, skipHi: 4}
	for _, k := range []struct{ fx, fy, shiftX, shiftY int }{{1, 1, 0, 0}, {2, 1, 0, 0}, {2, 2, 0, 0}, {2, 2, 1, 1}, {4, 1, 0, 0}} {
		p := &Photo{Luma: NewPlane(w, h), ChromaX: k.fx, ChromaY: k.fy, ShiftX: k.shiftX, ShiftY: k.shiftY}
		p.Cb, p.Cr = NewPlane(w/k.fx+k.shiftX, h/k.fy+k.shiftY), NewPlane(w/k.fx+k.shiftX, h/k.fy+k.shiftY)
		for j := range p.Cb.H {
			for i := range p.Cb.W {
				// The middle of the pixels that a sample stands for.
				q := calib.PixelPoint{X: float64(i*k.fx-k.shiftX) + float64(k.fx-1)/2, Y: float64(j*k.fy-k.shiftY) + float64(k.fy-1)/2}
				x := q.Sub(f.o).X*f.across.X + q.Sub(f.o).Y*f.across.Y
				p.Cb.Pix[j*p.Cb.W+i] = toByte(128 + perPx*x)
				p.Cr.Pix[j*p.Cb.W+i] = toByte(128 - perPx*x)
			}
		}
		c := channel{[2]float64{0.8, -0.6}}
		s, ok := p.gather(c, f, 9, r)
		if !ok {
			t.Fatalf("%+v: not gathered", k)
		}
		n := 0.0
		for _, b := range s.bins {
			if want := 1.4 * perPx * b.x / 255; math.Abs(b.y-want) > 0.71/255 {
				t.Errorf("%+v: at %v px %v, want %v", k, b.x, b.y, want)
			}
			n += b.n
		}
		if want := 18 * 35 / float64(k.fx*k.fy); math.Abs(n/want-1) > 0.1 {
			t.Errorf("%+v: %v samples, want about %v", k, n, want)
		}
	}
}

// tinted is the tests' own tint of a blurred edge between two colours: per channel
// blurred light through the tone curve, Cb and Cr by ITU-T T.871, then blurred again
// by W px, integrated by the midpoint rule.
func (c slowCamera) tinted(film, metal rgb, towards [2]float64, w, x float64) float64 {
	light := c.edge(film, metal)
	at := func(x float64) float64 {
		v := light(x)
		for i := range v {
			v[i] = c.display(v[i])
		}
		y := 0.299*v[0] + 0.587*v[1] + 0.114*v[2]
		return towards[0]*(v[2]-y)/1.772 + towards[1]*(v[0]-y)/1.402
	}
	const steps, reach = 120, 6.0
	var mean, sum float64
	for i := range steps {
		z := reach * (2*(float64(i)+0.5)/steps - 1)
		g := math.Exp(-z * z / 2)
		mean += g * at(x+z*w)
		sum += g
	}
	return mean / sum
}

// colourPairs are film and metal of about one luma.
var colourPairs = [][2]rgb{
	{{0.62, 0.54, 0.23}, {0.52, 0.5, 0.49}}, {{0.46, 0.53, 0.87}, {0.53, 0.53, 0.55}},
	{{0.23, 0.42, 0.18}, {0.4, 0.35, 0.3}}, {{0.8, 0.58, 0.6}, {0.64, 0.66, 0.7}},
}

// TestTintEdge holds the table of a tint's edge to the slow model, and finds chroma's
// own blur from it again. The tolerance is that of TestEdgeShapeEqualsSlowModel.
func TestTintEdge(t *testing.T) {
	for _, w := range []float64{0.7, 1.3, 2.5} {
		for _, slow := range []slowCamera{{S: 0.9, R: 1}, {S: 1.3, R: 1, T: 0.3}, {S: 2, R: 1, T: -0.2}} {
			for _, p := range colourPairs {
				film, metal := p[0], p[1]
				tint, ok := tintOf(film, metal)
				c := camera1D{S: slow.S, A: -1, R: w, Tone: tone{S: slow.T}, channel: tint}
				s, ok2 := newEdgeShape(c, film, metal)
				if !ok || !ok2 {
					t.Fatalf("%v: no edge", p)
				}
				y0, y1 := tint.of(metal), tint.of(film)
				e := superEdge{film: film, metal: metal}
				for u := -9.0; u <= 9; u += 0.21 {
					want := (slow.tinted(film, metal, tint.towards, w, u) - y0) / (y1 - y0)
					if got, _ := s.at(u); math.Abs(got-want) > 2e-3 {
						t.Errorf("W %v, %+v, %v: %v at %v px, want %v", w, slow, p, got, u, want)
					}
					e.u, e.y, e.w = append(e.u, u), append(e.y, want), append(e.w, 1)
				}
				c.R = usualTintBlur
				if got, ok := e.spread(c); !ok || math.Abs(got-w) > 0.03 {
					t.Errorf("%+v, %v: chroma blurred by %v px, want %v", slow, p, got, w)
				}
			}
		}
	}
}

// TestByColour: a film as light as its metal is read by its colour and says so, also
// where chroma is smoothed; what has the metal's colour, too, is not read, and what
// luma shows is not read by its colour.
func TestByColour(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	metal := synth.RGB{0.34, 0.35, 0.36}
	for _, c := range []struct {
		name, code string
		flagged    bool
		change     func(s *synth.Scene)
	}{
		{"yellow as light as the metal", "no error", true, func(s *synth.Scene) { s.Strips[0].Colour = synth.RGB{0.46, 0.34, 0.08} }},
		{"blue, and chroma smoothed", "no error", true, func(s *synth.Scene) {
			s.Strips[0].Colour, s.Processing.Denoise = synth.RGB{0.25, 0.34, 0.75}, 0.6
		}},
		{"of the metal's colour, too", CodeNoStrip, false, func(s *synth.Scene) { s.Strips[0].Colour = synth.RGB{0.345, 0.35, 0.352} }},
		{"green whose red is crushed, as light as the metal", "no error", true, func(s *synth.Scene) {
			s.Surface.Metal, s.Strips[0].Colour = synth.RGB{0.125, 0.13, 0.135}, synth.RGB{0, 0.35, 0.03}
			s.Strips[0].Opacity = 200
		}},
		{"dark green", "no error", false, func(s *synth.Scene) {}},
		{"yellow and smeared", CodeLowContrast, false, func(s *synth.Scene) {
			s.Strips[0].Colour = synth.RGB{0.46, 0.34, 0.08}
			s.Strips[0].Fault.Smear, s.Strips[0].Opacity = 1.2, 20
		}},
	} {
		s := smallScene(t, "rider")
		s.Name = c.name
		s.Surface.Metal = metal
		c.change(&s)
		p, truth := shot(t, s)
		m, err := Measure(p, flat())
		if got := refusalCode(err); got != c.code {
			t.Errorf("%s: %s, want %s", c.name, got, c.code)
			continue
		}
		if got := slices.Contains(m.Flags, FlagByColour); got != c.flagged {
			t.Errorf("%s: flags %v", c.name, m.Flags)
		}
		if err != nil {
			continue
		}
		// No wider than twice u, and that u is of use: 5 % of the width at k = 2.
		w, pr := truth.Strips[0].MeanWidth, m.Profile
		if d := pr.Mean - w; math.Abs(d) > 2*pr.U || 2*pr.U > 0.05*w {
			t.Errorf("%s: width %.4f mm, truth %.4f, u %.4f", c.name, pr.Mean, w, pr.U)
		}
		t.Logf("%s: off by %+.2f %%, u %.2f %%", c.name, 100*(pr.Mean/w-1), 100*pr.U/w)
	}
}
