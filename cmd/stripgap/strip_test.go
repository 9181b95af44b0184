package main

import (
	"math"
	"os"
	"strconv"

	"github.com/rogpeppe/go-internal/testscript"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// scriptArea is the section area in mm2 of the strips that scripts render.
const scriptArea = 0.0714

// renderCrushed writes a small photo of a strip of scriptArea crushed to GAP mm
// beside a rider of a known sheet: crushed FILE GAP
func renderCrushed(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: crushed FILE GAP")
	}
	gap, err := strconv.ParseFloat(args[1], 64)
	ts.Check(err)
	s := scriptScene("rider")
	s.Pose = synth.Pose{Distance: 78, Target: calib.CardPoint{X: 0, Y: 3}, Tilt: 6, Azimuth: 60, Roll: 3}
	s.Strips = []synth.Strip{{Centre: calib.CardPoint{X: 1, Y: 10}, Angle: 2, Length: 18, Width: scriptArea / gap, Ragged: 0.2,
		SectionArea: scriptArea, Colour: synth.RGB{0.1, 0.45, 0.15}, Opacity: 60}}
	render(ts, s, args[0])
}

// renderStrand writes a small photo of an unused strand of scriptArea, the lamp at
// AZIMUTH degrees: strand FILE AZIMUTH
func renderStrand(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: strand FILE AZIMUTH")
	}
	s := scriptScene("rider")
	var err error
	s.Light.Azimuth, err = strconv.ParseFloat(args[1], 64)
	ts.Check(err)
	s.Light.Shadow = 0.3
	s.Camera.Width, s.Camera.Height = 1200, 700
	s.Pose = synth.Pose{Distance: 55, Target: calib.CardPoint{X: 0, Y: 3}, Tilt: 5, Azimuth: 60, Roll: 3}
	s.Surface.Metal = synth.RGB{0.82, 0.82, 0.8}
	d := 2 * math.Sqrt(scriptArea/math.Pi)
	s.Strips = []synth.Strip{{Round: true, Centre: calib.CardPoint{X: 1, Y: 9}, Height: d/2 - s.Card.Thickness, Angle: 3, Length: 18,
		Width: d, SectionArea: scriptArea, Colour: synth.RGB{0.1, 0.4, 0.15}, Opacity: 60, Gloss: 0.3}}
	render(ts, s, args[0])
}

// renderScale writes a small photo of a printed scale for strips of scriptArea,
// bars for gaps of 0.03, 0.04, 0.05 and 0.06 mm from left to right: scale FILE
func renderScale(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: scale FILE")
	}
	s := scriptScene("bench")
	s.Camera.Width, s.Camera.Height = 1500, 1200
	s.Pose = synth.Pose{Distance: 190, Target: calib.CardPoint{X: 0, Y: 8}, Tilt: 8, Azimuth: 60, Roll: 3}
	s.Surface.Metal = synth.RGB{0.8, 0.8, 0.78}
	for i, gap := range []float64{0.03, 0.04, 0.05, 0.06} {
		w := scriptArea / gap
		s.Strips = append(s.Strips, synth.Strip{Width: w, Length: 12, Angle: 90, SectionArea: 0.001 * w, Opacity: 1e5,
			Colour: synth.RGB{0.04, 0.04, 0.05}, Centre: calib.CardPoint{X: -20 + 8*float64(i), Y: 36}})
	}
	render(ts, s, args[0])
}

// scriptScene is a clean scene with the card of a known sheet, cut from the middle
// of a phone's photo.
func scriptScene(layout string) synth.Scene {
	s := synth.NewScene(layout)
	s.Seed = 7
	s.Card.Serial = "6C3H2P"
	s.Camera.Width, s.Camera.Height = 1000, 750
	s.Camera.Focal35, s.Camera.ExifFocal = 60, 60
	s.Optics.Blur = 0.9
	s.Sensor.FullWell, s.Sensor.Read = 12000, 4
	s.Processing = synth.Processing{Curve: 0.2, Sharpen: 0.6, SharpenRadius: 1.2}
	return s
}

func render(ts *testscript.TestScript, s synth.Scene, file string) {
	photo, _, err := synth.Render(s)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(file), photo, 0o644))
}
