package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"stripgap/calib"
	"stripgap/vision/synth"
)

func TestColourName(t *testing.T) {
	for c, want := range map[synth.RGB]string{
		{0.8, 0.1, 0.1}: "red", {0.7, 0.7, 0.1}: "yellow", {0.1, 0.4, 0.15}: "green", {0.1, 0.6, 0.6}: "cyan",
		{0.1, 0.1, 0.5}: "blue", {0.6, 0.1, 0.6}: "magenta", {0.7, 0.1, 0.2}: "red",
		{0.02, 0.02, 0.02}: "black", {0, 0, 0}: "black", {0.3, 0.3, 0.28}: "grey", {0.8, 0.8, 0.8}: "white",
	} {
		if got := colourName(c); got != want {
			t.Errorf("%v: got %s, want %s", c, got, want)
		}
	}
}

// TestBlurOf: a uniform disc of radius r has the standard deviation r/2 along a
// diameter and a uniform stroke of length l has l/sqrt(12) (moments by hand).
func TestBlurOf(t *testing.T) {
	near(t, "Gaussian", blurOf(synth.Optics{Blur: 1.5}), 1.5, 1e-12)
	near(t, "disc", blurOf(synth.Optics{Defocus: 3}), 1.5, 1e-12)
	near(t, "stroke", blurOf(synth.Optics{MotionX: 3, MotionY: 4}), 5/math.Sqrt(12), 1e-12)
	near(t, "all", blurOf(synth.Optics{Blur: 1, Defocus: 4, MotionX: math.Sqrt(12) * 2}), 3, 1e-12)
}

// TestPrintError: on a print 1 % too long in y, a width along y reads 1/1.01 of
// the truth; along x it is right.
func TestPrintError(t *testing.T) {
	o := outcome{truth: &synth.Truth{Scene: synth.NewScene("bench")}}
	s := &o.truth.Scene
	near(t, "no strip", o.printError(), 0, 0)
	s.Card.ScaleY = 1.01
	s.Strips = []synth.Strip{{Angle: 0}}
	near(t, "across y", o.printError(), 100/1.01-100, 1e-9)
	s.Strips[0].Angle = 90
	near(t, "across x", o.printError(), 0, 1e-9)
	s.Strips[0].Angle = 0
	o.tell = toldSurface
	near(t, "told", o.printError(), 0, 0)
}

// TestTold: a reader told of a print 1 % too long must not be 1 % wrong.
func TestTold(t *testing.T) {
	if testing.Short() {
		t.Skip("renders photos")
	}
	long := population{name: "long", draw: func(rng *rand.Rand) ([]synth.Scene, error) {
		s, err := smallScene(rng)
		s[0].Card.ScaleX, s[0].Card.ScaleY = 1.01, 1.01
		return s, err
	}}
	for told, want := range map[knowledge]float64{toldNothing: 100/1.01 - 100, toldSurface: 0, toldPlane: 0} {
		o := try(trial{long, 0, 1, told, ""})
		if o.broken != nil || !o.read() {
			t.Fatalf("told %s: %v %s", told, o.broken, o.why)
		}
		near(t, fmt.Sprintf("told %s: width error", told), o.width.err, want, 0.4)
		near(t, fmt.Sprintf("told %s: net error", told), o.net.err, 0, 0.4)
	}
}

func TestWidthPixels(t *testing.T) {
	if _, ok := widthPixels(&synth.Truth{}); ok {
		t.Error("a photo without a strip has a width")
	}
	station := synth.StationTruth{Left: calib.PixelPoint{X: 3, Y: 0}, Right: calib.PixelPoint{X: 0, Y: 4}}
	w, ok := widthPixels(&synth.Truth{Strips: []synth.StripTruth{{Profile: []synth.StationTruth{station}}}})
	if !ok {
		t.Fatal("no width")
	}
	near(t, "width", w, 5, 1e-12)
}
