package pipeline

import (
	"bytes"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/disintegration/imaging"

	"stripgap/vision"
)

// TestLargePhoto reads a photo of 48 megapixels, a sample drawn up to twice its size.
func TestLargePhoto(t *testing.T) {
	if testing.Short() {
		t.Skip("makes a photo of 48 MP")
	}
	small := filepath.Join(samples, "gauge050.jpg")
	data, err := os.ReadFile(small)
	if err != nil {
		t.Fatal(err)
	}
	img, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, imaging.Resize(img, 2*img.Bounds().Dx(), 0, imaging.Lanczos), &jpeg.Options{Quality: 92}); err != nil {
		t.Fatal(err)
	}
	large := filepath.Join(t.TempDir(), "large.jpg")
	if err := os.WriteFile(large, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	r := &Reader{Load: vision.Load, Measure: vision.Measure, Given: Given{Coverage: 2,
		Options: vision.Options{Surface: vision.Surface{Kind: vision.SurfaceFlat}}}}
	var widths [2]float64
	for i, path := range []string{small, large} {
		got := r.Read(Task{Photo: path}).Result
		if got.Outcome != OutcomeRead {
			t.Fatalf("%s: %+v", path, got.Refusal)
		}
		widths[i] = got.Width.Mean
	}
	// Drawing up adds nothing, so both are one reading: half the demanded 95th
	// percentile.
	if e := widths[1]/widths[0] - 1; math.Abs(e) > 0.005 {
		t.Errorf("12 MP %v mm, 48 MP %v mm: apart by %.2f %%", widths[0], widths[1], 100*e)
	}
}
