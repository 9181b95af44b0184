package pipeline

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"stripgap/vision"
	"stripgap/vision/synth"
)

// TestHEICReads: a photo that another program made into HEIC reads as the JPEG it
// came from, and its camera is known.
func TestHEICReads(t *testing.T) {
	if testing.Short() {
		t.Skip("renders and encodes a photo")
	}
	encoder, err := exec.LookPath("heif-enc")
	if err != nil {
		t.Skip("heif-enc is not installed; `make setup` installs it")
	}
	jpg, truth, err := synth.Render(benchScene(t, "rider"))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	paths := []string{filepath.Join(dir, "photo.jpg"), filepath.Join(dir, "photo.heic")}
	if err := os.WriteFile(paths[0], jpg, 0o644); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(encoder, "-q", "85", paths[0], "-o", paths[1]).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	r := &Reader{Load: vision.Load, Measure: vision.Measure, Given: Given{Coverage: 2}}
	var widths []float64
	for _, path := range paths {
		photo, err := vision.Load(path)
		if err != nil {
			t.Fatal(err)
		}
		if want := truth.Scene.Camera.Width; photo.Width() != want || photo.Exif.Focal35MM == 0 {
			t.Errorf("%s: %d px wide, want %d; EXIF %+v", path, photo.Width(), want, photo.Exif)
		}
		got := r.Read(Task{Photo: path}).Result
		if got.Outcome != OutcomeRead {
			t.Fatalf("%s: %+v", path, got.Refusal)
		}
		widths = append(widths, got.Width.Mean)
	}
	// Two codecs spoil the edges differently: half the demanded 95th percentile.
	if e := widths[1]/widths[0] - 1; math.Abs(e) > 0.005 {
		t.Errorf("JPEG %v mm, HEIC %v mm: apart by %.2f %%", widths[0], widths[1], 100*e)
	}
}
