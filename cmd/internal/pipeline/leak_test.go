//go:build matprofile

package pipeline

import (
	"bytes"
	"testing"

	"gocv.io/x/gocv"

	"stripgap/vision"
	"stripgap/vision/synth"
)

// TestMatLeak checks that reading a photo, or refusing one at different depths,
// closes every native raster it makes. Go's collector does not see them: one
// forgotten in each photo fills the memory of a long batch.
func TestMatLeak(t *testing.T) {
	good := benchScene(t, "rider")
	noStrip := good
	noStrip.Strips = nil
	blurred := good
	blurred.Optics.Blur = 6
	tilted := good
	tilted.Pose.Tilt = 42
	outcomes := map[string]bool{}
	before := gocv.MatProfile.Count()
	for name, s := range map[string]synth.Scene{"good": good, "no strip": noStrip, "blurred": blurred, "tilted": tilted} {
		data, _, err := synth.Render(s)
		if err != nil {
			t.Fatal(err)
		}
		reader := &Reader{
			Load:    func(path string) (*vision.Photo, error) { return vision.Decode(path, data) },
			Measure: vision.Measure, Given: Given{Coverage: 2},
		}
		r := reader.Read(Task{Photo: name}).Result
		outcomes[r.Outcome] = true
		if n := gocv.MatProfile.Count(); n != before {
			var b bytes.Buffer
			if err := gocv.MatProfile.WriteTo(&b, 1); err != nil {
				t.Fatal(err)
			}
			t.Fatalf("%s: %d native rasters are left open\n%s", name, n-before, b.String())
		}
	}
	if !outcomes[OutcomeRead] || !outcomes[OutcomeRefused] {
		t.Errorf("not every way through was tried: %v", outcomes)
	}
}
