package report

import (
	"encoding/xml"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"stripgap/calib"
	"stripgap/calib/quantity"
)

// lessons are made up: gauges that agree, gauges with one apart, photos of a
// strand, and a stated diameter.
func lessons(t *testing.T) map[string]calib.AreaLesson {
	t.Helper()
	var points []calib.AreaPoint
	for i, off := range []float64{0.004, -0.006, 0.002, 0.001, -0.003} {
		gap := 0.03 + 0.01*float64(i)
		points = append(points, calib.AreaPoint{Name: "gauge <&> " + string(rune('1'+i)) + ".jpg",
			Width: quantity.Value{X: 0.0714 / gap * (1 + off), U: 0.004 * 0.0714 / gap}, Gap: quantity.Value{X: gap, U: 1e-4}})
	}
	good, err := calib.LessonFromPoints("strips crushed on feeler gauges", points, 0.001, 0.001)
	if err != nil {
		t.Fatal(err)
	}
	points[3].Width.X *= 1.025
	bad, err := calib.LessonFromPoints("strips crushed on feeler gauges", points, 0.001, 0.001)
	if err != nil {
		t.Fatal(err)
	}
	strand, err := calib.LessonFromStrand([]string{"s1.jpg", "s2.jpg", "s3.jpg"},
		[]quantity.Value{{X: 0.301, U: 0.002}, {X: 0.299, U: 0.002}, {X: 0.303, U: 0.003}}, []quantity.Term{{Name: "shading", U: 0.002}})
	if err != nil {
		t.Fatal(err)
	}
	return map[string]calib.AreaLesson{"good": good, "bad": bad, "strand": strand,
		"stated": calib.LessonFromDiameter(quantity.Value{X: 0.3, U: 0.002})}
}

// TestAreaPlot: well-formed, every point drawn once, and what is far off by name.
// PLOTS names a folder to look at them in.
func TestAreaPlot(t *testing.T) {
	for name, l := range lessons(t) {
		svg := AreaPlot("thin & round", l)
		for d := xml.NewDecoder(strings.NewReader(string(svg))); ; {
			if _, err := d.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
		text := string(svg)
		for _, bad := range []string{"NaN", "Inf", "thin & round"} {
			if strings.Contains(text, bad) {
				t.Errorf("%s: holds %q", name, bad)
			}
		}
		squares := strings.Count(text, `width="10" height="10"`)
		if drawn := strings.Count(text, "<circle") + squares; drawn != len(l.Points) {
			t.Errorf("%s: %d points drawn of %d", name, drawn, len(l.Points))
		}
		if far := strings.Contains(text, "4.jpg</text>"); far != (name == "bad") || (squares == 1) != far {
			t.Errorf("%s: %d points marked, the fourth named: %v", name, squares, far)
		}
		if dir := os.Getenv("PLOTS"); dir != "" {
			if err := os.WriteFile(filepath.Join(dir, name+".svg"), svg, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}
