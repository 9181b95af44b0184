package main

import (
	"os"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"

	"stripgap/calib"
	"stripgap/vision/synth"
)

// renderCard writes a small photo of the bench card, tilted by TILT degrees
// towards AZIMUTH: benchcard FILE TILT AZIMUTH
func renderCard(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: benchcard FILE TILT AZIMUTH")
	}
	s := synth.NewScene("bench")
	s.Camera.Width, s.Camera.Height = 1200, 900
	s.Pose.Distance = 105
	var err error
	s.Pose.Tilt, err = strconv.ParseFloat(args[1], 64)
	ts.Check(err)
	s.Pose.Azimuth, err = strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	s.Card.Serial, err = calib.NewSerial(strings.NewReader(strings.Repeat("stripgap", 64)))
	ts.Check(err)
	photo, _, err := synth.Render(s)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), photo, 0o644))
}
