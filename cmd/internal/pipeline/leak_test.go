//go:build matprofile

package pipeline

import (
	"bytes"
	"image"
	"image/jpeg"
	"testing"

	"gocv.io/x/gocv"

	"stripgap/vision"
	"stripgap/vision/synth"
)

// leakScenes are photos that end at different depths: each is changed from a good
// one, and code is the refusal that must come of it.
var leakScenes = []struct {
	name, code string
	change     func(*synth.Scene)
}{
	{"good", "", func(*synth.Scene) {}},
	{"from the other side", "", func(s *synth.Scene) { s.Pose.Azimuth += 180; s.Seed++ }},
	{"no card", vision.CodeNoCard, func(s *synth.Scene) { s.Pose.Target.Y += 300 }},
	{"few marks", vision.CodeFewMarks, func(s *synth.Scene) { s.Pose.Target.X += 62 }},
	{"no strip", vision.CodeNoStrip, func(s *synth.Scene) { s.Strips = nil }},
	{"blurred", vision.CodeBlurred, func(s *synth.Scene) { s.Optics.Blur = 6 }},
	{"tilted", vision.CodeTilted, func(s *synth.Scene) { s.Pose.Tilt = 42 }},
}

// leakTasks are readings of those photos, and of "mirrored".
var leakTasks = []struct{ first, second, code string }{
	{"mirrored", "", vision.CodeMirrored},
	{"good", "from the other side", ""},
	{"good", "good", vision.CodePairTooAlike},
	{"good", "no strip", vision.CodeNoStrip},
	{"no card", "good", vision.CodeNoCard},
	{"good", "mirrored", vision.CodeMirrored},
	{"good", "empty", vision.CodeEmpty},
}

// TestMatLeak checks that reading a photo or a pair, or refusing one at different
// depths, closes every native raster it makes. Go's collector does not see them:
// one forgotten in each photo fills the memory of a long batch.
func TestMatLeak(t *testing.T) {
	photos := map[string][]byte{}
	for _, c := range leakScenes {
		s := benchScene(t, "rider")
		s.Pose.Tilt, s.Pose.Azimuth = 14, 90+s.Strips[0].Angle
		c.change(&s)
		data, _, err := synth.Render(s)
		if err != nil {
			t.Fatal(err)
		}
		photos[c.name] = data
		leakFree(t, photos, Task{Photo: c.name}, c.code)
	}
	photos["mirrored"] = mirrored(t, photos["good"])
	for _, c := range leakTasks {
		leakFree(t, photos, Task{Photo: c.first, Second: c.second}, c.code)
	}
}

// leakFree reads a task, which must end in the refusal code, or be read where that
// is empty, and leave as many native rasters as there were.
func leakFree(t *testing.T, photos map[string][]byte, task Task, code string) {
	t.Helper()
	before := gocv.MatProfile.Count()
	reader := &Reader{
		Load:    func(path string) (*vision.Photo, error) { return vision.Decode(path, photos[path]) },
		Measure: vision.Measure, MeasurePair: vision.MeasurePair, Given: Given{Coverage: 2},
	}
	r := reader.Read(task).Result
	got := ""
	if r.Refusal != nil {
		got = r.Refusal.Code
	}
	if got != code {
		t.Errorf("%v: refusal %q, want %q", task.photos(), got, code)
	}
	if n := gocv.MatProfile.Count(); n != before {
		var b bytes.Buffer
		if err := gocv.MatProfile.WriteTo(&b, 1); err != nil {
			t.Fatal(err)
		}
		t.Fatalf("%v: %d native rasters are left open\n%s", task.photos(), n-before, b.String())
	}
}

// mirrored is a photo flipped left to right.
func mirrored(t *testing.T, data []byte) []byte {
	t.Helper()
	p, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	size := p.Bounds()
	out := image.NewRGBA(size)
	for y := range size.Dy() {
		for x := range size.Dx() {
			out.Set(size.Dx()-1-x, y, p.At(x, y))
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, out, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
