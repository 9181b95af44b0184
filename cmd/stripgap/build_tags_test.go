package main

import (
	"bytes"
	"image"
	"image/draw"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestTwoTags puts two of the demo's photos side by side in one: with two bearings'
// tags in it nobody can say which strip is whose.
func TestTwoTags(t *testing.T) {
	if testing.Short() {
		t.Skip("reads a photo")
	}
	dir := demoBuild(t)
	var halves []image.Image
	for _, name := range []string{"main1.jpg", "main2.jpg"} {
		data, err := os.ReadFile("../../samples/build/photos/" + name)
		if err != nil {
			t.Fatal(err)
		}
		img, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		halves = append(halves, img)
	}
	a, b := halves[0].Bounds(), halves[1].Bounds()
	both := image.NewRGBA(image.Rect(0, 0, a.Dx()+b.Dx(), max(a.Dy(), b.Dy())))
	draw.Draw(both, a, halves[0], image.Point{}, draw.Src)
	draw.Draw(both, b.Add(image.Pt(a.Dx(), 0)), halves[1], image.Point{}, draw.Src)
	var photo bytes.Buffer
	if err := jpeg.Encode(&photo, both, &jpeg.Options{Quality: 90}); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "photos", "both.jpg"), photo.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	stdout, _ := runs(t, 1, "build", "read", dir)
	if !strings.HasPrefix(stdout, "both.jpg: not read: two cards of the same kind are in the photo; leave one card beside the strip") {
		t.Error(stdout)
	}
	if stdout, _ := runs(t, 0, "build", "status", dir); !strings.Contains(stdout, "Not read, and of no known bearing: both.jpg: two cards") {
		t.Error(stdout)
	}
}
