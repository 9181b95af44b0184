package main

import (
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
	s := synth.NewScene("rider")
	s.Seed = 7
	s.Card.Serial = "6C3H2P"
	s.Camera.Width, s.Camera.Height = 1000, 750
	s.Camera.Focal35, s.Camera.ExifFocal = 60, 60 // cut from the middle of a phone's photo
	s.Pose = synth.Pose{Distance: 78, Target: calib.CardPoint{X: 0, Y: 3}, Tilt: 6, Azimuth: 60, Roll: 3}
	s.Strips = []synth.Strip{{Centre: calib.CardPoint{X: 1, Y: 10}, Angle: 2, Length: 18, Width: scriptArea / gap, Ragged: 0.2,
		SectionArea: scriptArea, Colour: synth.RGB{0.1, 0.45, 0.15}, Opacity: 60}}
	s.Optics.Blur = 0.9
	s.Sensor.FullWell, s.Sensor.Read = 12000, 4
	s.Processing = synth.Processing{Curve: 0.2, Sharpen: 0.6, SharpenRadius: 1.2}
	photo, _, err := synth.Render(s)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), photo, 0o644))
}
