package vision

import (
	"math"
	"testing"
)

// TestSRGBAgainstStandard compares with values of IEC 61966-2-1
// (testdata/reference/srgb_values.csv, given to nine decimals).
func TestSRGBAgainstStandard(t *testing.T) {
	for _, row := range referenceTable(t, "srgb_values.csv") {
		code, linear := row[0]/255, row[1]
		if got := linearFromSRGB(code); math.Abs(got-linear) > 6e-10 {
			t.Errorf("code %v is %.12f in linear light, want %.9f", row[0], got, linear)
		}
		// The steepest part, 12.92, widens the table's last digit.
		if got := srgbFromLinear(linear); math.Abs(got-code) > 12.92*6e-10 {
			t.Errorf("linear %v is %.12f, want %.12f", linear, got, code)
		}
	}
}

// TestSRGBGoesOnWithoutKink: outside 0..1 value and slope go on.
func TestSRGBGoesOnWithoutKink(t *testing.T) {
	const h = 1e-6
	for _, f := range []func(float64) float64{srgbFromLinear, linearFromSRGB} {
		for _, at := range []float64{0, 1} {
			before, here, after := f(at-h), f(at), f(at+h)
			if math.Abs(here-at) > 1e-12 {
				t.Errorf("f(%v) is %v", at, here)
			}
			if a, b := (here-before)/h, (after-here)/h; relative(a, b) > 1e-4 {
				t.Errorf("slopes %v and %v at %v", a, b, at)
			}
		}
	}
	for _, v := range []float64{-0.2, -0.01, 1.01, 1.3} {
		if got := linearFromSRGB(srgbFromLinear(v)); math.Abs(got-v) > 1e-12 {
			t.Errorf("%v came back as %v", v, got)
		}
	}
}

// tones span what the edge model may take.
func tones() (all []tone) {
	for _, s := range []float64{-maxTone, -0.2, 0, 0.1, 0.3, maxTone} {
		for _, b := range []float64{0, -1, -0.6, 0.2, 1} {
			all = append(all, tone{s, b})
		}
	}
	return all
}

func TestToneRoundTrip(t *testing.T) {
	for _, c := range tones() {
		last := math.Inf(-1)
		for i := -50; i <= 1050; i++ {
			l := float64(i) / 1000
			v := c.fromLinear(l)
			if got := c.toLinear(v); math.Abs(got-l) > 1e-9 {
				t.Errorf("%+v: linear %v came back as %v", c, l, got)
			}
			if !(v > last) {
				t.Errorf("%+v: not rising at %v", c, l)
			}
			last = v
		}
	}
}

// TestToneShape checks what its documentation promises: black and white stay, and
// without a bend the middle; the S-shaped curve's slope at the middle is 1+S, a positive
// bend's at black e^b and at white e^-b; and a bend of -1 shows the light as it is.
func TestToneShape(t *testing.T) {
	const h = 1e-5
	for _, c := range tones() {
		want := map[float64]float64{0: 0, 1: 1}
		slope := map[float64]float64{}
		switch {
		case c.Bend == 0:
			want[linearFromSRGB(0.5)], slope[0.5] = 0.5, 1+c.S
		case c.Bend > 0 && c.S == 0:
			slope[0], slope[1] = math.Exp(c.Bend), math.Exp(-c.Bend)
		case c.Bend == -1 && c.S == 0:
			want[0.2], want[0.7], want[-0.1], want[1.3] = 0.2, 0.7, -0.1, 1.3
		}
		for l, want := range want {
			if got := c.fromLinear(l); math.Abs(got-want) > 1e-12 {
				t.Errorf("%+v: linear %v becomes %v, want %v", c, l, got, want)
			}
		}
		for g, want := range slope {
			lo, hi := math.Max(0, g-h), math.Min(1, g+h)
			got := (c.fromLinear(linearFromSRGB(hi)) - c.fromLinear(linearFromSRGB(lo))) / (hi - lo)
			if math.Abs(got-want) > 1e-4 {
				t.Errorf("%+v: slope %v at %v, want %v", c, got, g, want)
			}
		}
	}
}

// TestToneRates compares the derivatives with differences of the curve.
func TestToneRates(t *testing.T) {
	const h = 1e-6
	for _, c := range tones() {
		for _, l := range []float64{-0.05, 0.001, 0.02, 0.3, 0.97, 1.1} {
			d := c.display(l)
			bend := func(by float64) float64 { return tone{c.S, c.Bend + by}.fromLinear(l) }
			down, span := -h, 2*h
			if c.Bend == 0 { // a negative bend is another
				down, span = 0, h
			}
			for name, k := range map[string][2]float64{
				"strength": {d.byTone, (tone{c.S + h, c.Bend}.fromLinear(l) - tone{c.S - h, c.Bend}.fromLinear(l)) / (2 * h)},
				"bend":     {d.byBend, (bend(h) - bend(down)) / span},
				"light":    {d.byLight, (c.fromLinear(l+h) - c.fromLinear(l-h)) / (2 * h)},
			} {
				if math.Abs(k[0]-k[1]) > 1e-6*math.Max(1, math.Abs(k[1])) {
					t.Errorf("%+v, light %v: by %s %v, differences give %v", c, l, name, k[0], k[1])
				}
			}
		}
	}
}

// TestMixing: the ends are the colours' own luma (BT.601 weights, ITU-T T.871),
// half a mixture of black and white is the luma of linear 0.5, and greys do not
// depend on the short cut for them.
func TestMixing(t *testing.T) {
	film, metal := rgb{0.2, 0.7, 0.3}, rgb{0.8, 0.75, 0.7}
	for _, s := range tones() {
		m := newMixing(s, film, metal, channel{})
		for f, c := range map[float64]rgb{1: film, 0: metal} {
			if want := 0.299*c[0] + 0.587*c[1] + 0.114*c[2]; math.Abs(m.luma(f)-want) > 1e-9 {
				t.Errorf("%+v: fraction %v has luma %v, want %v", s, f, m.luma(f), want)
			}
		}
		grey := newMixing(s, rgb{0.2, 0.2, 0.2}, rgb{0.8, 0.8, 0.8}, channel{})
		long := grey
		long.grey = false
		for _, f := range []float64{-0.05, 0.1, 0.5, 0.9, 1.05} {
			if math.Abs(grey.luma(f)-long.luma(f)) > 1e-12 {
				t.Errorf("%+v: grey short cut gives %v, all channels %v", s, grey.luma(f), long.luma(f))
			}
		}
	}
	// IEC 61966-2-1: linear 0.5 is 0.735357 (formula, constants from memory).
	if got := newMixing(tone{}, rgb{0, 0, 0}, rgb{1, 1, 1}, channel{}).luma(0.5); math.Abs(got-0.735357) > 1e-6 {
		t.Errorf("half black, half white has luma %v", got)
	}
}
