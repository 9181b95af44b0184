package main

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"os"

	"github.com/rogpeppe/go-internal/testscript"
)

// writePhoto writes a small photo of nothing in particular, a colour gradient:
// photo FILE...
func writePhoto(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: photo FILE...")
	}
	img := image.NewRGBA(image.Rect(0, 0, 640, 480))
	for y := range 480 {
		for x := range 640 {
			img.Set(x, y, color.RGBA{uint8(60 + x/5), uint8(200 - y/4), 90, 255})
		}
	}
	var b bytes.Buffer
	ts.Check(jpeg.Encode(&b, img, nil))
	for _, name := range args {
		ts.Check(os.WriteFile(ts.MkAbs(name), b.Bytes(), 0o644))
	}
}
