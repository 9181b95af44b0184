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

// toneStrengths span what the edge model may take.
var toneStrengths = []float64{-maxTone, -0.2, 0, 0.1, 0.3, maxTone}

func TestToneRoundTrip(t *testing.T) {
	for _, s := range toneStrengths {
		c := tone{s}
		last := math.Inf(-1)
		for i := -50; i <= 1050; i++ {
			l := float64(i) / 1000
			v := c.fromLinear(l)
			if got := c.toLinear(v); math.Abs(got-l) > 1e-9 {
				t.Errorf("S %v: linear %v came back as %v", s, l, got)
			}
			if !(v > last) {
				t.Errorf("S %v: not rising at %v", s, l)
			}
			last = v
		}
	}
}

// TestToneShape checks what its documentation promises: black, middle and white
// stay, and the slope at the middle is 1+S.
func TestToneShape(t *testing.T) {
	const h = 1e-5
	middle := linearFromSRGB(0.5)
	for _, s := range toneStrengths {
		c := tone{s}
		for l, want := range map[float64]float64{0: 0, middle: 0.5, 1: 1} {
			if got := c.fromLinear(l); math.Abs(got-want) > 1e-12 {
				t.Errorf("S %v: linear %v becomes %v, want %v", s, l, got, want)
			}
		}
		slope := (c.fromLinear(linearFromSRGB(0.5+h)) - c.fromLinear(linearFromSRGB(0.5-h))) / (2 * h)
		if math.Abs(slope-1-s) > 1e-6 {
			t.Errorf("S %v: slope %v at the middle", s, slope)
		}
	}
}

// TestMixing: the ends are the colours' own luma (BT.601 weights, ITU-T T.871),
// half a mixture of black and white is the luma of linear 0.5, and greys do not
// depend on the short cut for them.
func TestMixing(t *testing.T) {
	film, metal := rgb{0.2, 0.7, 0.3}, rgb{0.8, 0.75, 0.7}
	for _, s := range toneStrengths {
		m := newMixing(tone{s}, film, metal, channel{})
		for f, c := range map[float64]rgb{1: film, 0: metal} {
			if want := 0.299*c[0] + 0.587*c[1] + 0.114*c[2]; math.Abs(m.luma(f)-want) > 1e-9 {
				t.Errorf("S %v: fraction %v has luma %v, want %v", s, f, m.luma(f), want)
			}
		}
		grey := newMixing(tone{s}, rgb{0.2, 0.2, 0.2}, rgb{0.8, 0.8, 0.8}, channel{})
		long := grey
		long.grey = false
		for _, f := range []float64{-0.05, 0.1, 0.5, 0.9, 1.05} {
			if math.Abs(grey.luma(f)-long.luma(f)) > 1e-12 {
				t.Errorf("S %v: grey short cut gives %v, all channels %v", s, grey.luma(f), long.luma(f))
			}
		}
	}
	// IEC 61966-2-1: linear 0.5 is 0.735357 (formula, constants from memory).
	if got := newMixing(tone{}, rgb{0, 0, 0}, rgb{1, 1, 1}, channel{}).luma(0.5); math.Abs(got-0.735357) > 1e-6 {
		t.Errorf("half black, half white has luma %v", got)
	}
}
