package main

import (
	"fmt"
	"math"
	"testing"

	"stripgap/calib"
	"stripgap/vision"
	"stripgap/vision/synth"
)

// made is a strip 20 mm long from (20, 5) back to (0, 5), at 1.5 mm high, that
// widens by 0.01 mm per mm from its front to its rear.
func made() *synth.StripTruth {
	t := &synth.StripTruth{LengthMM: 20, WidthSlope: 0.01, MeanWidth: 2, Taper: -0.18}
	t.Ends[0] = synth.EndTruth{Name: "front", Card: calib.SpacePoint{X: 20, Y: 5, Z: 1.5}}
	t.Ends[1] = synth.EndTruth{Name: "rear", Card: calib.SpacePoint{X: 0, Y: 5, Z: 1.5}}
	return t
}

func profileOf(first, second string, x0, x1 float64) *vision.Profile {
	p := &vision.Profile{Mean: 2.02, U: 0.01, Taper: -0.15, TaperU: 0.02,
		Budget: []vision.Term{{Name: "edge noise", U: 0.006}, {Name: "print scale", U: 0.008, Common: true}}}
	p.Ends[0] = vision.End{Name: first, Card: calib.CardPoint{X: x0, Y: 5.3}} // a little off the axis
	p.Ends[1] = vision.End{Name: second, Card: calib.CardPoint{X: x1, Y: 4.9}}
	return p
}

// TestTaperAtOwnEnds: a reading from x = 18 to x = 2 spans 16 mm, so the true
// difference is 0.01 * (2 - 18) = -0.16 mm, and 0.16 mm from the wrong end.
func TestTaperAtOwnEnds(t *testing.T) {
	near(t, "taper", trueTaper(profileOf("front", "rear", 18, 2).Ends, made()), -0.16, 1e-12)
	near(t, "turned taper", trueTaper(profileOf("front", "rear", 2, 18).Ends, made()), 0.16, 1e-12)
}

func TestCompare(t *testing.T) {
	truth := &synth.Truth{Scene: synth.NewScene("rider"), Strips: []synth.StripTruth{*made()}, Marks: []synth.MarkTruth{
		{Code: 3, Pixel: calib.PixelPoint{X: 10, Y: 10}}, {Code: 5, Pixel: calib.PixelPoint{X: 50, Y: 10}}}}
	truth.Scene.Card.ScaleY = 0.99
	truth.Scene.Strips = []synth.Strip{{Angle: 180}}
	m := &vision.Measurement{Profile: profileOf("front", "rear", 18, 2), Card: &vision.Card{Layout: calib.Rider(),
		Marks: []vision.MarkFound{ // 0.05 px and 0 px away
			{Mark: calib.Mark{Code: 3}, Pixel: calib.PixelPoint{X: 10.03, Y: 10.04}},
			{Mark: calib.Mark{Code: 5}, Pixel: calib.PixelPoint{X: 50, Y: 10}}}}}
	o := outcome{truth: truth}
	o.compare(m)
	near(t, "width error", o.width.err, 1, 1e-9) // 0.02 mm of 2 mm
	near(t, "width u", o.width.u, 0.5, 1e-9)
	near(t, "net error", o.net.err, 1-(100/0.99-100), 1e-9) // the print is 1 % short across the strip
	near(t, "net u", o.net.u, 0.3, 1e-9)                    // 0.006 mm is left of 0.01
	near(t, "taper error", o.taper.err, 0.5, 1e-9)          // -0.15 against -0.16 mm
	near(t, "taper u", o.taper.u, 1, 1e-9)
	near(t, "plain taper error", o.taperPlain, 1.5, 1e-9) // against -0.18 mm
	near(t, "marks", o.marksPx, 0.05/math.Sqrt2, 1e-9)
	if o.marks != 2 || o.layout != "rider" || o.endsWrong {
		t.Errorf("%d marks, %q card, ends wrong %v; want 2, rider, false", o.marks, o.layout, o.endsWrong)
	}
}

// TestEndsWrong: the names must be the truth's and stand at the truth's places.
func TestEndsWrong(t *testing.T) {
	for _, c := range []struct {
		p    *vision.Profile
		want bool
	}{
		{profileOf("front", "rear", 18, 2), false},
		{profileOf("front", "rear", 2, 18), true},
		{profileOf("rear", "front", 18, 2), true},
		{profileOf("a", "b", 18, 2), true},
	} {
		o := outcome{truth: &synth.Truth{Scene: synth.NewScene("rider"), Strips: []synth.StripTruth{*made()}}}
		o.compare(&vision.Measurement{Profile: c.p})
		if o.endsWrong != c.want {
			t.Errorf("%+v: ends wrong %v, want %v", c.p.Ends, o.endsWrong, c.want)
		}
	}
}

func TestRefuse(t *testing.T) {
	for _, c := range []struct {
		err  error
		want string
	}{
		{fmt.Errorf("photo: %w", vision.Refuse(vision.CodeTwoStrips, "")), "two-strips"},
		{fmt.Errorf("panic: index out of range"), codeCrashed},
	} {
		var o outcome
		o.refuse(c.err)
		if o.code != c.want || o.why != c.err.Error() || o.read() {
			t.Errorf("%v: got %q, %q", c.err, o.code, o.why)
		}
	}
}

func TestRight(t *testing.T) {
	reading := population{}
	fault := population{want: []string{"no-strip", "stations-lost"}}
	damage := population{want: []string{"stations-lost"}, named: []string{"smeared"}}
	flag := []string{"smeared"}
	for _, c := range []struct {
		p     population
		code  string
		flags []string
		want  bool
	}{
		{reading, "", nil, true}, {reading, "", flag, true}, {reading, "blurred", nil, false},
		{fault, "", nil, false}, {fault, "", flag, false}, {fault, "stations-lost", nil, true}, {fault, "blurred", nil, false},
		{damage, "", nil, false}, {damage, "", flag, true}, {damage, "", []string{"by-colour"}, false}, {damage, "blurred", flag, false}, {damage, "stations-lost", nil, true},
	} {
		o := outcome{trial: trial{population: c.p}, code: c.code, flags: c.flags}
		if o.right() != c.want {
			t.Errorf("%v with %q and %v: right is %v", c.p.want, c.code, c.flags, o.right())
		}
		wrongly := 0
		if c.p.fault() && o.read() && !c.want {
			wrongly = 1
		}
		if g := newGroup(c.p, "", "", []*outcome{&o}); g.wrongly != wrongly {
			t.Errorf("%v with %q and %v: wrongly read %d, want %d", c.p.want, c.code, c.flags, g.wrongly, wrongly)
		}
	}
}

// TestEveryFaultKnown: a stratum with a fault the renderer gains must not count
// as one that should be read, nor a code be misspelt.
func TestEveryFaultKnown(t *testing.T) {
	readable := 0
	for _, p := range populations() {
		if !p.fault() {
			readable++
		}
		for _, code := range p.want {
			vision.Refuse(code, "") // panics on an unknown code
		}
	}
	if readable != 7 { // flat, moderate, hard, foreign-tone, luma-alike, and pairs read from one photo and from two
		t.Errorf("%d populations are to be read, want 7", readable)
	}
}
